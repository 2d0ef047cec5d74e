"""Outlines that run along a drawn one, or inside it: how much of each shows, at every distance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, clearness
from bedwatch.aim.pose import LN_SCALE, RING, Vector, View, bed_outline_mm
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

CLEAR = 0.4
COUNT = 120
REACH_MM = 45.0  # no rim is wider
LEAST_SHOWN = 0.5  # of an outline that may be an edge of the rim
LEAST_APART_PX = 2.5
LEAST_KNOWN = 0.3  # of an outline that must lie in the picture to be judged
MOST = 4


def shown_along(picture: Array, pixels: Points) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Of k outlines (n, k, 2), half a pixel apart along k, the share (k,) that shows, and how alike (k,) it is all along.

    Alike is 1 where brightness rises the same way everywhere, 0 for grain. Places outside the picture do not count.
    """
    at = pixels.astype(np.float32)
    values = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(values, np.float32).reshape(*at.shape[:2], -1)
    h, w = picture.shape[:2]
    known = np.asarray((at > 1).all(axis=2) & (at < np.array([w - 2, h - 2])).all(axis=2))
    rise = np.zeros_like(values)
    rise[:, 2:-2] = (values[:, 4:] - values[:, :-4]) / 2.0
    rise[~known] = 0.0
    size = np.sqrt((rise * rise).sum(axis=2))
    clear = clearness(np.where(known, size, np.nan).astype(np.float32))
    top = np.zeros_like(clear)
    top[:, 1:-1] = (clear[:, 1:-1] >= clear[:, :-2]) & (clear[:, 1:-1] > clear[:, 2:]) & (clear[:, 1:-1] > CLEAR)
    hit = np.asarray(cv2.dilate(top, np.ones((1, 5), np.uint8)), np.float64)
    total = np.maximum(known.sum(axis=0), 1)
    shown = np.where(total > LEAST_KNOWN * len(known), (hit * known).sum(axis=0) / total, 0.0)
    alike = np.linalg.norm(rise.sum(axis=0) / total[:, None], axis=1)
    return shown, np.asarray(alike / np.maximum(np.sqrt((size * size).sum(axis=0) / total), 1e-6), np.float64)


def _drawn(view: View, pose: Vector, places_mm: Points, height_mm: float) -> Points:
    """Pixels (n, k, 2) of places (n, k, 2) this far above the surface."""
    return np.asarray(view.project(pose, places_mm.reshape(-1, 2), height_mm).reshape(places_mm.shape), np.float64)


def drawn_inside(view: View, picture: Array, pose: Vector) -> float:
    """Share of the clearest outline like the bed's, but 0.2 to 0.85 as large, that shows on the surface.

    Lids, plates and targets have such circles; powder does not.
    """
    places = bed_outline_mm(view.bed, COUNT)
    scale = float(np.exp(pose[LN_SCALE])) * min(view.bed.width_mm, view.bed.length_mm) / 2
    smaller = np.arange(0.2, 0.85, 0.5 / scale)[:, None] * places[:, None]
    shown, alike = shown_along(picture, _drawn(view, pose, smaller, 0.0))
    return float((shown * np.minimum(1.0, 1.3 * alike)).max())


def beside_rim(view: View, picture: Array, pose: Vector) -> list[float]:
    """How far outward (mm) of the wall other outlines run in the plane of the rim, those that show most first.

    The edge that the pose has there, `RING` outward, is left out.
    """
    depth, scale = view.depth_mm(pose), float(np.exp(pose[LN_SCALE]))
    half = min(view.bed.width_mm, view.bed.length_mm) / 2
    step = 0.5 / scale
    reach = min(REACH_MM, 0.4 * half)
    outward = float(pose[RING]) + np.arange(-reach, reach, step)
    places = bed_outline_mm(view.bed, COUNT)
    moved = places[:, None] + outward[:, None] * (bed_outline_mm(view.bed, COUNT, 1.0) - places)[:, None]
    shown, _ = shown_along(picture, _drawn(view, pose, moved, depth))
    tall = np.asarray(cv2.dilate(shown.astype(np.float32), np.ones((7, 1), np.uint8)), np.float64).ravel()
    apart = np.abs(outward - pose[RING]) > LEAST_APART_PX / scale
    peaks = np.flatnonzero((shown >= tall - 1e-6) & (shown > LEAST_SHOWN) & apart)
    found: list[float] = []
    for index in peaks[np.argsort(-shown[peaks])]:
        if len(found) < MOST and all(abs(outward[index] - other) > LEAST_APART_PX / scale for other in found):
            found.append(float(outward[index]))
    return found


def unexplained_mm(view: View, picture: Array, pose: Vector) -> float:
    """How far from the edge that a pose has at `RING` the nearest other outline runs beside the rim; 0 when none does."""
    if view.bed.surface_below_rim_mm == 0.0:
        return 0.0
    return min((abs(other - float(pose[RING])) for other in beside_rim(view, picture, pose)), default=0.0)
