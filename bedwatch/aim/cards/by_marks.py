"""Where the bed is, from marked cards that lie in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.aim.cards.marks import HOURS, card_of
from bedwatch.aim.cards.marks_doubt import LAY, unlikely
from bedwatch.aim.cards.marks_fit import Fitted, fit
from bedwatch.aim.cards.marks_model import (
    K1,
    K2,
    LEVEL,
    LN_FOCAL,
    SHIFT_U,
    SHIFT_V,
    STAND,
    TURN,
    Laid,
    Vector,
)
from bedwatch.aim.cards.marks_seen import grey_mean, is_mirrored, marks_in, of_one_set
from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import fit_ellipse, mm_per_px
from bedwatch.aim.pose import bed_outline_mm
from bedwatch.aim.types import Aim, Corners, Homography, NotFound, Outline, Problem, ProblemKind
from bedwatch.bed.model import Bed, Points
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

TOLD_MM, UNTOLD_MM = 1.0, 6.0  # how well the cards' depth is known when it was measured, and when it was not
WORST_MM = 4.0
USUAL_MISFIT = 8.0  # of cards laid by ordinary hands; more widens the error
_STRAIGHT_PX = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class ByMarks:
    """A bed found by its cards: the aim, and the numbers behind it for those who want to use them further."""

    aim: Aim
    there: Laid
    fitted: Fitted


def find_by_marks(
    pictures: Sequence[Picture], bed: Bed, printed_mm: float = 100.0, marks_below_rim_mm: float | None = None
) -> Aim | NotFound:
    """Find the bed by the cards of `bedwatch sheet`, in one or more pictures of one size of a still scene.

    printed_mm: length of the printed rule of 100 mm. marks_below_rim_mm: from the top of the wall down to the cards;
    None takes the bed file's surface and widens the error, since powder lies lower without air.
    Raises ValueError when there is no picture or their sizes differ.
    """
    found = by_marks(pictures, bed, printed_mm, marks_below_rim_mm)
    return found.aim if isinstance(found, ByMarks) else found


def by_marks(
    pictures: Sequence[Picture], bed: Bed, printed_mm: float, marks_below_rim_mm: float | None
) -> ByMarks | NotFound:
    """As `find_by_marks`, with the numbers of camera and cards."""
    if not pictures or len({picture.shape for picture in pictures}) != 1:
        raise ValueError("find_by_marks needs one or more pictures of one size")
    grey = grey_mean(pictures)
    marks = of_one_set(marks_in(grey))
    reason = _too_few(marks)
    if reason is not None:
        if len(marks) < 3 and is_mirrored(grey):
            return _refused("the marks are seen in mirror image only", "Switch off mirroring in the camera's settings.")
        return _refused(reason, LAY)
    below = bed.surface_below_rim_mm if marks_below_rim_mm is None else marks_below_rim_mm
    there, corners = _laid(marks, bed, (grey.shape[1], grey.shape[0]), below)
    reason = _wrong_order(there, corners)
    if reason is not None:
        return _refused(reason, "Lay each card at its own hour, clockwise as seen from above.")
    level_spread = TOLD_MM if marks_below_rim_mm is not None else UNTOLD_MM
    fitted = fit(there, corners, there.expected(printed_mm / 100.0, level_spread))
    if fitted is None:
        return _refused("no camera above the bed could see the cards like this", LAY)
    refusal = unlikely(there, corners, fitted, printed_mm)
    if refusal is not None:
        return _refused(*refusal)
    aim = _aim(there, fitted, below)
    if aim is None:
        return _refused("the bed's outline would reach behind the camera or past what its lens can show", LAY)
    assert aim.error_mm is not None
    if aim.error_mm > WORST_MM:
        more = "" if marks_below_rim_mm is not None else "Measure how far the cards lie below the rim and give it. "
        return _refused(f"the cards fix the bed only to {aim.error_mm:.1f} mm", more + LAY)
    return ByMarks(aim=aim, there=there, fitted=fitted)


def _too_few(marks: dict[int, Points]) -> str | None:
    if not marks:
        return "no marks of the printed cards are seen"
    hours = {card_of(mark)[0].hour for mark in marks}
    seen = f"marks of {len(hours)} of 4 cards are seen"
    if 12 not in hours:
        return f"{seen}, none of the card of 12 o'clock"
    return f"{seen}, expected 3 or more" if len(hours) < 3 else None


def _laid(marks: dict[int, Points], bed: Bed, size_px: tuple[int, int], below_mm: float) -> tuple[Laid, Points]:
    cards = {card_of(mark)[0].hour: card_of(mark)[0] for mark in marks}
    hours = [hour for hour in HOURS if hour in cards]
    seen = [(hours.index(card_of(mark)[0].hour), card_of(mark)[1]) for mark in sorted(marks)]
    there = Laid(
        bed=bed,
        size_px=size_px,
        cards=tuple(cards[hour] for hour in hours),
        seen=np.array(seen, np.intp),
        lift_mm=below_mm - bed.surface_below_rim_mm,
    )
    return there, np.stack([marks[mark] for mark in sorted(marks)])


def _wrong_order(there: Laid, corners_px: Points) -> str | None:
    """Cards seen from above go round clockwise."""
    at = np.array([corners_px[there.seen[:, 0] == n].mean(axis=(0, 1)) for n in range(len(there.cards))])
    angles = np.arctan2(*(at - at.mean(axis=0)).T[::-1])
    around = (angles - angles[0]) % (2 * np.pi)
    return None if (np.diff(around) > 0).all() else "the cards do not go round in the order 12, 3, 6, 9"


def _aim(there: Laid, fitted: Fitted, below_mm: float) -> Aim | None:
    bed, numbers = there.bed, fitted.numbers
    outline = bed_outline_mm(bed, 72)
    lens = _lens(there, numbers, outline)
    surface = _homography(numbers, lens, there.lift_mm + numbers[LEVEL])
    rim = _homography(numbers, lens, below_mm)
    bent = None if lens.k1 == 0.0 and lens.k2 == 0.0 else lens
    try:
        outlines = [_outline(h, bed, bent) for h in (surface, rim)]
    except ValueError:
        return None
    return Aim(
        surface=outlines[0],
        rim=outlines[1],
        bed_to_picture=surface,
        mm_per_px=mm_per_px(surface),
        size_px=there.size_px,
        error_mm=_error_mm(there, fitted),
        lens=bent,
    )


def _lens(there: Laid, numbers: Vector, outline_mm: Points) -> Lens:
    """The lens, with the straightened picture laid upon the real one along the bed's outline; k1 = k2 = 0 if straight."""
    focal = float(np.exp(numbers[LN_FOCAL]))
    middle = np.array(there.middle_px) + numbers[SHIFT_U : SHIFT_V + 1]
    centre = (float(middle[0]), float(middle[1]))
    k1, k2 = float(numbers[K1]), float(numbers[K2])
    places = np.column_stack([outline_mm, np.full(len(outline_mm), there.lift_mm)])
    unbent = numbers.copy()
    unbent[[K1, K2]] = 0.0
    straight = there.seen_from(unbent, places) - middle
    real = there.seen_from(numbers, places) - middle
    times = float((straight * real).sum() / (straight * straight).sum())
    inner = np.vstack([straight * share for share in (0.25, 0.5, 0.75, 1.0)])
    lens = Lens(k1=k1, k2=k2, focal_px=focal, centre_px=centre, straight_focal_px=focal * times)
    if np.nanmax(np.abs(lens.bend(inner * times + middle) - (inner * times + middle))) < _STRAIGHT_PX:
        return Lens(k1=0.0, k2=0.0, focal_px=focal, centre_px=centre, straight_focal_px=focal * times)
    return lens


