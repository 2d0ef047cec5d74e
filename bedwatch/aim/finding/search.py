"""Find the bed in pictures nobody has marked: several frames in, an `Aim` or an honest `NotFound` out."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.choose import LOOSE, Candidate, astray_mm, believed, ordered, rivalry
from bedwatch.aim.finding.edges import Array
from bedwatch.aim.finding.error import error_mm, standing_error_mm
from bedwatch.aim.finding.fit import Fitted, level_spread_mm
from bedwatch.aim.finding.guesses import Guess, Starts, guesses, one_outline, others, starts_of
from bedwatch.aim.finding.refine import SAME_PX, apart_px, enlarged, refine
from bedwatch.aim.finding.verify import MOST_AGAINST, doubt, evidence
from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.pose import DEEPER, K1, View
from bedwatch.aim.straight import bent_outline, lens_beside, zoomed
from bedwatch.aim.types import Aim, NotFound, Problem, ProblemKind
from bedwatch.bed.model import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

SEARCH_PX = 640  # longer side of the picture that is searched
LIVELINESS_PX = 320  # and of that in which what moves is told
MOST_PICTURES = 16
TOO_FAR_OFF_MM = 4.0  # standard error: twice that is as far as a place may lie off
BRIM_OFF_MM = 6.0  # of a bed full to the brim, whose outline alone says little of how the camera leans
LONE_RING_OFF_MM = 2.0  # how far a rim of which one edge shows may be off, standard error
SURELY = 0.3  # penalty of a still bed, of whose rim one edge shows, that is believed in a second look
CLOSE = 0.3  # badness of a pose whose three outlines leave no doubt which is which
ADVICE = "Show the whole rim, with the camera nearly straight above and light from one side."


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What is searched: the mean picture, what moves in it, and where to start in one that is smaller by `times`."""

    view: View
    full: Array
    liveliness: NDArray[np.float32] | None
    times: float
    starts: Starts


def find_bed(pictures: Sequence[Picture], bed: Bed) -> Aim | NotFound:
    """Find the bed in several pictures of one size (8 to 20 over the first seconds; one is enough for a still bed).

    Raises ValueError when there is no picture or their sizes differ.
    """
    return search(pictures, bed)[0]


