"""The pose of a bed from a few pixels named by hand: least squares on the outlines, with weak prior knowledge.

A place named on a round outline may lie anywhere along it, so only its distance across counts: the first-order
distance from a conic (Sampson 1982). A named corner counts in both directions. What a few places leave open (focal
length, lean of the camera, level of the powder) is held by what is usual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.outline import to_bed
from bedwatch.aim.pose import DEEPER, LN_DISTANCE, LN_SCALE, NUMBERS, ROLL, TX, TY, Vector, View, bed_outline_mm
from bedwatch.bed.model import Bed, Points

FOCAL_SHARE, FOCAL_SPREAD = 0.85, 0.40  # focal length over picture width of webcams and phones, and spread of its ln
LEAN_SPREAD = 0.25  # of the normal's part along the picture, about 15 degrees
LEVEL_SPREAD_MM, LEVEL_SHARE = 4.0, 0.06  # air lifts the surface by about this
STEPS = {LN_SCALE: 1e-4, TX: 1e-4, TY: 1e-4, LN_DISTANCE: 1e-3, ROLL: 1e-4}  # others 0.05
ROUNDS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """Pixels (n, 2) named on one outline; on_rim: of the wall's top, else of the powder. places_mm: of corners."""

    on_rim: bool
    pixels: Points
    places_mm: Points | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandFit:
    """A settled pose.

    misses_px: (n,) how far off each named pixel is, in the order of the sightings. cost: sum of squares, in units of the
    naming error. covariance: of the pose's numbers.
    """

    pose: Vector
    misses_px: Vector
    cost: float
    covariance: NDArray[np.float64]


def across_px(view: View, pose: Vector, height_mm: float, pixels: Points) -> Vector:
    """(n,) first-order distance of pixels from the round outline in the plane this far up; positive outside."""
    back = np.linalg.inv(view.homography(pose, height_mm))
    radius = view.bed.width_mm / 2
    conic = back.T @ np.diag([radius**-2.0, radius**-2.0, -1.0]) @ back
    p = np.column_stack([pixels, np.ones(len(pixels))])
    slope = p @ conic
    return np.asarray((p * slope).sum(axis=1) / (2.0 * np.hypot(slope[:, 0], slope[:, 1])), np.float64)


def _named(view: View, pose: Vector, sighting: Sighting) -> NDArray[np.float64]:
    """(n, 1) or, for corners, (n, 2) misses in pixels."""
    height = view.depth_mm(pose) if sighting.on_rim else 0.0
    if sighting.places_mm is None:
        return across_px(view, pose, height, sighting.pixels)[:, None]
    return sighting.pixels - view.project(pose, sighting.places_mm, height)


def _misses(view: View, pose: Vector, sightings: Sequence[Sighting], error_px: float) -> Vector:
    """All misses in units of their error: the named pixels, what can't be seen, what is usual."""
    parts = [_named(view, pose, one).ravel() / error_px for one in sightings]
    if view.bed.shape == "round" and view.bed.surface_below_rim_mm > 0:
        # powder that was seen is not hidden behind the near wall
        for one in sightings:
            if not one.on_rim:
                parts.append(np.maximum(0.0, across_px(view, pose, view.depth_mm(pose), one.pixels)) / error_px)
    focal = (pose[LN_SCALE] + pose[LN_DISTANCE] - np.log(FOCAL_SHARE * max(view.size_px))) / FOCAL_SPREAD
    # few cameras are zoomed in, but those that are, are so by far: a long tail
    focal = np.copysign(np.sqrt(2.0 * np.log1p(0.5 * focal * focal)), focal)
    level = pose[DEEPER] / level_spread_mm(view.bed.surface_below_rim_mm)
    parts.append(np.array([focal, pose[TX] / LEAN_SPREAD, pose[TY] / LEAN_SPREAD, level]))
    return np.concatenate(parts)


def level_spread_mm(below_mm: float) -> float:
    """How far the powder may stand from where the bed file says, one standard deviation."""
    return max(LEVEL_SPREAD_MM, LEVEL_SHARE * below_mm)