def _homography(numbers: Vector, lens: Lens, height_mm: float) -> Homography:
    """Takes (x_mm, y_mm, 1) of the plane this far above the cards to pixels of the straightened picture."""
    turn = np.asarray(cv2.Rodrigues(numbers[TURN])[0], np.float64)
    f, (cu, cv) = lens.straight_focal_px, lens.centre_px
    camera = np.array([[f, 0, cu], [0, f, cv], [0, 0, 1.0]])
    h = camera @ np.column_stack([turn[:, 0], turn[:, 1], numbers[STAND] + height_mm * turn[:, 2]])
    return np.asarray(h / h[2, 2], np.float64)


def _outline(h: Homography, bed: Bed, lens: Lens | None) -> Outline:
    """The bed's outline as the real picture shows it. Raises ValueError when part of it cannot be seen."""
    half = np.array([bed.width_mm, bed.length_mm]) / 2
    round_ = bed.shape == "round"
    places = bed_outline_mm(bed, 90) if round_ else np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    uvw = np.column_stack([places, np.ones(len(places))]) @ h.T
    pixels = uvw[:, :2] / np.where(uvw[:, 2:] > 0, uvw[:, 2:], np.nan)
    pixels = pixels if lens is None else lens.bend(pixels)
    if not np.isfinite(pixels).all():
        raise ValueError("part of the outline is behind the camera or past what the lens can show")
    return fit_ellipse(pixels) if round_ else Corners(corners_px=tuple((float(u), float(v)) for u, v in pixels))


def _error_mm(there: Laid, fitted: Fitted) -> float:
    """Standard error of a place at the wall (root mean square round it), from the covariance of the fit."""
    numbers = fitted.numbers
    wall = bed_outline_mm(there.bed, 12)

    def seen(of: Vector) -> Vector:
        places = np.column_stack([wall, np.full(len(wall), there.lift_mm + of[LEVEL])])
        return there.seen_from(of, places)

    # what a change of the numbers moves in the picture, taken back to the surface
    moved = []
    for way in np.eye(2):
        step = np.column_stack([wall + way, np.full(len(wall), there.lift_mm + numbers[LEVEL])])
        moved.append(there.seen_from(numbers, step) - seen(numbers))
    to_px = np.stack(moved, axis=2)
    slopes = np.empty((len(wall), 2, there.count))
    for i in range(there.count):
        of = numbers.copy()
        of[i] += 1e-5
        slopes[:, :, i] = (seen(of) - seen(numbers)) / 1e-5
    to_mm = np.linalg.inv(to_px) @ slopes
    squares = np.einsum("nij,jk,nik->ni", to_mm, fitted.covariance, to_mm).sum(axis=1)
    return float(np.sqrt(squares.mean() * max(1.0, fitted.misfit / USUAL_MISFIT)))


def _refused(reason: str, advice: str) -> NotFound:
    sentence = f"The bed was not found by the cards: {reason}. {advice}"
    return NotFound(reason=reason, advice=advice, problems=(Problem(kind=ProblemKind.BED_NOT_FOUND, advice=sentence),))


__all__ = ["ByMarks", "by_marks", "find_by_marks"]
