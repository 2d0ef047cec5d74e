"""Nearly round outlines in a picture, without knowing where: a vote along edge normals, then a fit of each peak.

The vote is the Hough transform for circles with edge direction (Kimme, Ballard & Sklansky 1975), one vote for bright
insides and one for dark ones, in coarse cells so that ellipses of a tilted circle (axes 1 : 0.9) still make a peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.blobs import ellipses
from bedwatch.aim.finding.edges import Array, EdgeMap, Runs, Strip, clearness, peaks, strip, tops
from bedwatch.aim.outline import conic_of_ellipse, fit_ellipse
from bedwatch.aim.types import Ellipse
from bedwatch.frames.cv import cv2

CELL = 4.0  # px of the search picture per cell of the vote
SPREADS = (0.10, 0.08, 0.05, 0.03, 0.02, 0.015)
NESTED = (0.8, 0.85, 0.9, 0.94, 0.97, 1.03, 1.06, 1.1, 1.16, 1.23)
SQUASHED = 0.83  # axes of the outlines sought beside nearly round ones
THING = 0.25  # of an outline's width, and of the logarithm of its size: outlines nearer than this are of one thing
RATIO = 1.04  # from one radius of the vote to the next
TURN = 2 * np.pi * np.arange(120) / 120
SPOKES = np.column_stack([np.cos(TURN), np.sin(TURN)])
WAVES = np.column_stack([np.ones_like(TURN), SPOKES, np.cos(2 * TURN), np.sin(2 * TURN)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """A nearly round closed outline. support: share of its rays (of those in the picture) with a clear edge on it."""

    ellipse: Ellipse
    support: float


def vote(edges: EdgeMap, size_px: tuple[int, int], inside: float) -> tuple[NDArray[np.float64], Array]:
    """Radii (r,) and votes (r, rows, columns) for centres, a quarter of the picture's size added on every side.

    inside +1 counts outlines with a bright inside, -1 with a dark one. A full circle counts about 1.
    """
    w, h = size_px
    low, high = 0.13 * min(w, h), 0.62 * max(w, h)
    radii = low * RATIO ** np.arange(int(np.log(high / low) / np.log(RATIO)) + 1)
    columns, rows = int(1.5 * w / CELL), int(1.5 * h / CELL)
    shift = np.array([w, h]) / 4
    votes = np.zeros((len(radii), rows, columns), np.float32)
    x, y = ((edges.at_px + shift) / CELL + 0.5).T.astype(np.float32)  # whole numbers are the borders of cells
    dx, dy = (inside / CELL * edges.normal).T.astype(np.float32)
    for index, radius in enumerate(radii.astype(np.float32)):
        column, row = x + radius * dx, y + radius * dy
        good = np.flatnonzero((column >= 0) & (column < columns) & (row >= 0) & (row < rows))
        flat = row[good].astype(np.intp) * columns + column[good].astype(np.intp)
        count = np.bincount(flat, edges.weight[good], rows * columns).reshape(rows, columns).astype(np.float32)
        blur = max(0.8, 0.035 * float(radius) / CELL)
        votes[index] = cv2.GaussianBlur(count, (0, 0), blur) * (blur * blur / float(radius))
    votes[1:-1] = 0.5 * votes[1:-1] + 0.25 * (votes[:-2] + votes[2:])
    return np.asarray(radii, np.float64), votes


def vote_peaks(radii: NDArray[np.float64], votes: Array, most: int) -> list[tuple[float, float, float]]:
    """The strongest (u, v, radius) of a vote, each no nearer to a stronger one than a tenth of its radius."""
    tall = votes.copy()
    for index, radius in enumerate(radii):
        kernel = np.ones((2 * round(0.05 * radius / CELL) + 3,) * 2, np.uint8)
        tall[index] = cv2.dilate(votes[index], kernel)
    around = np.maximum(tall[1:-1], np.maximum(tall[:-2], tall[2:]))
    at = np.argwhere((votes[1:-1] >= around) & (votes[1:-1] > 0.12)) + np.array([1, 0, 0])
    order = np.argsort(-votes[at[:, 0], at[:, 1], at[:, 2]])[:most]
    rows, columns = votes.shape[1:]
    return [
        (float(x * CELL - columns * CELL / 6), float(y * CELL - rows * CELL / 6), float(radii[r]))
        for r, y, x in at[order]
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spokes:
    """The picture along rays through a nearly round outline: where they begin, how far out (px) the outline is expected,
    and what is seen across it."""

    middle: NDArray[np.float64]
    out: NDArray[np.float64]
    radius: float
    across: Strip
    clear: Array


def spokes_of(picture: Array, start: Ellipse) -> Spokes:
    """What is seen around an ellipse."""
    radius = float(np.sqrt(start.axes_px[0] * start.axes_px[1]))
    middle = np.array(start.centre_px)
    out = SPOKES @ _squash(start).T
    reach = max(8.0, 0.2 * radius)
    runs = Runs((len(out),), True)
    across = strip(picture, middle + radius * out, out, runs, 5, reach, max(0.5, reach / 60))
    return Spokes(middle=middle, out=out, radius=radius, across=across, clear=clearness(across.size))


def fit_rounds(
    spokes: Spokes, signs: tuple[float, ...], spreads: tuple[float, ...] = SPREADS, taken: Ellipse | None = None
) -> list[Round]:
    """Settle on outlines near an ellipse, one per sign; +1: its inside is brighter, -1 darker, 0: either.

    spreads: share of the radius within which edges are sought, from try to try.
    taken: an outline not to be found again.
    """
    across, radius, out = spokes.across, spokes.radius, spokes.out
    ways, n = len(signs), len(out)
    grows = across.rise.sum(axis=2)
    clear = np.concatenate([np.where(sign * grows < 0, spokes.clear, 0) if sign else spokes.clear for sign in signs])
    if taken is not None:
        away = np.abs(radius + across.offset_px - _radius_along(taken, spokes.middle, out)[:, None])
        clear[np.tile(away < 2.0, (ways, 1))] = 0.0
    place = np.zeros((ways, n))
    at, strength = place, place
    local = tops(clear)
    for index, spread in enumerate(spreads):
        wide = max(1.2, spread * radius)
        at, strength = (one.reshape(ways, n) for one in peaks(clear, local, across.offset_px, place.ravel(), wide))
        weight = np.where(strength > 0.3, strength, 0.0) / (1 + ((at - place) / wide) ** 2)
        waves = WAVES[:, : 3 if index < len(spreads) - 4 else 5]
        weighted = waves.T * weight[:, None]
        normal = weighted @ waves + 1e-6 * np.eye(waves.shape[1])
        place = (waves @ np.linalg.solve(normal, weighted @ at[..., None]))[..., 0]
    inside = np.isfinite(across.size).any(axis=1)
    on = (np.abs(at - place) < 1.0 + 0.008 * radius) & (strength > 0.4) & inside
    found = []
    for offset, good in zip(at, on, strict=True):
        if good.sum() < 24 or inside.sum() < 60:
            continue
        try:
            ellipse = fit_ellipse((spokes.middle + (radius + offset[:, None]) * out)[good])
        except ValueError:
            continue
        found.append(Round(ellipse=ellipse, support=float(good.sum() / inside.sum())))
    return found


def _squash(ellipse: Ellipse) -> NDArray[np.float64]:
    """(2, 2) that makes an ellipse of this form and turn of a circle, keeping its area."""
    angle = np.radians(ellipse.angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    longer = float(np.sqrt(ellipse.axes_px[0] / ellipse.axes_px[1]))
    return np.asarray(turn @ np.diag([longer, 1 / longer]) @ turn.T, np.float64)


def circle(u: float, v: float, radius: float) -> Ellipse:
    return Ellipse(centre_px=(u, v), axes_px=(radius, radius), angle_deg=0.0)


def _radius_along(ellipse: Ellipse, middle: NDArray[np.float64], out: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) where rays from a point inside an ellipse meet it."""
    conic = conic_of_ellipse(ellipse)
    start = np.append(middle, 1.0)
    rays = np.column_stack([out, np.zeros(len(out))])
    a, b = np.einsum("ni,ij,nj->n", rays, conic, rays), rays @ conic @ start
    return np.asarray((-b + np.sqrt(np.maximum(b * b - a * (start @ conic @ start), 0.0))) / a)


