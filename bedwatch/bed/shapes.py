"""Plane geometry of outlines: polygons as (n, 2) arrays of millimetres, closed by themselves."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Points

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]


def edges_of(polygon_mm: Points) -> tuple[Points, Points]:
    """Start and end points, (n, 2) each, of the edges that bound it; the two sides of a slit are left out."""
    starts, ends = polygon_mm, np.roll(polygon_mm, -1, axis=0)
    there = {(*a, *b): i for i, (a, b) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True))}
    slit = [(*b, *a) in there for a, b in zip(starts.tolist(), ends.tolist(), strict=True)]
    keep = ~np.array(slit, np.bool_) & np.any(starts != ends, axis=1)
    return starts[keep], ends[keep]


def signed_area_mm2(polygon_mm: Points) -> float:
    """The shoelace formula; positive when the outline runs anticlockwise (x right, y up)."""
    x, y = polygon_mm.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def centroid_mm(polygon_mm: Points) -> tuple[float, float]:
    """Centre of area of a simple polygon."""
    x, y = polygon_mm.T
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y2 - x2 * y
    six_areas = 3.0 * float(cross.sum())
    return float(np.dot(x + x2, cross)) / six_areas, float(np.dot(y + y2, cross)) / six_areas


class Scan:
    """Many points, sorted once, to be looked up in many polygons."""

    def __init__(self, xy_mm: Points) -> None:
        self._order = np.argsort(xy_mm[:, 1], kind="stable")
        self._x = np.ascontiguousarray(xy_mm[self._order, 0])
        self._y = np.ascontiguousarray(xy_mm[self._order, 1])

    def inside(self, polygon_mm: Points) -> Mask:
        """(n,) which points lie inside, by the parity of the edges to their right.

        Polygons that share an edge share it without gap or overlap: an edge is worked out the same way from
        both sides, and a point on it belongs to the one on its right (on its upper side when the edge is
        level).
        """
        starts, ends = edges_of(polygon_mm)
        upward = starts[:, 1] < ends[:, 1]
        low, high = np.where(upward[:, None], starts, ends), np.where(upward[:, None], ends, starts)
        first = np.searchsorted(self._y, low[:, 1], side="left")
        last = np.searchsorted(self._y, high[:, 1], side="left")
        odd = np.zeros(len(self._x), np.bool_)
        for i in np.flatnonzero(last > first):
            band = slice(int(first[i]), int(last[i]))
            (x0, y0), (x1, y1) = low[i], high[i]
            crossing = x0 + (self._y[band] - y0) * ((x1 - x0) / (y1 - y0))
            odd[band] ^= self._x[band] < crossing
        inside = np.empty_like(odd)
        inside[self._order] = odd
        return inside


def distance_to_edges(xy_mm: Points, starts: Points, ends: Points) -> Floats:
    """(n,) distance of each point from the nearest of the edges; infinite when there is none."""
    x, y = np.ascontiguousarray(xy_mm[:, 0]), np.ascontiguousarray(xy_mm[:, 1])
    least = np.full(len(xy_mm), np.inf)
    for (x0, y0), (x1, y1) in zip(starts, ends, strict=True):
        along_x, along_y = x1 - x0, y1 - y0
        length2 = along_x * along_x + along_y * along_y
        dx, dy = x - x0, y - y0
        share = np.clip((dx * along_x + dy * along_y) / length2, 0.0, 1.0)
        dx -= share * along_x
        dy -= share * along_y
        np.minimum(least, dx * dx + dy * dy, out=least)
    return np.asarray(np.sqrt(least), np.float64)


def self_crossing(polygon_mm: Points) -> tuple[int, int] | None:
    """The first two edges (by the number of their first corner, from 0) that meet where they should not, or
    None.
    """
    count = len(polygon_mm)
    a, b = polygon_mm, np.roll(polygon_mm, -1, axis=0)
    for i in range(count):
        j = np.arange(i + 1, count)
        if not len(j):
            break
        side_1, side_2 = _side(a[i], b[i], a[j]), _side(a[i], b[i], b[j])
        side_3, side_4 = _side(a[j], b[j], a[i]), _side(a[j], b[j], b[i])
        meets = (side_1 * side_2 <= 0) & (side_3 * side_4 <= 0)
        # on one line all sides are 0: then they meet when their boxes do
        apart = (np.maximum(a[i], b[i]) < np.minimum(a[j], b[j])) | (np.maximum(a[j], b[j]) < np.minimum(a[i], b[i]))
        meets &= ~apart.any(axis=1)
        next_to = (j == i + 1) | ((i == 0) & (j == count - 1))
        flat = (side_1 == 0) & (side_2 == 0) & (((b[i] - a[i]) * (b[j] - a[j])).sum(axis=1) < 0)
        bad = np.flatnonzero(meets & np.where(next_to, flat, True))
        if len(bad):
            return i, int(j[bad[0]])
    return None


def overlap_mm2(one_mm: Points, other_mm: Points) -> float:
    """Area that two simple polygons have in common.

    Cut into level slabs at every corner and every crossing of two edges; within a slab no edges cross, so
    the common width is linear in y and its value half-way up times the slab's height is exact.
    """
    low, high = (
        np.maximum(one_mm.min(axis=0), other_mm.min(axis=0)),
        np.minimum(one_mm.max(axis=0), other_mm.max(axis=0)),
    )
    if np.any(low >= high):
        return 0.0
    levels = np.concatenate([one_mm[:, 1], other_mm[:, 1], _crossing_levels(one_mm, other_mm)])
    levels = np.unique(np.clip(levels, low[1], high[1]))
    total = 0.0
    for bottom, top in pairwise(levels.tolist()):
        middle = (bottom + top) / 2.0
        spans_1, spans_2 = _spans(one_mm, middle), _spans(other_mm, middle)
        left = np.maximum(spans_1[:, None, 0], spans_2[None, :, 0])
        right = np.minimum(spans_1[:, None, 1], spans_2[None, :, 1])
        total += float(np.maximum(right - left, 0.0).sum()) * (top - bottom)
    return total


def _side(a: Points, b: Points, p: Points) -> Floats:
    """Sign of the turn a, b, p; broadcasts over the first axis."""
    value = (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])
    return np.asarray(np.sign(value), np.float64)


def _spans(polygon_mm: Points, level: float) -> Points:
    """(k, 2) left and right ends of what a level line cuts out of the polygon."""
    a, b = polygon_mm, np.roll(polygon_mm, -1, axis=0)
    cut = (a[:, 1] > level) != (b[:, 1] > level)
    a, b = a[cut], b[cut]
    x = np.sort(a[:, 0] + (level - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0]))
    return x.reshape(-1, 2)


def _crossing_levels(one_mm: Points, other_mm: Points) -> Floats:
    """The y at which edges of the two cross."""
    a, along = one_mm[:, None], (np.roll(one_mm, -1, axis=0) - one_mm)[:, None]
    c, across = other_mm[None], (np.roll(other_mm, -1, axis=0) - other_mm)[None]
    turn = along[..., 0] * across[..., 1] - along[..., 1] * across[..., 0]
    gap = c - a
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (gap[..., 0] * across[..., 1] - gap[..., 1] * across[..., 0]) / turn
        share_2 = (gap[..., 0] * along[..., 1] - gap[..., 1] * along[..., 0]) / turn
        y = a[..., 1] + share * along[..., 1]
    real = (turn != 0) & (share >= 0) & (share <= 1) & (share_2 >= 0) & (share_2 <= 1)
    return np.asarray(y[real], np.float64)
