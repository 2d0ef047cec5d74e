"""A guess made exact in the full picture, and which edge of the rim is which told apart.

The ring on top of the wall shows an inner and an outer edge a few millimetres apart, and the foot of the wall lies
inside both. The innermost edge outside the foot is the wall's top inner edge; where only one shows (rim and wall of
one colour) it is taken for the outer one of a thin ring, and the doubt goes into the error.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, clearness
from bedwatch.aim.finding.fit import FOOT, RIM, RING_EDGE, Fitted, beneath, look, settle, side_of
from bedwatch.aim.finding.guesses import gap_px, one_outline
from bedwatch.aim.outline import ellipse_of_circle
from bedwatch.aim.pose import DEEPER, K1, LN_DISTANCE, LN_SCALE, RING, TX, TY, Vector, View, bed_outline_mm, outside_mm
from bedwatch.frames.cv import cv2

INWARD_MM, OUTWARD_MM = 14.0, 26.0
HOPELESS = 0.3  # support of an outline below which no second try helps
INSIDE = 0.35  # share of an outline inside the foot from which that is taken for the foot
HOPELESS_FIT = 0.9  # badness above which a pose is let go
NEARLY = 0.75  # badness above which leaving a side out does not save a pose
LEAST_BEND = 0.03  # of k1: less moves nothing in a bed by a millimetre
FITS = 0.12  # badness of a pose that leaves nothing to explain
GOOD = 0.2  # badness of a pose that needs no second try
NARROW = (2.5, 2.0, 2.0, 2.0)
FREE = (4.0, 4.0, 3.0, 3.0, 2.0)
LONE_RING_MM = 3.0  # a rim of which one edge shows is taken to be this wide, give or take as much


@dataclass(frozen=True, slots=True, kw_only=True)
class Refined:
    """A pose in the full picture. lone: only one edge of the rim shows, so its width is a guess."""

    fitted: Fitted
    lone: bool


def enlarged(pose: Vector, times: float) -> Vector:
    """The same pose in a picture `times` as large."""
    large = pose.copy()
    large[:2] = (pose[:2] + 0.5) * times - 0.5
    large[LN_SCALE] += np.log(times)
    return large


def rim_edges(view: View, picture: Array, pose: Vector) -> NDArray[np.float64]:
    """Where edges run along the rim all around: outward distances in its plane, mm, rising; 0 is the rim itself."""
    scale = float(np.exp(pose[LN_SCALE]))
    step = max(0.5 / scale, 0.25)
    offset = np.arange(-INWARD_MM, OUTWARD_MM + step, step)
    height = view.depth_mm(pose)
    pixels = np.stack(
        [view.project(pose, bed_outline_mm(view.bed, 180, float(mm)), height) for mm in offset], axis=1
    ).astype(np.float32)
    values = cv2.remap(picture, pixels[..., 0], pixels[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(values, np.float32).reshape(*pixels.shape[:2], -1)
    lag = max(1, round(1.0 / (scale * step)))
    size = np.zeros(pixels.shape[:2], np.float32)
    change = (values[:, 2 * lag :] - values[:, : -2 * lag]) / (2 * lag * step * scale)
    size[:, lag:-lag] = np.sqrt((change * change).sum(axis=2))
    h, w = picture.shape[:2]
    out = (pixels < 1).any(axis=2) | (pixels[..., 0] > w - 2) | (pixels[..., 1] > h - 2)
    size[out] = np.nan
    clear = clearness(size)
    top = np.zeros_like(clear)
    top[:, 1:-1] = (clear[:, 1:-1] >= clear[:, :-2]) & (clear[:, 1:-1] > clear[:, 2:]) & (clear[:, 1:-1] > 0.4)
    hit = cv2.dilate(top, np.ones((1, 2 * lag + 1), np.uint8))
    known = ~out & (offset[None, :] > _foot_in_rim_plane(view, pose)[:, None] + 2.0)
    share = (hit * known).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    share[known.sum(axis=0) < 50] = 0.0
    share = np.convolve(share, np.ones(3) / 3, "same")
    reach = 3 * lag
    peak = [
        float(offset[k])
        for k in range(reach, len(offset) - reach)
        if share[k] > 0.6 and share[k] >= share[k - reach : k + reach + 1].max()
    ]
    return np.array([p for i, p in enumerate(peak) if i == 0 or p - peak[i - 1] > 1.5 * reach * step])


def _foot_in_rim_plane(view: View, pose: Vector) -> NDArray[np.float64]:
    """(180,) how far outside the rim the foot of the wall appears, ray by ray; no limit where it is hidden."""
    places = bed_outline_mm(view.bed, 180)
    centre, x, y, up = view.axes(pose)
    eye = np.array([-(centre @ x), -(centre @ y)])
    share = view.depth_mm(pose) / max(-float(centre @ up), 1e-6)
    out = outside_mm(view.bed, places + (eye - places) * share)
    return np.where(out < 0, out, -np.inf)


def _moved_rim(view: View, pose: Vector, outward_mm: float) -> Vector:
    """The pose whose rim lies where this one draws a line so far outside its rim, the surface staying in place."""
    height, radius = view.depth_mm(pose), min(view.bed.width_mm, view.bed.length_mm) / 2
    distance = float(np.exp(pose[LN_DISTANCE]))
    ratio = distance / (distance - height) * (radius + outward_mm) / radius
    moved = pose.copy()
    if one_outline(view):
        moved[LN_SCALE] += np.log1p(outward_mm / radius)
    elif ratio > 1.005:
        moved[LN_DISTANCE] = np.clip(np.log(height * ratio / (ratio - 1)), 5.6, 8.5)
    return moved


def refine(view: View, picture: Array, pose: Vector, times: float) -> list[Refined]:
    """Settle a pose of the small picture (a `times`-th of the size) in the full one; empty when no edges are there.

    Where another outline shows inside the foot, the pose that takes that one for the foot is given too.
    """
    most = max(2.0, 0.7 * gap_px(view, enlarged(pose, times)))  # or one outline would be taken for the other
    wide = tuple(min(most, max(2.5, times * reach)) for reach in (1.5, 1.0))
    found = _refine(view, picture, enlarged(pose, times), wide + NARROW)
    if found is None:
        return []
    ways = [found]
    for _ in range(2):
        best = ways[-1]
        if best.fitted.badness > HOPELESS_FIT or one_outline(view):
            break
        share, depth = beneath(view, picture, best.fitted.pose)
        if share < INSIDE:
            break
        starts = [_lowered(view, best.fitted.pose, depth, rim=rim) for rim in (True, False)]
        tries = [_refine(view, picture, start, (4.0, 3.0, *NARROW)) for start in starts]
        good = [one for one in tries if one is not None and one.fitted.badness < HOPELESS_FIT]
        if not good:
            break
        ways.append(min(good, key=lambda one: one.fitted.badness))
    return ways


def _lowered(view: View, pose: Vector, depth_mm: float, *, rim: bool) -> Vector:
    """The pose whose foot lies where this one draws a line so far below its own, its rim staying (or, else, lying on
    the former foot)."""
    height, distance = view.depth_mm(pose), float(np.exp(pose[LN_DISTANCE]))
    lower = view.homography(pose, -depth_mm)
    top = distance - height if rim else distance
    ratio = max((distance + depth_mm) / top, 1.003)
    moved = pose.copy()
    moved[:2] = lower[:2, 2]
    moved[LN_SCALE] += np.log(distance / (distance + depth_mm))
    moved[LN_DISTANCE] = np.clip(np.log(height * ratio / (ratio - 1)), 5.6, 8.5)
    moved[TX : TY + 1] *= min((height * rim + depth_mm) / height, 1.5)
    return moved


def _refine(view: View, picture: Array, pose: Vector, reaches: tuple[float, ...]) -> Refined | None:
    found = _at_level(view, picture, pose, reaches)
    if found is None or found.fitted.badness < FITS or one_outline(view):
        return found
    # the level of the bed file does not explain the outlines: the surface may lie elsewhere
    start = found.fitted.pose.copy()
    start[DEEPER] += 1e-6
    kinds = tuple(line.kind for line in found.fitted.lines)
    free = _settled(view, picture, start, kinds, (4.0, 3.0, *NARROW), hold_ring=found.lone)
    if free and free[0].badness < 0.85 * found.fitted.badness - 0.02:
        return Refined(fitted=free[0], lone=found.lone)
    return found


def _at_level(view: View, picture: Array, pose: Vector, reaches: tuple[float, ...]) -> Refined | None:
    kinds = (FOOT,) if one_outline(view) else (RIM, FOOT)
    fitted = _bent_or_straight(view, picture, pose, kinds, reaches)
    if fitted is None or min(line.support(3.0) for line in fitted.lines) < HOPELESS:
        return None
    ringed = _with_ring(view, picture, fitted.pose, kinds)
    if (ringed is None or ringed.badness > GOOD) and fitted.pose[K1] == 0.0:
        # one outline alone may hide that the lens bends; two cannot
        start = fitted.pose.copy()
        start[K1] = -1e-6
        bent = _with_ring(view, picture, start, kinds)
        if bent is not None and _bends(bent) and (ringed is None or bent.badness < 0.85 * ringed.badness - 0.02):
            ringed = bent
    if ringed is not None:
        return Refined(fitted=ringed, lone=False)
    if one_outline(view):
        return Refined(fitted=_upright(view, picture, fitted, kinds), lone=True)
    start = _moved_rim(view, fitted.pose, -LONE_RING_MM)
    start[RING] = LONE_RING_MM
    kinds = (FOOT, RING_EDGE)
    lone = next(iter(_settled(view, picture, start, kinds, (4.0, 3.0, *NARROW), hold_ring=True)), None)
    if lone is None or lone.badness > fitted.badness + 0.2:  # moving the rim moved the camera too far
        start = fitted.pose.copy()
        start[RING] = LONE_RING_MM
        reach = max(4.0, 1.5 * LONE_RING_MM * float(np.exp(start[LN_SCALE])))
        again = _settled(view, picture, start, kinds, (reach, 4.0, 3.0, *NARROW), hold_ring=True)
        lone = min([*again, *([lone] if lone else [])], key=lambda one: one.badness, default=None)
    if lone is not None and GOOD < lone.badness < NEARLY:
        lone = _without_a_side(view, picture, lone, kinds, hold_ring=True)
    deeper = _as_rim(view, picture, fitted.pose)
    if deeper is not None and (lone is None or deeper.badness < lone.badness + 0.25):
        return Refined(fitted=deeper, lone=False)
    return Refined(fitted=lone, lone=True) if lone is not None else None


def _bent_or_straight(
    view: View, picture: Array, pose: Vector, kinds: tuple[str, ...], reaches: tuple[float, ...]
) -> Fitted | None:
    """Settle with a straight lens, and with one that bends only where the picture clearly says so."""
    flat = pose.copy()
    flat[K1] = 0.0
    straight = settle(view, picture, flat, kinds, reaches)
    if straight is not None and straight.badness < GOOD and pose[K1] == 0.0:
        return straight
    bent = settle(view, picture, pose, kinds, reaches, bend=True)
    if bent is None or not _bends(bent):
        return straight
    return bent if straight is None or bent.badness < 0.85 * straight.badness - 0.02 else straight


def _bends(fitted: Fitted) -> bool:
    """Whether the lens bends by more than its error."""
    error = float(np.sqrt(fitted.covariance[K1, K1]))
    return bool(abs(fitted.pose[K1]) > max(LEAST_BEND, 4.0 * error))


def _as_rim(view: View, picture: Array, pose: Vector) -> Fitted | None:
    """The pose, if a good one comes out, whose rim is what this one takes for the foot (and the foot shows within)."""
    height = view.depth_mm(pose)
    distance, longer = float(np.exp(pose[LN_DISTANCE])), max(view.size_px)
    quick: list[Fitted] = []
    for share in (0.7, 0.9, 1.15, 1.5):
        start = pose.copy()
        new = share * longer / float(np.exp(pose[LN_SCALE])) + height
        start[LN_DISTANCE] = np.clip(np.log(new), 5.6, 8.5)
        start[LN_SCALE] = np.log(share * longer) - start[LN_DISTANCE]
        start[RING] = 6.0
        quick += _settled(view, picture, start, (RIM, FOOT, RING_EDGE), (4.0, 3.0, 2.5, *NARROW))
        away = abs(quick[-1].pose[LN_DISTANCE] - np.log(distance)) if quick else 1.0
        if quick and away < 0.02:
            quick.pop()
    good = [
        one for one in quick if _ring_shows(one) and one.badness < 0.35 and beneath(view, picture, one.pose)[0] < 0.3
    ]
    return min(good, key=lambda one: one.badness) if good else None


def _with_ring(view: View, picture: Array, pose: Vector, kinds: tuple[str, ...]) -> Fitted | None:
    """The best pose that puts both edges of the ring on edges of the picture. None when there are no two."""
    edges = rim_edges(view, picture, pose)
    pairs = [(a, b - a) for a, b in itertools.pairwise(edges)][:2]
    guessed = [(-share * w, w) for w in (3.0, 6.0, 10.0) for share in (0.0, 0.5, 1.0)]
    kinds = (*kinds, RING_EDGE)
    quick: list[Fitted] = []
    # from the middle of a ring of 6 to 8 mm both its edges are still reached
    reaches = tuple(max(3.0, mm * float(np.exp(pose[LN_SCALE]))) for mm in (4.0, 2.5))
    ways = [pose, *_mirrored(view, pose)]
    sure = [_ringed(view, way, *pair) for way, pair in itertools.product(ways, pairs)]
    more = [_ringed(view, way, *pair) for way, pair in itertools.product(ways, guessed)]
    for start in [*sure, *_likeliest(view, picture, more)]:
        quick += _settled(view, picture, start, kinds, (*reaches, 3.0, 2.5, 2.0))
        if quick and quick[-1].badness < 2 * GOOD:
            break
    quick.sort(key=lambda one: one.badness)
    found = [full for one in quick[:2] for full in _settled(view, picture, one.pose, kinds, NARROW)]
    if not found:
        return None
    best = min(found, key=lambda one: one.badness)
    if GOOD < best.badness < NEARLY:
        best = _without_a_side(view, picture, best, kinds)
    return _upright(view, picture, best, kinds) if _ring_shows(best) else None


def _ringed(view: View, pose: Vector, outward_mm: float, width_mm: float) -> Vector:
    """The pose whose rim lies so far outside this one's, with a ring so wide on top."""
    start = _moved_rim(view, pose, outward_mm)
    start[RING] = width_mm
    return start


