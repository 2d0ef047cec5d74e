"""Many poses settled at once in a small picture: each outline is drawn to the nearest edges that run its way.

Iterated closest points with Levenberg and Marquardt's damping and Cauchy weights (Besl & McKay 1992; Fitzgibbon 2003), all
poses in one batch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.field import Field, Nearest, drawn, pixels_of, places_in
from bedwatch.aim.finding.fit import BEND_SPREAD, FOCAL_SHARE, FOCAL_SPREAD, LEAN_SPREAD, LEAST_DEEPER_MM, STEP
from bedwatch.aim.pose import DEEPER, K1, LN_DISTANCE, LN_SCALE, NUMBERS, RING, ROLL, TX, TY, View

WIDTHS_PX = (6.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.2, 1.0)  # of the Cauchy weight, from step to step
ALIKE = 0.25  # share of an edge place that is news, since its neighbours say the same
FARTHEST_PX = 30.0


def walk(view: View, field: Field, nearest: Nearest, poses: NDArray[np.float64]) -> NDArray[np.float64]:
    """Poses (m, 10) after a few steps."""
    deep = view.bed.surface_below_rim_mm
    free = [i for i in range(NUMBERS) if i != ROLL or view.bed.shape != "round"]
    spread = np.full(NUMBERS, np.inf)
    spread[[TX, TY, ROLL, RING, K1, DEEPER]] = (
        LEAN_SPREAD,
        LEAN_SPREAD,
        0.4,
        12.0,
        BEND_SPREAD,
        max(LEAST_DEEPER_MM, 0.12 * deep),
    )
    usual = np.zeros(NUMBERS)
    usual[RING] = 6.0
    for width in WIDTHS_PX:
        normal, pull = _equations(view, field, nearest, poses, width)
        # priors
        diagonal = 1.0 / spread**2
        normal[:, range(NUMBERS), range(NUMBERS)] += diagonal
        pull -= diagonal * (poses - usual)
        focal = poses[:, LN_SCALE] + poses[:, LN_DISTANCE] - np.log(FOCAL_SHARE * max(view.size_px))
        for i in (LN_SCALE, LN_DISTANCE):
            pull[:, i] -= focal / FOCAL_SPREAD**2
            normal[:, i, [LN_SCALE, LN_DISTANCE]] += 1.0 / FOCAL_SPREAD**2
        sub = normal[:, free][:, :, free]
        sub[:, range(len(free)), range(len(free))] *= 1.02
        step = np.zeros_like(poses)
        step[:, free] = np.linalg.solve(sub + 1e-9 * np.eye(len(free)), pull[:, free, None])[..., 0]
        limit = np.array([0.1, 0.1, 0.1, 0.12, 0.12, 0.3, 0.1, 5.0, 0.08, max(3.0, 0.2 * deep)])
        limits = np.repeat(limit[None], len(poses), axis=0)
        limits[:, :2] *= np.exp(poses[:, LN_SCALE])[:, None] * view.bed.width_mm
        poses = poses + np.clip(np.nan_to_num(step), -limits, limits)
        poses[:, RING] = np.clip(poses[:, RING], 1.5, 40.0)
        poses[:, K1] = np.clip(poses[:, K1], -0.4, 0.1)
        poses[:, DEEPER] = np.clip(poses[:, DEEPER], -0.5 * deep, max(8.0, 0.6 * deep))
        poses[:, LN_DISTANCE] = np.clip(poses[:, LN_DISTANCE], 5.0, 8.5)
        lean = np.hypot(poses[:, TX], poses[:, TY])
        poses[:, TX : TY + 1] *= np.minimum(1.0, 0.57 / np.maximum(lean, 1e-9))[:, None]
    return poses


def _equations(
    view: View, field: Field, nearest: Nearest, poses: NDArray[np.float64], width_px: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Normal equations (m, 10, 10) and right sides (m, 10) of the edges' misses."""
    m = len(poses)
    moved = np.repeat(poses[:, None], NUMBERS, axis=1)
    moved[:, range(NUMBERS), range(NUMBERS)] += STEP
    there = pixels_of(view, moved.reshape(-1, NUMBERS))
    offset = nearest.offset_px.reshape(-1, 2)
    normal, pull = np.zeros((m, NUMBERS, NUMBERS)), np.zeros((m, NUMBERS))
    for line, (x, y) in zip(drawn(view, poses), there, strict=True):
        at, inside = places_in(field, line)
        length = np.maximum(np.hypot(line.dx, line.dy), 1e-9)
        nx, ny = line.dx / length, line.dy / length
        away = offset[at]
        away_x, away_y = away[..., 0], away[..., 1]
        miss = away_x * nx + away_y * ny
        use = (inside & line.usable) * ALIKE / (1.0 + (away_x * away_x + away_y * away_y) / width_px**2)
        use = np.where(np.abs(miss) < FARTHEST_PX, use, 0.0)
        shift_x = x.reshape(m, NUMBERS, -1) - line.x[:, None]
        shift_y = y.reshape(m, NUMBERS, -1) - line.y[:, None]
        slopes = (shift_x * nx[:, None] + shift_y * ny[:, None]) / STEP[:, None]
        weighted = slopes * use[:, None]
        normal += np.matmul(weighted, slopes.transpose(0, 2, 1))
        pull += np.matmul(weighted, miss[..., None])[..., 0]
    return normal, pull
