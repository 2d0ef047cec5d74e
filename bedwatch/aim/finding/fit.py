"""Settle a pose on the edges of the picture: tub outlines are drawn, edges sought across them, the misses made small.

The scheme is that of model-based edge tracking (Harris 1990, RAPiD): one miss per sampled place, measured along the
outline's normal; here with a Levenberg-Marquardt step, Cauchy weights, and weak prior knowledge for what a picture
may leave open (focal length, lean of the camera).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, clearness, normals_of, peaks, steadied, strip
from bedwatch.aim.pose import (
    DEEPER,
    K1,
    LN_DISTANCE,
    LN_SCALE,
    NUMBERS,
    RING,
    ROLL,
    TX,
    TY,
    Vector,
    View,
    bed_outline_mm,
    outside_mm,
    runs_of,
)
from bedwatch.bed.model import Bed, Points

FOOT, RIM, RING_EDGE = "foot", "rim", "ring"
COUNT = 180  # places along an outline
FOCAL_SHARE, FOCAL_SPREAD = 0.85, 0.40  # focal length over picture width of webcams and phones, and spread of its ln
FAR_MM, FAR_SPREAD = 900.0, 0.6  # a camera hangs 0.3 to 3 m above a bed: middle of that, and spread of its logarithm
LEAN_SPREAD = 0.25  # of the normal's part along the picture, about 15 degrees
LEDGE = 0.12  # of half the bed's width: how far inside a foot another outline is looked for at least
ALONG = 0.04  # share of an outline over which its edges are averaged
NEWS = 0.25  # share of an edge place that is news, since its neighbours show the same grain, shadow and dent
NEAR_PX, NEAR_MM = 1.3, 0.8  # how near to an outline its edge must lie: blur is in pixels, dents and dust are in mm
SHARP_PX, UNEVEN_MM = 0.1, 0.1  # how well an edge is read at best, and how even a tub is made
BEND_SPREAD = 0.1  # of k1: most lenses bend little, some wide ones down to -0.3
DEEPER_SPREAD = 0.06  # of the depth of the surface: levels fall, and air lifts them
RINGS_MM, BENDS = (1.5, 45.0), (-0.45, 0.2)
STEP = np.array([0.05, 0.05, 1e-4, 1e-4, 1e-4, 1e-3, 1e-4, 0.05, 1e-3, 0.05])


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What one outline of the tub shows in the picture.

    seen: (n,) in the picture and not hidden. at_px: (n,) offset of the edge along the normal. clear: (n,) 0 to 1.
    """

    kind: str
    pixels: Points
    normals: Points
    seen: NDArray[np.bool_]
    at_px: NDArray[np.float64]
    clear: NDArray[np.float64]

    def support(self, within_px: float, clear: float = 0.4) -> float:
        """Share of the seen places that have a clear edge this near."""
        good = (np.abs(self.at_px) <= within_px) & (self.clear > clear) & self.seen
        return float(good.sum() / max(1, self.seen.sum()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A settled pose. spread_px: robust standard deviation of the misses. cost: mean log misfit of the
    edges, to compare poses of the same outlines. covariance: (10, 10) of the pose."""

    pose: Vector
    lines: tuple[Line, ...]
    spread_px: float
    cost: float
    covariance: NDArray[np.float64]

    @property
    def badness(self) -> float:
        """Misfit and missing edges in one figure, to choose between poses of the same outlines."""
        near = within_px(self.pose)
        return self.cost + 1.0 - float(np.mean([line.support(near) for line in self.lines]))

    def line(self, kind: str) -> Line | None:
        return next((line for line in self.lines if line.kind == kind), None)


def within_px(pose: Vector) -> float:
    """How near to an outline an edge must lie to be taken for it."""
    return max(NEAR_PX, NEAR_MM * float(np.exp(pose[LN_SCALE])))


def places_of(view: View, pose: Vector, kind: str, count: int) -> tuple[Points, float]:
    """The places (n, 2) of a kind of outline in mm, and the height of its plane above the surface."""
    if kind == FOOT:
        return bed_outline_mm(view.bed, count), 0.0
    outward = float(pose[RING]) if kind == RING_EDGE else 0.0
    return bed_outline_mm(view.bed, count, outward), view.depth_mm(pose)


def look(view: View, picture: Array, pose: Vector, kind: str, reach_px: float, count: int = COUNT) -> Line:
    """Seek the edges of one outline within `reach_px` of where the pose draws it."""
    places, height = places_of(view, pose, kind, count)
    pixels = view.project(pose, places, height)
    normals = _outward(view, pixels)
    across = strip(picture, pixels, normals, reach_px + 4.0, 0.5 if reach_px < 16 else 1.0)
    across = steadied(across, runs_of(view.bed, len(pixels)), round(ALONG * len(pixels)))
    at, clear = peaks(clearness(across.size), across.offset_px, np.zeros(len(pixels)), 0.5 * reach_px)
    seen = np.isfinite(across.size).mean(axis=1) > 0.5
    if kind == FOOT:
        seen &= view.seen(pose, places * (1.0 - 1e-3)) | (view.bed.surface_below_rim_mm == 0.0)
    clear = np.where(np.abs(at) <= reach_px, clear, 0.0)
    return Line(kind=kind, pixels=pixels, normals=normals, seen=seen, at_px=at, clear=clear)


def beneath(view: View, picture: Array, pose: Vector, count: int = 120) -> tuple[float, float]:
    """Share of the clearest outline that shows inside the foot, as if the wall went on below it, and that depth in mm.

    A ledge of powder on the wall, a stain or the rim itself may be taken for the foot; the innermost outline is the foot.
    """
    height = view.depth_mm(pose)
    if view.bed.surface_below_rim_mm == 0.0:
        return 0.0, 0.0
    places = bed_outline_mm(view.bed, count)
    pixels = view.project(pose, places, 0.0)
    shift = view.project(pose, places, -height) - pixels
    normals = _outward(view, pixels)
    wide = float(np.median(np.hypot(*shift.T)))
    if not 0.5 < wide < 1e4:
        return 0.0, 0.0
    span = float(np.exp(pose[LN_SCALE])) * min(view.bed.width_mm, view.bed.length_mm) / 2
    most = max(0.7, min(8.0, LEDGE * span / wide))  # of the wall's depth
    reach = float(np.clip(most * wide, 4.0, 70.0))
    across = strip(picture, pixels, normals, reach + 4.0, max(0.5, reach / 60.0))
    across = steadied(across, runs_of(view.bed, len(pixels)), round(ALONG * len(pixels)))
    clear = clearness(across.size)
    seen = (np.isfinite(across.size).mean(axis=1) > 0.5) & view.seen(pose, places * (1.0 - 1e-3))
    if seen.sum() < 40:
        return 0.0, 0.0
    top = np.zeros_like(clear)
    top[:, 1:-1] = (clear[:, 1:-1] >= clear[:, :-2]) & (clear[:, 1:-1] > clear[:, 2:]) & (clear[:, 1:-1] > 0.4)
    inward = -(shift * normals).sum(axis=1) / height  # px per mm of depth
    step = float(across.offset_px[1] - across.offset_px[0])
    best = (0.0, 0.0)
    level = np.nan_to_num(across.rise)
    for depth in height * np.linspace(0.04, most, int(np.clip(most * wide, 4, 60))):
        at = -np.maximum(inward, 0.0) * depth
        usable = seen & (at < -1.6) & (at > across.offset_px[1])
        if usable.sum() < 0.5 * seen.sum():
            continue
        column = np.clip(np.rint((at - across.offset_px[0]) / step).astype(np.intp), 1, clear.shape[1] - 2)
        row = np.arange(len(column))
        hit = top[row, column] + top[row, column - 1] + top[row, column + 1] > 0
        rise = level[row, column][usable]
        alike = float(np.linalg.norm(rise.mean(axis=0))) / max(float(np.sqrt((rise * rise).sum(axis=1)).mean()), 1e-6)
        share = float(hit[usable].mean()) * min(1.0, 1.3 * alike)
        if share > best[0]:
            best = (share, float(depth))
    return best


def _outward(view: View, pixels: Points) -> Points:
    """Unit picture normals of an outline; those of a rectangle's sides stop at its corners."""
    runs = runs_of(view.bed, len(pixels))
    if len(runs) == 1:
        return normals_of(pixels)
    ends = np.cumsum(runs)[:-1]
    return np.vstack([normals_of(side, closed=False) for side in np.split(pixels, ends)])


def free_of(view: View, kinds: Sequence[str]) -> list[int]:
    """The numbers of a pose that these outlines can fix."""
    free = [0, 1, LN_SCALE, TX, TY, LN_DISTANCE]
    if view.bed.shape == "rectangular":
        free.append(ROLL)
    if RING_EDGE in kinds:
        free.append(RING)
    return free


def _prior(view: View, poses: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, 8) how unusual each number of poses (m, 10) is, in standard deviations."""
    focal = (poses[:, LN_SCALE] + poses[:, LN_DISTANCE] - np.log(FOCAL_SHARE * max(view.size_px))) / FOCAL_SPREAD
    # few cameras are zoomed in, but those that are, are so by far: a long tail
    focal = np.copysign(np.sqrt(2.0 * np.log1p(0.5 * focal * focal)), focal)
    spread = np.array([LEAN_SPREAD, LEAN_SPREAD, 0.3, 6.0, BEND_SPREAD, level_spread_mm(view.bed)])
    usual = np.array([0.0, 0.0, 0.0, 6.0, 0.0, 0.0])
    far = (poses[:, LN_DISTANCE] - np.log(FAR_MM)) / FAR_SPREAD
    return np.column_stack([focal, far, (poses[:, [TX, TY, ROLL, RING, K1, DEEPER]] - usual) / spread])


def level_spread_mm(bed: Bed) -> float:
    """How far the surface commonly lies off the level that the bed file tells, standard deviation."""
    return max(1.5, DEEPER_SPREAD * bed.surface_below_rim_mm)


def _slopes(
    view: View, pose: Vector, lines: Sequence[Line], free: Sequence[int], count: int
) -> tuple[NDArray[np.float64], ...]:
    """Change of where the outlines lie along their normals (n, free), and of the prior misses, per unit of a number."""
    moved = np.repeat(pose[None], len(free), axis=0)
    moved[np.arange(len(free)), free] += STEP[free]
    priors = (_prior(view, moved) - _prior(view, pose[None])).T / STEP[free]
    parts = []
    for line in lines:
        places, height = places_of(view, pose, line.kind, count)
        drawn = view.project_all(moved, places, [places_of(view, one, line.kind, count)[1] for one in moved])
        if RING in free and line.kind == RING_EDGE:
            index = free.index(RING)
            drawn[index] = view.project(pose, places_of(view, moved[index], line.kind, count)[0], height)
        parts.append(np.einsum("mnk,nk->nm", drawn - line.pixels, line.normals) / STEP[free])
    return np.concatenate(parts), priors


def _use(view: View, line: Line, without_side: int | None) -> NDArray[np.float64]:
    """(n,) weight of each place of an outline: its clearness, 0 where nothing clear is seen or may be used."""
    use = np.where(line.seen & (line.clear > 0.25), line.clear, 0.0)
    if without_side is not None and (line.kind != FOOT or view.bed.surface_below_rim_mm == 0.0):
        use[side_of(view.bed, len(use)) == without_side] = 0.0
    return use


def side_of(bed: Bed, count: int) -> NDArray[np.float64]:
    """(n,) the quarter (0 to 3, clockwise from 12 o'clock) in which each place of an outline lies."""
    places = bed_outline_mm(bed, count) / np.array([bed.width_mm, bed.length_mm])
    return np.asarray(np.rint(np.arctan2(places[:, 0], places[:, 1]) * 2 / np.pi) % 4, np.float64)


def settle(
    view: View,
    picture: Array,
    pose: Vector,
    kinds: Sequence[str],
    reaches_px: Sequence[float],
    *,
    rim_reach_px: float = 1e9,
    hold_ring: bool = False,
    without_side: int | None = None,
    bend: bool = False,
    level: bool = False,
    count: int = COUNT,
    hopeless: float = 0.0,
) -> Fitted | None:
    """Fit a pose to the picture, seeking edges within each of the reaches in turn. None when it runs away.

    rim_reach_px: never seek the edges of the rim farther away than this (it was seen before, the foot was not).
    hold_ring: keep the width of the ring as it is. without_side: do not look at the rim's edges on this side (0 to 3).
    bend, level: whether the lens's bend and the level of the surface are fitted too, or kept.
    count: places along each outline. hopeless: support of the foot, once settled roughly, below which it is left at that.
    """
    pose = pose.copy()
    free = [index for index in free_of(view, kinds) if not (hold_ring and index == RING)]
    free += ([K1] if bend else []) + ([DEEPER] if level else [])
    spread, cost, covariance = 1.0, 0.0, np.zeros((NUMBERS, NUMBERS))
    least = float(np.hypot(SHARP_PX, UNEVEN_MM * np.exp(pose[LN_SCALE])))
    for tries, reach in enumerate(reaches_px):
        nears = [reach if kind == FOOT else min(reach, rim_reach_px) for kind in kinds]
        lines = [look(view, picture, pose, kind, near, count) for kind, near in zip(kinds, nears, strict=True)]
        if tries == 2 and any(line.kind == FOOT and line.support(reach) < hopeless for line in lines):
            return None
        miss = np.concatenate([line.at_px for line in lines])
        use = np.concatenate([_use(view, line, without_side) for line in lines])
        if (use > 0).sum() < max(40, (0.0, 0.25)[tries > 1] * len(use)):
            return None
        spread = max(least, 1.4826 * float(np.median(np.abs(miss[use > 0]))))
        slopes, prior_slopes = _slopes(view, pose, lines, free, count)
        prior = _prior(view, pose[None])[0]
        cost = float((use * np.log1p(np.minimum(miss / (0.4 * within_px(pose)), 8.0) ** 2)).sum() / use.sum())
        weight = NEWS * COUNT / count * use / (1.0 + (miss / (2.0 * spread)) ** 2) / spread**2
        normal = slopes.T @ (slopes * weight[:, None]) + prior_slopes.T @ prior_slopes
        pull = slopes.T @ (miss * weight) - prior_slopes.T @ prior
        step = np.linalg.solve(normal + 1e-9 * np.diag(np.diag(normal)), pull)
        limit = np.array([0.2, 0.2, 0.05, 0.12, 0.12, 0.4, 0.05, 4.0, 0.1, 5.0])
        limit[:2] *= float(np.exp(pose[LN_SCALE])) * view.bed.width_mm
        pose[free] += np.clip(step, -limit[free], limit[free])
        deep = view.bed.surface_below_rim_mm
        pose[DEEPER] = np.clip(pose[DEEPER], -min(deep, max(8.0, 0.5 * deep)), max(8.0, deep))
        pose[RING] = np.clip(pose[RING], *RINGS_MM)
        pose[K1] = np.clip(pose[K1], *BENDS)
        if not np.isfinite(pose).all() or np.hypot(pose[TX], pose[TY]) > 0.6 or not 4 < pose[LN_DISTANCE] < 9:
            return None
        covariance = np.zeros((NUMBERS, NUMBERS))
        covariance[np.ix_(free, free)] = np.linalg.inv(normal)
    lines = [look(view, picture, pose, kind, reaches_px[-1], count) for kind in kinds]
    return Fitted(pose=pose, lines=tuple(lines), spread_px=spread, cost=cost, covariance=covariance)


__all__ = [
    "FOOT",
    "RIM",
    "RING_EDGE",
    "Fitted",
    "Line",
    "look",
    "outside_mm",
    "settle",
    "within_px",
]
