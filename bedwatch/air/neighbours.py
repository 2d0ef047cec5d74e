"""Which zones touch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, Points, zone_index

_STEP_MM = 2.0
_BESIDE_MM = 0.5
_LEAST_MM = 4.0


def touching_zones(bed: Bed) -> tuple[tuple[int, int, float], ...]:
    """Pairs of zones (from 0, the lower number first) that share a border, and its length in mm, to about 5 %.

    A touch in a corner is no border: at least 4 mm are asked for.
    """
    shared: dict[tuple[int, int], float] = {}
    for number, zone in enumerate(bed.zones):
        points, weight = _beside(zone.polygon_mm)
        other = zone_index(bed, points)
        for touched in np.unique(other[(other >= 0) & (other != number)]).tolist():
            pair = (min(number, touched), max(number, touched))
            shared[pair] = shared.get(pair, 0.0) + float(weight[other == touched].sum()) / 2  # met from both sides
    return tuple((one, other, length) for (one, other), length in sorted(shared.items()) if length >= _LEAST_MM)


def _beside(polygon_mm: Points) -> tuple[Points, NDArray[np.float64]]:
    """Points just outside a clockwise outline, and the length of outline each stands for."""
    points, weights = [], []
    for a, b in zip(polygon_mm, np.roll(polygon_mm, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        if length == 0:
            continue
        count = max(1, round(length / _STEP_MM))
        share = (np.arange(count) + 0.5) / count
        outward = np.array([a[1] - b[1], b[0] - a[0]]) / length * _BESIDE_MM
        points.append(a + share[:, None] * (b - a) + outward)
        weights.append(np.full(count, length / count))
    return np.concatenate(points), np.concatenate(weights)