def find_rounds(picture: Array, edges: EdgeMap, most: int = 18) -> list[Round]:
    """The best-supported nearly round outlines of a search picture, best first, none twice.

    Starts are the peaks of the vote and the borders of even regions. Beside what comes of them, outlines just inside and
    outside are sought: a rim around a surface is drowned by it in the vote when it is the fainter of the two.
    """
    h, w = picture.shape[:2]
    found: list[Round] = []
    for start in ellipses(picture):
        found += _fitted(picture, start, (1.0, -1.0, 0.0), SPREADS[1:])
    for sign in (1.0, -1.0):
        for u, v, radius in vote_peaks(*vote(edges, (w, h), sign), most=12):
            found += _fitted(picture, circle(u, v, radius), (sign, 0.0))
    kept = _unlike(found)
    if not kept or kept[0].support < 0.7:
        found += _squashed(picture, edges)
        kept = _unlike(found)
    for one in _spread(kept, 6):
        for times in NESTED:
            a, b = (times * axis for axis in one.ellipse.axes_px)
            start = Ellipse(centre_px=one.ellipse.centre_px, axes_px=(a, b), angle_deg=one.ellipse.angle_deg)
            found += _fitted(picture, start, (1.0, -1.0), (0.05, *SPREADS[2:]), one.ellipse)
    return _spread(_unlike(found), most)