def _likeliest(view: View, picture: Array, starts: list[Vector], most: int = 4) -> list[Vector]:
    """Of several starts those near whose two edges of the ring most of a picture's edges lie."""

    def shows(start: Vector) -> float:
        lines = [look(view, picture, start, kind, 3.0, 60) for kind in (RIM, RING_EDGE)]
        bell = [np.exp(-0.5 * (line.at_px / 1.5) ** 2) * np.minimum(line.clear, 0.6) * line.seen for line in lines]
        return float(min(one.mean() for one in bell))

    return sorted(starts, key=shows, reverse=True)[:most]


def _settled(
    view: View,
    picture: Array,
    pose: Vector,
    kinds: tuple[str, ...],
    reaches: tuple[float, ...],
    *,
    side: int | None = None,
    hold_ring: bool = False,
) -> list[Fitted]:
    bend, level = pose[K1] != 0.0, pose[DEEPER] != 0.0
    one = settle(
        view, picture, pose, kinds, reaches, without_side=side, hold_ring=hold_ring, bend=bool(bend), level=bool(level)
    )
    return [one] if one is not None else []


def _without_a_side(
    view: View, picture: Array, fitted: Fitted, kinds: tuple[str, ...], *, hold_ring: bool = False
) -> Fitted:
    """A better pose, if there is one, that comes out when the rim's edges on one side were a trap.

    On the near side powder, rim and bench follow each other closely, and one pair may look alike in colour.
    """
    found = [fitted]
    for free in _settled(view, picture, fitted.pose, kinds, FREE, side=_worst_side(view, fitted), hold_ring=hold_ring):
        found += _settled(view, picture, free.pose, kinds, NARROW, hold_ring=hold_ring)
    return min(found, key=lambda one: one.badness)


