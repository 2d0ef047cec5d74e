"""Edges in the picture: across an outline (sub-pixel), and as a map for the search."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

Array = NDArray[np.float32]
FAINT = 0.7  # grey levels per pixel that noise and coding of an averaged picture reach; below it is no edge


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


@dataclass(frozen=True, slots=True)
class Runs:
    """How rays follow each other: so many per run of neighbours (the sides of a rectangle); closed: a run's ends are
    neighbours."""

    counts: tuple[int, ...]
    closed: bool


def strip(
    picture: Array, pixels: Points, normals: Points, runs: Runs, rays: int, reach_px: float, step_px: float = 0.5
) -> Strip:
    """Sample a picture (height, width, channels) along outline normals, `reach_px` to both sides.

    Rises are averaged over about `rays` neighbouring rays: grain of either sign fades, outlines stay.
    """
    count = int(np.ceil(reach_px / step_px))
    offset = np.asarray(np.arange(-count, count + 1) * step_px, np.float64)
    u = (pixels[:, :1] + offset * normals[:, :1]).astype(np.float32)
    v = (pixels[:, 1:] + offset * normals[:, 1:]).astype(np.float32)
    values = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(values, np.float32).reshape(len(pixels), len(offset), -1)
    lag = max(1, round(1.0 / step_px))
    rise = np.zeros_like(values)
    np.subtract(values[:, 2 * lag :], values[:, : -2 * lag], out=rise[:, lag:-lag])
    rise *= np.float32(1.0 / (2 * lag * step_px))
    h, w = picture.shape[:2]
    known: NDArray[np.bool_] | None = None
    if u.min() < 1 or v.min() < 1 or u.max() > w - 2 or v.max() > h - 2:
        known = (u >= 1) & (v >= 1) & (u <= w - 2) & (v <= h - 2)
    if rays > 1:
        rise = _steadied(rise, known, runs, rays // 2)
    size = _length(rise)
    if known is not None:
        size[~known] = np.nan
    return Strip(offset_px=offset, rise=rise, size=size)


def _steadied(rise: Array, known: NDArray[np.bool_] | None, runs: Runs, half: int) -> Array:
    """Rises (n, k, channels) averaged over `half` rays to both sides, those known only."""
    n, k, channels = rise.shape
    flat = rise.reshape(n, -1)
    if known is not None:
        share = known.astype(np.float32)
        flat = np.concatenate([(rise * share[..., None]).reshape(n, -1), share], axis=1)
    wider, own = _padded(runs, half)
    total = np.asarray(cv2.blur(flat[wider], (1, 2 * half + 1)), np.float32)[own]
    if known is None:
        return total.reshape(n, k, channels)
    mean = total[:, : k * channels].reshape(n, k, channels)
    return np.asarray(mean / np.maximum(total[:, k * channels :], 1e-3)[..., None], np.float32)


@lru_cache(maxsize=64)
def _padded(runs: Runs, half: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows of runs laid one behind the other with `half` more before and after each, and where their own rows stand then.

    Ends of a run repeat, a closed one goes on.
    """
    wider, own, start, end = [], [], 0, half
    for count in runs.counts:
        rows = np.arange(-half, count + half)
        wider.append(start + (rows % count if runs.closed else np.clip(rows, 0, count - 1)))
        own.append(end + np.arange(count))
        start, end = start + count, end + count + 2 * half
    return np.concatenate(wider), np.concatenate(own)


def _length(rise: Array) -> Array:
    """(n, k) length of the change over the channels (n, k, channels)."""
    if rise.shape[2] == 1:
        return np.asarray(np.abs(rise[..., 0]), np.float32)
    total = rise[..., 0] * rise[..., 0]
    for channel in range(1, rise.shape[2]):  # a sum over an axis of three is slow
        total += rise[..., channel] * rise[..., channel]
    return np.asarray(np.sqrt(total, out=total), np.float32)


def _median(values: Array) -> Array:
    """(m,) the median of each row, of two in the middle the higher one; much faster than numpy's."""
    middle = values.shape[1] // 2
    return np.asarray(np.partition(values, middle, axis=1)[:, middle], np.float32)


def clearness(size: Array, strips: int = 1) -> Array:
    """Edge strength against the strip's own level, 0 (nothing) to 1 (clear); 0 outside the picture. (n, k)

    strips: how many of equally many rays lie one behind the other, each with a level of its own.
    """
    each = size.reshape(strips, -1)
    known = np.isfinite(each)
    whole = bool(known.all())
    if whole:
        level = np.median(each, axis=1)
    else:
        level = np.array(
            [np.median(one[there]) if there.any() else 0.0 for one, there in zip(each, known, strict=True)]
        )
    base = (1.5 * level + 2.0 * FAINT).astype(np.float32)
    clear = each / (each + base[:, None])
    if not whole:
        clear = np.nan_to_num(clear)
    return np.asarray(clear.reshape(size.shape), np.float32)


def tops(clear: Array) -> Array:
    """(n, k) the clearness where it is highest along its ray, 0 elsewhere."""
    local = np.zeros_like(clear)
    middle = clear[:, 1:-1]
    np.multiply(middle, (middle >= clear[:, :-2]) & (middle > clear[:, 2:]), out=local[:, 1:-1])
    return local


def peaks(
    clear: Array,
    local: Array,
    offset_px: NDArray[np.float64],
    centre_px: NDArray[np.float64] | float,
    spread_px: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Per ray the clearest edge near `centre_px` (n,): its offset (n,) to a fraction of a step, and its clearness (n,).

    local: `tops` of `clear`. `spread_px` is the standard deviation of a bell that prefers the expected place. A ray with
    no edge has clearness 0.
    """
    away = (offset_px - np.reshape(centre_px, (-1, 1))) / spread_px
    best = np.argmax(local * np.exp(-0.5 * away * away).astype(np.float32), axis=1)
    best = np.clip(best, 1, len(offset_px) - 2)
    row = np.arange(len(clear))
    a, b, c = clear[row, best - 1], clear[row, best], clear[row, best + 1]
    bend = np.where(a - 2 * b + c < -1e-9, a - 2 * b + c, -1.0)
    step = offset_px[1] - offset_px[0]
    at = offset_px[best] + np.clip(0.5 * (a - c) / bend, -0.5, 0.5) * step
    return at, local[row, best].astype(np.float64)