def _squashed(picture: Array, edges: EdgeMap) -> list[Round]:
    """Outlines that look clearly longer one way: the vote over a picture squashed that way, four ways."""
    h, w = picture.shape[:2]
    middle = np.array([w, h]) / 2
    found: list[Round] = []
    for angle in (0.0, 45.0, 90.0, 135.0):
        long_ = Ellipse(centre_px=(0.0, 0.0), axes_px=(1.0, SQUASHED), angle_deg=angle)
        form = _squash(long_)
        normal = edges.normal @ form
        normal /= np.hypot(*normal.T)[:, None]
        at = (edges.at_px - middle) @ np.linalg.inv(form).T + middle
        flat = EdgeMap(at_px=at, normal=normal, weight=edges.weight)
        for sign in (1.0, -1.0):
            for u, v, radius in vote_peaks(*vote(flat, (w, h), sign), most=4):
                centre = form @ (np.array([u, v]) - middle) + middle
                axes = (radius / np.sqrt(SQUASHED), radius * np.sqrt(SQUASHED))
                start = Ellipse(centre_px=(float(centre[0]), float(centre[1])), axes_px=axes, angle_deg=angle)
                found += _fitted(picture, start, (sign, 0.0))
    return found


def _fitted(
    picture: Array,
    start: Ellipse,
    signs: tuple[float, ...],
    spreads: tuple[float, ...] = SPREADS,
    taken: Ellipse | None = None,
) -> list[Round]:
    """What comes of a start, each way its inside may differ from its outside."""
    found = fit_rounds(spokes_of(picture, start), signs, spreads, taken)
    good = [one for one in found if one.support > 0.4]
    return [one for one in good if min(one.ellipse.axes_px) > 0.65 * max(one.ellipse.axes_px)]


def _unlike(found: list[Round]) -> list[Round]:
    kept: list[Round] = []
    for one in sorted(found, key=lambda one: -one.support):
        if all(_differ(one.ellipse, other.ellipse) for other in kept):
            kept.append(one)
    return kept


def _spread(found: list[Round], most: int) -> list[Round]:
    """The first of these, but no more than a third of the places for one thing while others have any to fill.

    A hoop has many outlines, all of them in full, and a bed that the picture cuts has none.
    """
    kept: list[Round] = []
    rest: list[Round] = []
    for one in found:
        many = sum(_same_thing(one.ellipse, other.ellipse) for other in kept) >= most // 3
        (rest if many else kept).append(one)
    return (kept[:most] + rest[: max(0, most - len(kept))])[:most]


def _same_thing(a: Ellipse, b: Ellipse) -> bool:
    apart = float(np.hypot(a.centre_px[0] - b.centre_px[0], a.centre_px[1] - b.centre_px[1]))
    return apart < THING * 2 * a.axes_px[0] and abs(float(np.log(a.axes_px[0] / b.axes_px[0]))) < THING


def _differ(a: Ellipse, b: Ellipse) -> bool:
    apart = float(np.hypot(a.centre_px[0] - b.centre_px[0], a.centre_px[1] - b.centre_px[1]))
    return apart + abs(a.axes_px[0] - b.axes_px[0]) + abs(a.axes_px[1] - b.axes_px[1]) > 2.0 + 0.008 * a.axes_px[0]
