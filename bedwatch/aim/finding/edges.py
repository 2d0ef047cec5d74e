"""Edges in the picture: across an outline (sub-pixel), and as a map for the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

Array = NDArray[np.float32]
FAINT = 0.7  # grey levels per pixel that noise and coding of an averaged picture reach; below it is no edge


def mean_picture(pictures: Sequence[Picture]) -> Array:
    """The mean (height, width, channels) of pictures of one size, float32: grain that moves fades, walls stay."""
    total = np.zeros(pictures[0].shape, np.float32)
    for picture in pictures:
        cv2.accumulate(picture, total)
    total /= len(pictures)
    return total if total.ndim == 3 else total[..., None]


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeMap:
    """Thinned edges of a picture.

    at_px: (n, 2). normal: (n, 2) unit vectors towards brighter. weight: (n,) 0 to 1, strength against the surroundings.
    """

    at_px: Points
    normal: Points
    weight: NDArray[np.float64]


def gradients(picture: Array) -> tuple[Array, Array, Array]:
    """Per pixel the gradient (x, y, size) of the channel in which it is strongest, grey levels per pixel."""
    gx = np.stack([cv2.Scharr(c, cv2.CV_32F, 1, 0, scale=1 / 32) for c in cv2.split(picture)], axis=-1)
    gy = np.stack([cv2.Scharr(c, cv2.CV_32F, 0, 1, scale=1 / 32) for c in cv2.split(picture)], axis=-1)
    size = gx * gx + gy * gy
    best = np.argmax(size, axis=-1)[..., None]
    x, y = (np.take_along_axis(g, best, axis=-1)[..., 0] for g in (gx, gy))
    longest = np.sqrt(np.take_along_axis(size, best, axis=-1)[..., 0])
    return np.asarray(x, np.float32), np.asarray(y, np.float32), np.asarray(longest, np.float32)


def _busy(size: Array, reach: int) -> Array:
    """The common slope round every pixel: the median over a square, which a strong line beside a faint one leaves alone."""
    sixteenths = np.minimum(16.0 * size, 255.0).astype(np.uint8)
    return np.asarray(cv2.medianBlur(sixteenths, reach), np.float32) / np.float32(16.0)


def edge_map(picture: Array, most: int = 14000) -> EdgeMap:
    """The clearest edge pixels of a picture, each weighed against how busy its surroundings are."""
    gx, gy, size = gradients(picture)
    reach = 2 * (max(size.shape) // 24) + 1
    weight = size / (size + 1.5 * _busy(size, reach) + 1.5 * FAINT)
    h, w = size.shape
    v, u = np.mgrid[2 : h - 2, 2 : w - 2]
    inner = size[2:-2, 2:-2]
    safe = np.maximum(inner, 1e-6)
    du = np.rint(gx[2:-2, 2:-2] / safe).astype(np.intp)
    dv = np.rint(gy[2:-2, 2:-2] / safe).astype(np.intp)
    thin = (inner > FAINT) & (inner >= size[v + dv, u + du]) & (inner > size[v - dv, u - du])
    thin &= weight[2:-2, 2:-2] > 0.35
    keep = np.flatnonzero(thin)
    if len(keep) > most:
        keep = keep[np.argpartition(-weight[2:-2, 2:-2].ravel()[keep], most)[:most]]
    at = np.column_stack([keep % (w - 4), keep // (w - 4)]) + 2
    x, y = at.T
    normal = np.column_stack([gx[y, x], gy[y, x]]) / size[y, x][:, None]
    return EdgeMap(
        at_px=at.astype(np.float64), normal=normal.astype(np.float64), weight=weight[y, x].astype(np.float64)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """The picture along the normals of an outline.

    offset_px: (k,) outward. rise: (n, k, channels) change per pixel outward. size: (n, k) of it over the channels,
    NaN outside the picture.
    """

    offset_px: NDArray[np.float64]
    rise: Array
    size: Array


def normals_of(pixels: Points, closed: bool = True) -> Points:
    """Unit normals (n, 2) of an outline that runs clockwise as seen, pointing outward."""
    ahead, back = np.roll(pixels, -1, axis=0), np.roll(pixels, 1, axis=0)
    if not closed:
        ahead[-1], back[0] = pixels[-1], pixels[0]
    along = ahead - back
    along /= np.hypot(*along.T)[:, None]
    return np.column_stack([along[:, 1], -along[:, 0]])


def strip(picture: Array, pixels: Points, normals: Points, reach_px: float, step_px: float = 0.5) -> Strip:
    """Sample a picture (height, width, channels) along outline normals, `reach_px` to both sides."""
    count = int(np.ceil(reach_px / step_px))
    offset = np.asarray(np.arange(-count, count + 1) * step_px, np.float64)
    u = (pixels[:, :1] + offset * normals[:, :1]).astype(np.float32)
    v = (pixels[:, 1:] + offset * normals[:, 1:]).astype(np.float32)
    values = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(values, np.float32).reshape(len(pixels), len(offset), -1)
    lag = max(1, round(1.0 / step_px))
    rise = np.zeros_like(values)
    rise[:, lag:-lag] = (values[:, 2 * lag :] - values[:, : -2 * lag]) / (2 * lag * step_px)
    size = _length(rise)
    h, w = picture.shape[:2]
    if u.min() < 1 or v.min() < 1 or u.max() > w - 2 or v.max() > h - 2:
        size[(u < 1) | (v < 1) | (u > w - 2) | (v > h - 2)] = np.nan
    return Strip(offset_px=offset, rise=rise, size=size)


def steadied(across: Strip, groups: Sequence[int], rays: int) -> Strip:
    """The strip with its rises averaged over about `rays` neighbouring rays: grain of either sign fades, outlines stay.

    groups: rays per run of neighbours (the sides of a rectangle); a single run is closed, its ends are neighbours.
    """
    half = rays // 2
    if half < 1:
        return across
    n, k, channels = across.rise.shape
    known = np.isfinite(across.size)
    whole = bool(known.all())
    flat = across.rise.reshape(n, -1)
    if not whole:
        share = known.astype(np.float32)
        flat = np.concatenate([(across.rise * share[..., None]).reshape(n, -1), share], axis=1)
    parts: list[Array] = []
    start = 0
    for count in groups:
        part = flat[start : start + count]
        start += count
        if len(groups) == 1:
            part = np.concatenate([part[-half:], part, part[:half]])
        # ends of a side repeat, a closed run goes on
        mean = np.asarray(cv2.blur(part, (1, 2 * half + 1), borderType=cv2.BORDER_REPLICATE), np.float32)
        parts.append(mean[half:-half] if len(groups) == 1 else mean)
    total = parts[0] if len(parts) == 1 else np.concatenate(parts)
    if not whole:
        total, share = total[:, : k * channels], total[:, k * channels :]
        total = np.asarray(total.reshape(n, k, channels) / np.maximum(share, 1e-3)[..., None], np.float32)
    rise = np.asarray(total.reshape(n, k, channels), np.float32)
    size = _length(rise)
    if not whole:
        size[~known] = np.nan
    return Strip(offset_px=across.offset_px, rise=rise, size=size)


def _length(rise: Array) -> Array:
    """(n, k) length of the change over the channels (n, k, channels)."""
    if rise.shape[2] == 1:
        return np.asarray(np.abs(rise[..., 0]), np.float32)
    return np.asarray(np.sqrt(np.einsum("nkc,nkc->nk", rise, rise)), np.float32)


def clearness(size: Array) -> Array:
    """Edge strength against the strip's own level, 0 (nothing) to 1 (clear); 0 outside the picture. (n, k)"""
    known = size[np.isfinite(size)]
    level = np.float32(np.median(known)) if len(known) else np.float32(0.0)
    clear = size / (size + (np.float32(1.5) * level + np.float32(2.0 * FAINT)))
    if len(known) < size.size:
        clear = np.nan_to_num(clear)
    return np.asarray(clear, np.float32)


