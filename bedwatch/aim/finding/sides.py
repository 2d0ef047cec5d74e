"""Poses drawn onto the straight edges that a rectangular bed's sides may be, for a focal length and a bend of the lens.

Three sides are enough: the fourth may lie beyond the picture's edge. Gauss and Newton's method, all poses in one batch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.pose import LN_DISTANCE, LN_SCALE, RING, ROLL, TX, TY, U, V, Vector, View
from bedwatch.bed.model import Points

ROUNDS = 4
AT = 0.58  # of half a side from its middle: there a bent side crosses the straight line that fits it best
STEPS = ((U, 0.05), (V, 0.05), (LN_SCALE, 1e-4), (TX, 1e-4), (TY, 1e-4), (ROLL, 1e-4))
USUAL = 0.02  # px of miss that a lean of one is worth: only what the sides leave open is decided by it


def onto_sides(
    view: View,
    poses: NDArray[np.float64],
    corners: Points,
    hidden: NDArray[np.intp],
    height_mm: float,
    outward_mm: float,
) -> tuple[NDArray[np.float64], Vector]:
    """Poses (m, 10) whose rectangle this far above the surface and outside the wall lies on the sides, and their misses (m,).

    corners: (m, 4, 2) pixels, clockwise from top left. hidden: (m,) the side (0 top, 1 right, 2 bottom, 3 left) that is
    not seen, or -1. Focal lengths and bends stay as they are. A pose that runs away misses by infinity.
    """
    bed, m = view.bed, len(poses)
    half = np.array([bed.width_mm, bed.length_mm]) / 2 + outward_mm
    places = np.array([[-AT, 1], [AT, 1], [1, AT], [1, -AT], [AT, -1], [-AT, -1], [-1, -AT], [-1, AT]]) * half
    along = np.roll(corners, -1, axis=1) - corners
    along /= np.maximum(np.hypot(along[..., :1], along[..., 1:]), 1e-9)
    normal = np.repeat(np.stack([along[..., 1], -along[..., 0]], axis=2), 2, axis=1)
    through = np.repeat(corners, 2, axis=1)
    use = np.repeat(np.arange(4) != hidden[:, None], 2, axis=1)
    poses = poses.copy()
    poses[:, RING] = max(outward_mm, 5.0)
    miss = np.zeros((m, 8))
    for turn in range(ROUNDS + 1):
        moved = np.repeat(poses[:, None], len(STEPS) + 1, axis=1)
        for index, (number, step) in enumerate(STEPS):
            moved[:, index + 1, number] += step
            if number == LN_SCALE:  # the focal length is held
                moved[:, index + 1, LN_DISTANCE] -= step
        flat = moved.reshape(-1, moved.shape[2])
        drawn = view.project_all(flat, places, [height_mm] * len(flat)).reshape(m, len(STEPS) + 1, 8, 2)
        away = ((drawn - through[:, None]) * normal[:, None]).sum(axis=3) * use[:, None]
        miss = away[:, 0]
        if turn == ROUNDS:
            break
        slopes = (away[:, 1:] - miss[:, None]) / np.array([step for _, step in STEPS])[:, None]
        equations = np.matmul(slopes, slopes.transpose(0, 2, 1))
        pull = -np.matmul(slopes, miss[..., None])[..., 0]
        for index, number in ((3, TX), (4, TY)):
            equations[:, index, index] += USUAL**2
            pull[:, index] -= USUAL**2 * poses[:, number]
        equations[:, range(6), range(6)] *= 1.001
        change = np.nan_to_num(np.linalg.solve(equations + 1e-6 * np.eye(6), pull[..., None])[..., 0])
        change = np.clip(change, -_limit(poses, bed.width_mm), _limit(poses, bed.width_mm))
        poses[:, [number for number, _ in STEPS]] += change
        poses[:, LN_DISTANCE] -= change[:, 2]
        lean = np.hypot(poses[:, TX], poses[:, TY])
        poses[:, TX : TY + 1] *= np.minimum(1.0, 0.6 / np.maximum(lean, 1e-9))[:, None]
    worst = np.abs(miss).max(axis=1)
    return poses, np.where(np.isfinite(worst), worst, np.inf)


def _limit(poses: NDArray[np.float64], width_mm: float) -> NDArray[np.float64]:
    """(m, 6) the most that one round may change."""
    limit = np.tile([0.1, 0.1, 0.1, 0.15, 0.15, 0.1], (len(poses), 1))
    limit[:, :2] *= (np.exp(poses[:, LN_SCALE]) * width_mm)[:, None]
    return limit


__all__ = ["onto_sides"]