def _worst_side(view: View, fitted: Fitted) -> int:
    """The side (0 to 3) on which the edges of the rim lie farthest from where the pose has them."""
    lines = [line for line in fitted.lines if line.kind != FOOT or view.bed.surface_below_rim_mm == 0.0]
    sides = side_of(view.bed, 180)
    miss = [np.mean([np.minimum(np.abs(line.at_px[sides == side]), 3.0).mean() for line in lines]) for side in range(4)]
    return int(np.argmax(miss))


def _ring_shows(fitted: Fitted) -> bool:
    """Whether both edges of the ring run along most of it (the inner one at least where powder lies behind it)."""
    inner = fitted.line(RIM) or fitted.line(FOOT)
    outer, foot = fitted.line(RING_EDGE), fitted.line(FOOT)
    if inner is None or outer is None or foot is None:
        return False
    scale = float(np.exp(fitted.pose[LN_SCALE]))
    if fitted.pose[RING] * scale < 2.0 or outer.support(1.2) < 0.6:
        return False
    hidden = ~foot.seen & inner.seen
    good = (np.abs(inner.at_px) <= 1.2) & (inner.clear > 0.4)
    behind = float(good[hidden].mean()) if hidden.sum() > 20 else 0.0
    return max(inner.support(1.2), behind) > 0.6


def _mirrored(view: View, pose: Vector) -> list[Vector]:
    """The other lean in which a full round bed looks the same; empty when the wall's depth tells them apart."""
    if not one_outline(view) or view.bed.shape != "round":
        return []
    ellipse = ellipse_of_circle(view.homography(pose), view.bed.width_mm / 2)
    others = view.of_circle(ellipse, view.focal_px(pose), 0.0)
    for other in others:
        other[RING], other[K1] = pose[RING], pose[K1]
    return [other for other in others if np.hypot(*(other[TX : TY + 1] - pose[TX : TY + 1])) > 0.02]


def _upright(view: View, picture: Array, fitted: Fitted, kinds: tuple[str, ...]) -> Fitted:
    """Of the two ways a full round bed may lean and look alike, the one that fits better."""
    tries = [one for way in _mirrored(view, fitted.pose) for one in _settled(view, picture, way, kinds, (3.0, *NARROW))]
    return min([fitted, *tries], key=lambda one: one.cost)