def search(pictures: Sequence[Picture], bed: Bed) -> tuple[Aim | NotFound, Aim | None]:
    """As `find_bed`, and with a refusal the best candidate that was not believed, for the check picture."""
    mean, liveliness = _summed(pictures[:: max(1, -(-len(pictures) // MOST_PICTURES))])
    low, high = np.percentile(mean[::8, ::8], (2, 98))
    if high - low < 8:
        tone = "black" if high < 25 else "white" if low > 230 else "of one even tone"
        return not_found(f"the picture is {tone}", "Check the lens cap, the light and the camera's exposure."), None
    view = View(bed=bed, size_px=(mean.shape[1], mean.shape[0]))
    look = look_at(view, mean, liveliness)
    begun = guesses(look.starts)
    ranked = ordered(view, candidates(look, begun))
    if ranked and not _plain(view, ranked):
        ranked = ordered(view, _farther(look, begun, ranked))
    if not ranked:
        return not_found(f"no {bed.shape} outline was seen that could be the rim of the bed", ADVICE), None
    best = ranked[0]
    reason = doubt(view, best.refined.fitted, best.found) or rivalry(view, ranked)
    if reason is None:
        aim = aim_of(view, best, astray_mm(view, ranked))
        most = BRIM_OFF_MM if one_outline(view) else TOO_FAR_OFF_MM
        if aim.error_mm is None or aim.error_mm < most:
            return aim, None
        reason = f"how the camera leans is only known to within {aim.error_mm:.0f} mm at the wall"
    try:
        return not_found(reason, ADVICE), aim_of(view, best)
    except ValueError:  # its outline reaches behind the camera
        return not_found(reason, ADVICE), None


def _plain(view: View, ranked: Sequence[Candidate]) -> bool:
    """Whether there surely is a bed among these, best first, so that no second look is needed."""
    return any(
        one.found.penalty < MOST_AGAINST and believed(view, one)
        for one in ranked
        if one is ranked[0] or one.found.lively
    )


def _farther(look: Look, begun: Sequence[Guess], first: Sequence[Candidate]) -> list[Candidate]:
    """What the first look and a second one with twice as many starts have found, none twice.

    Where the first look began the second need not. Who looks longer finds more that looks like a bed by chance, so more is
    asked of what does not move.
    """
    more = candidates(look, others(look.starts, guesses(look.starts, 2), begun))
    more = [one for one in more if one.found.lively or one.found.ringed or one.found.penalty < SURELY]
    kept: list[Candidate] = []
    for one in sorted([*first, *more], key=lambda one: -one.found.rank):
        if all(apart_px(one.refined.fitted, other.refined.fitted) > SAME_PX for other in kept):
            kept.append(one)
    return kept


def look_at(view: View, mean: Array, liveliness: NDArray[np.float32] | None) -> Look:
    """Make ready what is needed to search the mean of some pictures, which is smoothed in place."""
    times = max(1.0, max(view.size_px) / SEARCH_PX)
    small_px = (round(view.size_px[0] / times), round(view.size_px[1] / times))
    small = cv2.GaussianBlur(cv2.resize(mean, small_px, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    small = np.asarray(small, np.float32).reshape(small_px[1], small_px[0], -1)
    for channel in range(mean.shape[2]):  # one at a time: the whole picture is large
        cv2.insertChannel(cv2.GaussianBlur(cv2.extractChannel(mean, channel), (0, 0), 0.7), mean, channel)
    starts = starts_of(View(bed=view.bed, size_px=small_px), small)
    return Look(view=view, full=mean, liveliness=liveliness, times=times, starts=starts)


def candidates(look: Look, begun: Sequence[Guess]) -> list[Candidate]:
    """What could be the bed, best first, each settled in the full picture from one of these guesses."""
    view, full = look.view, look.full
    settled = refine(view, full, [enlarged(guess.pose, look.times) for guess in begun])
    found = [Candidate(refined=one, found=evidence(view, full, one, look.liveliness)) for one in settled]
    found.sort(key=lambda one: -one.found.rank)
    return found


def _summed(pictures: Sequence[Picture]) -> tuple[Array, NDArray[np.float32] | None]:
    """Mean picture (height, width, channels), in which grain that moves fades and walls stay, and the mean change between them,
    in a small grey one; None for fewer than three. One picture after the other is asked for, once."""
    total: Array = np.zeros(0, np.float32)
    small: list[Picture] = []
    for picture in pictures:
        if not small:
            total = np.zeros(picture.shape, np.float32)
            times = max(1.0, max(picture.shape[:2]) / LIVELINESS_PX)
            size = (round(picture.shape[1] / times), round(picture.shape[0] / times))
        elif picture.shape != total.shape:
            raise ValueError("find_bed needs one or more pictures of one size")
        cv2.accumulate(picture, total)
        less = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        small.append(np.asarray(less if less.ndim == 2 else cv2.cvtColor(less, cv2.COLOR_BGR2GRAY), np.uint8))
    if not small:
        raise ValueError("find_bed needs one or more pictures of one size")
    total /= len(small)
    mean = total if total.ndim == 3 else total[..., None]
    if len(small) < 3:
        return mean, None
    change = np.mean([cv2.absdiff(a, b) for a, b in itertools.pairwise(small)], axis=0)
    return mean, np.asarray(cv2.blur(change.astype(np.float32), (5, 5)), np.float32)


def aim_of(view: View, best: Candidate, astray_mm: float = 0.0) -> Aim:
    """The finding in the words of the contract: outlines exactly as the homographies and the lens draw them."""
    fitted = best.refined.fitted
    pose, depth = fitted.pose, view.depth_mm(fitted.pose)
    surface, rim = view.homography(pose), view.homography(pose, depth)
    lens = lens_beside(view, pose) if pose[K1] != 0.0 else None
    drawn = [outline_of(plane, view.bed) for plane in (surface, rim)]
    if lens is not None:
        drawn = [bent_outline(view, pose, height) for height in (0.0, depth)]
        surface = np.asarray(zoomed(lens) @ surface, np.float64)
        surface /= surface[2, 2]
    close = not best.refined.lone and not one_outline(view) and fitted.badness < CLOSE
    doubtful = 0.0
    if best.refined.lone and view.bed.surface_below_rim_mm > 0.0:
        # the edge that shows may be the other one of a rim as wide as the outline beside it tells
        doubtful = max(LONE_RING_OFF_MM, 0.5 * best.found.beside_mm)
        # where it fits loosely it may be the inner one here and the outer one there
        doubtful *= float(np.hypot(1.0, fitted.badness / LOOSE))
    # a ledge taken for the foot looks like a surface off its level
    doubtful = float(np.hypot(doubtful, (0.1 if close else 0.2) * pose[DEEPER]))
    if 0.0 < best.found.wall_px < 6.0:  # foot, rim and ring within a few pixels may be taken for one another
        doubtful = float(np.hypot(doubtful, 2.0))
    return Aim(
        surface=drawn[0],
        rim=drawn[1],
        bed_to_picture=surface,
        mm_per_px=mm_per_px(surface),
        size_px=view.size_px,
        error_mm=float(
            np.sqrt(
                error_mm(view, fitted) ** 2 + 0.2**2 + standing_error_mm(view, pose) ** 2 + doubtful**2 + astray_mm**2
            )
        ),
        lens=lens,
        level_mm=(depth, off) if close and (off := _level_error_mm(fitted)) < level_spread_mm(view.bed) else None,
    )


def _level_error_mm(fitted: Fitted) -> float:
    """Standard error of the surface's level: what the fit says, and the half millimetre that blur and powder on the wall
    move an outline."""
    return float(np.hypot(np.sqrt(fitted.covariance[DEEPER, DEEPER]), 0.5))


def not_found(reason: str, advice: str) -> NotFound:
    """A refusal, with its problem line."""
    sentence = f"The bed was not found: {reason}. {advice}"
    problem = Problem(kind=ProblemKind.BED_NOT_FOUND, advice=sentence)
    return NotFound(reason=reason, advice=advice, problems=(problem,))


__all__ = ["aim_of", "candidates", "find_bed", "not_found", "search"]
