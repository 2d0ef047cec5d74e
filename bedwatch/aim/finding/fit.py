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

from bedwatch.aim.finding.edges import Array
from bedwatch.aim.finding.lines import COUNT, FOOT, RING_EDGE, Line, draw, looks, told_apart
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
)
from bedwatch.bed.model import Bed

FOCAL_SHARE, FOCAL_SPREAD = 0.85, 0.40  # focal length over picture width of webcams and phones, and spread of its ln
FAR_MM, FAR_SPREAD = 900.0, 0.6  # a camera hangs 0.3 to 3 m above a bed: middle of that, and spread of its logarithm
LEAN_SPREAD = 0.25  # of the normal's part along the picture, about 15 degrees
NEWS = 0.25  # share of an edge place that is news, since its neighbours show the same grain, shadow and dent
NEAR_PX, NEAR_MM = 1.3, 0.8  # how near to an outline its edge must lie: blur is in pixels, dents and dust are in mm
SHARP_PX, UNEVEN_MM = 0.1, 0.1  # how well an edge is read at best, and how even a tub is made
BEND_SPREAD = 0.1  # of k1: most lenses bend little, some wide ones down to -0.3
# How far a surface commonly lies off its level: dips lower it, air lifts it, and what is told was read off a rule. Of the
# depth, and at least.
DEEPER_SPREAD, LEAST_DEEPER_MM = 0.06, 6.0
RINGS_MM, BENDS = (1.5, 45.0), (-0.45, 0.2)
STEP = np.array([0.05, 0.05, 1e-4, 1e-4, 1e-4, 1e-3, 1e-4, 0.05, 1e-3, 0.05])


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
    return max(LEAST_DEEPER_MM, DEEPER_SPREAD * bed.surface_below_rim_mm)


def _slopes(
    view: View, pose: Vector, lines: Sequence[Line], free: Sequence[int], count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Change of where the outlines lie along their normals (n, free), and of the prior misses, per unit of a number."""
    many, numbers = len(lines), len(free)
    moved = np.repeat(pose[None], numbers, axis=0)
    moved[np.arange(numbers), free] += STEP[free]
    priors = (_prior(view, moved) - _prior(view, pose[None])).T / STEP[free]
    kinds = [line.kind for line in lines for _ in free]
    drawn = draw(view, np.tile(moved, (many, 1)), kinds, count)
    shift = drawn.reshape(many, numbers, -1, 2) - np.stack([line.pixels for line in lines])[:, None]
    normals = np.stack([line.normals for line in lines])[:, None]
    along = shift[..., 0] * normals[..., 0] + shift[..., 1] * normals[..., 1]
    return along.transpose(0, 2, 1).reshape(-1, numbers) / STEP[free], priors


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


def _lines(
    view: View, picture: Array, pose: Vector, kinds: Sequence[str], reach_px: float, rim_reach_px: float, count: int
) -> list[Line]:
    """What shows of these outlines within a reach, those of the rim no farther than `rim_reach_px`."""
    if rim_reach_px >= reach_px:
        return told_apart(looks(view, picture, np.tile(pose, (len(kinds), 1)), kinds, reach_px, count))
    nears = [reach_px if kind == FOOT else rim_reach_px for kind in kinds]
    return [looks(view, picture, pose[None], (kind,), near, count)[0] for kind, near in zip(kinds, nears, strict=True)]


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
        lines = _lines(view, picture, pose, kinds, reach, rim_reach_px, count)
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
    lines = _lines(view, picture, pose, kinds, reaches_px[-1], 1e9, count)
    return Fitted(pose=pose, lines=tuple(lines), spread_px=spread, cost=cost, covariance=covariance)
