"""Edges that run along the rim all around, wherever near it they lie."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, clearness
from bedwatch.aim.pose import LN_SCALE, Vector, View, bed_outline_mm, outside_mm
from bedwatch.frames.cv import cv2

INWARD_MM, OUTWARD_MM = 14.0, 26.0


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