def peaks(
    clear: Array, offset_px: NDArray[np.float64], centre_px: NDArray[np.float64], spread_px: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Per ray the clearest edge near `centre_px` (n,): its offset (n,) to a fraction of a step, and its clearness (n,).

    `spread_px` is the standard deviation of a bell that prefers the expected place. A ray with no edge has clearness 0.
    """
    local = np.zeros_like(clear)
    local[:, 1:-1] = np.where((clear[:, 1:-1] >= clear[:, :-2]) & (clear[:, 1:-1] > clear[:, 2:]), clear[:, 1:-1], 0.0)
    same = not np.ptp(centre_px)  # one bell for all rays
    away = (offset_px[None, :] - (centre_px[:1, None] if same else centre_px[:, None])) / spread_px
    best = np.argmax(local * np.exp(-0.5 * away * away).astype(np.float32), axis=1)
    best = np.clip(best, 1, len(offset_px) - 2)
    row = np.arange(len(clear))
    a, b, c = clear[row, best - 1], clear[row, best], clear[row, best + 1]
    bend = np.where(a - 2 * b + c < -1e-9, a - 2 * b + c, -1.0)
    step = offset_px[1] - offset_px[0]
    at = offset_px[best] + np.clip(0.5 * (a - c) / bend, -0.5, 0.5) * step
    return at, local[row, best].astype(np.float64)