def fit_by_hand(view: View, start: Vector, sightings: Sequence[Sighting], error_px: float) -> HandFit | None:
    """Settle from a start by Levenberg's damped steps. None when it runs away from what a camera can be."""
    free = [0, 1, LN_SCALE, TX, TY, LN_DISTANCE]
    if view.bed.shape == "rectangular":
        free.append(ROLL)
    if len({one.on_rim for one in sightings}) == 2 and view.bed.surface_below_rim_mm > 0:
        free.append(DEEPER)
    pose, damping = start.copy(), 1e-3
    misses = _misses(view, pose, sightings, error_px)
    normal = np.eye(len(free))
    for _ in range(ROUNDS):
        slopes = _slopes(view, pose, misses, sightings, error_px, free)
        normal = slopes.T @ slopes
        pull = slopes.T @ misses
        moved = pose.copy()
        moved[free] -= np.linalg.solve(normal + damping * np.diag(np.diag(normal)) + 1e-12 * np.eye(len(free)), pull)
        if not _possible(view, moved):
            damping *= 8
        else:
            there = _misses(view, moved, sightings, error_px)
            gain = float(misses @ misses - there @ there)
            if np.isfinite(gain) and gain >= 0:
                pose, misses, damping = moved, there, max(1e-9, damping / 5)
                if gain < 1e-4:
                    break
            else:
                damping *= 8
        if damping > 1e9:
            break
    if not np.isfinite(misses).all() or not _possible(view, pose):
        return None
    covariance = np.zeros((NUMBERS, NUMBERS))
    covariance[np.ix_(free, free)] = np.linalg.pinv(normal)
    named = misses_px(view, pose, sightings)
    return HandFit(pose=pose, misses_px=named, cost=float(misses @ misses), covariance=covariance)


def cost_of(view: View, pose: Vector, sightings: Sequence[Sighting], error_px: float) -> float:
    """The sum of squares that `fit_by_hand` makes small; infinite for what no camera can be."""
    if not _possible(view, pose):
        return np.inf
    misses = _misses(view, pose, sightings, error_px)
    cost = float(misses @ misses)
    return cost if np.isfinite(cost) else np.inf


def misses_px(view: View, pose: Vector, sightings: Sequence[Sighting]) -> Vector:
    """(n,) how far each named pixel is off, in the order of the sightings."""
    return np.concatenate([np.sqrt((_named(view, pose, one) ** 2).sum(axis=1)) for one in sightings])


def _slopes(
    view: View, pose: Vector, misses: Vector, sightings: Sequence[Sighting], error_px: float, free: Sequence[int]
) -> NDArray[np.float64]:
    columns = []
    for index in free:
        moved = pose.copy()
        moved[index] += STEPS.get(index, 0.05)
        columns.append((_misses(view, moved, sightings, error_px) - misses) / STEPS.get(index, 0.05))
    return np.column_stack(columns)


def _possible(view: View, pose: Vector) -> bool:
    """A camera above the rim that looks down, with a lens that can be bought."""
    if not np.isfinite(pose).all() or np.hypot(pose[TX], pose[TY]) > 0.85 or not 3 < pose[LN_DISTANCE] < 11:
        return False
    focal, depth = view.focal_px(pose) / max(view.size_px), view.depth_mm(pose)
    return bool(0.2 < focal < 30 and 0 <= depth < 0.8 * np.exp(pose[LN_DISTANCE]))


def without(sightings: Sequence[Sighting], number: int) -> list[Sighting]:
    """The sightings without the named pixel of this number, counted through all of them from 0."""
    left = []
    for one in sightings:
        if 0 <= number < len(one.pixels):
            places = None if one.places_mm is None else np.delete(one.places_mm, number, axis=0)
            one = replace(one, pixels=np.delete(one.pixels, number, axis=0), places_mm=places)
            number = -1
        elif number >= 0:
            number -= len(one.pixels)
        left.append(one)
    return left


def marks_mm(bed: Bed) -> Points:
    """(9, 2) the places at which errors are told: the centre and eight at the wall."""
    if bed.shape == "round":
        return np.vstack([[[0.0, 0.0]], bed_outline_mm(bed, 8)])
    x, y = np.meshgrid([0.0, -1.0, 1.0], [0.0, -1.0, 1.0])
    return np.asarray(np.column_stack([x.ravel(), y.ravel()]) * np.array([bed.width_mm, bed.length_mm]) / 2, np.float64)


def plane_error_mm(view: View, fit: HandFit) -> float:
    """Standard error of a position in the bed plane, from the covariance: root mean square over `marks_mm`."""
    places = marks_mm(view.bed)
    pixels = view.project(fit.pose, places, 0.0)
    slopes = []
    for index in range(NUMBERS):
        moved = fit.pose.copy()
        moved[index] += STEPS.get(index, 0.05)
        slopes.append((to_bed(view.homography(moved), pixels) - places) / STEPS.get(index, 0.05))
    jacobian = np.stack(slopes, axis=-1)
    return float(np.sqrt(np.einsum("nki,ij,nkj->n", jacobian, fit.covariance, jacobian).mean()))


def apart_mm(view: View, one: HandFit, other: HandFit) -> float:
    """How far the planes of two poses are apart: root mean square over `marks_mm`, in mm of the first."""
    places = marks_mm(view.bed)
    seen = view.project(other.pose, places, 0.0)
    return float(np.sqrt(((to_bed(view.homography(one.pose), seen) - places) ** 2).sum(axis=1).mean()))


__all__ = [
    "HandFit",
    "Sighting",
    "across_px",
    "apart_mm",
    "cost_of",
    "fit_by_hand",
    "level_spread_mm",
    "marks_mm",
    "misses_px",
    "plane_error_mm",
    "without",
]
