"""Where the 5 mm places of the ground map lie in a bed, and means over their surroundings."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, zone_index
from bedwatch.bed.zones import border_distance, wall_distance
from bedwatch.middle import middle
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import box_sum, grow, labelled

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# Air bleeds across a border about so far; so near to a zone its liveliness is what a place is held against.
BESIDE_MM = 35.0
# Surroundings of a place: a ring wider than a plume or a patch, narrower than a zone.
_RING_MM = (26.0, 62.0)


@lru_cache(maxsize=64)
def _disc(radius_mm: float, step_mm: float) -> NDArray[np.uint8]:
    half = max(1, int(np.ceil(radius_mm / step_mm - 0.5)))
    along = np.arange(-half, half + 1) * step_mm
    kernel: NDArray[np.uint8] = (np.hypot(*np.meshgrid(along, along)) <= radius_mm).astype(np.uint8)
    kernel.flags.writeable = False
    return kernel


class Places:
    """Geometry of one ground map in one bed; all arrays (rows, cols).

    step_mm: width of a place. zone: index of its zone, -1 for none. wall_mm: distance from the wall. border_mm: from the nearest
    other zone. inside: in a zone and seen. beside: (zones, rows, cols) within BESIDE_MM of the zone.
    """

    def __init__(self, bed: Bed, ground: Ground) -> None:
        self.bed = bed
        self.step_mm = float(ground.x_mm[1] - ground.x_mm[0])
        self.x_mm, self.y_mm = (np.asarray(a, np.float64) for a in np.meshgrid(ground.x_mm, ground.y_mm))
        xy = np.column_stack([self.x_mm.ravel(), self.y_mm.ravel()])
        shape = self.x_mm.shape
        self.zone: NDArray[np.intp] = zone_index(bed, xy).reshape(shape)
        self.wall_mm: Array = wall_distance(bed, xy).reshape(shape)
        self.inside: Mask = (self.zone >= 0) & (ground.seen > 0.5)
        self.border_mm: Array = np.full(shape, np.inf)
        beside = []
        reach = self.disc(BESIDE_MM)
        for number, zone in enumerate(bed.zones):
            here = self.zone == number
            self.border_mm[here] = border_distance(bed, zone, xy[here.ravel()])
            beside.append(grow(here, reach))
        self.beside: Mask = np.stack(beside)
        self._members = [np.flatnonzero(self.inside & (self.zone == number)) for number in range(len(bed.zones))]

    def disc(self, radius_mm: float) -> NDArray[np.uint8]:
        """A disc as a kernel of 0 and 1, read-only."""
        return _disc(radius_mm, self.step_mm)

    def _box(self, values: NDArray[Any], half_mm: float) -> Array:
        width = 2 * round(half_mm / self.step_mm) + 1
        return box_sum(values, width)

    def around(self, values: Array, among: Mask) -> Array:
        """Mean of the marked places' values over the ring of surroundings of each place; NaN where it sees too little."""
        free = self.inside & among
        (inner, outer), (few, many) = (
            [self._box(of, mm) for mm in _RING_MM]
            for of in (np.where(free, values, 0.0).astype(np.float32), free.astype(np.float32))
        )
        count = many - few
        return np.where(count > 20, (outer - inner) / np.maximum(count, 1.0), np.nan)

    def ring(self, place: tuple[int, int]) -> Mask:
        """The surroundings of one place."""
        away = np.hypot(self.x_mm - self.x_mm[place], self.y_mm - self.y_mm[place])
        return np.asarray(self.inside & (away > _RING_MM[0]) & (away < _RING_MM[1]), np.bool_)

    def zone_medians(self, values: Array) -> Array:
        """(zones,) median over each zone's places; NaN for a zone that is not seen."""
        found = np.full(len(self.bed.zones), np.nan)
        for number, here in enumerate(self._members):
            if len(here) >= 12:
                found[number] = middle(values.ravel()[here])
        return found

    def live_shares(self, ground: Ground, among: Mask | None = None) -> Array:
        """(zones,) share of each zone's places that are live, of those marked; NaN where too few are."""
        free = self.inside if among is None else self.inside & among
        found = np.full(len(self.bed.zones), np.nan)
        for number in range(len(found)):
            here = free & (self.zone == number)
            if here.sum() >= 12:
                found[number] = ground.live[here].mean()
        return found

    def grown(self, seed: tuple[int, int], among: Mask) -> Mask:
        """The connected group of marked places that holds the seed."""
        _, labels = labelled(among)
        return np.asarray(labels == labels[seed], np.bool_) if among[seed] else np.zeros(among.shape, np.bool_)

    def groups(self, among: Mask) -> list[Mask]:
        """All connected groups of the marked places."""
        count, labels = labelled(among)
        return [np.asarray(labels == number, np.bool_) for number in range(1, count + 1)]

    def middle(self, group: Mask, weight: Array | None = None) -> tuple[float, float]:
        """Weighted middle of a group, mm."""
        w = np.ones(int(group.sum())) if weight is None else weight[group]
        w = w / w.sum()
        return float(w @ self.x_mm[group]), float(w @ self.y_mm[group])

    def area_mm2(self, group: Mask) -> float:
        return float(group.sum()) * self.step_mm**2

    def zone_at(self, group: Mask) -> int:
        """The zone that most of a group lies in."""
        zones = self.zone[group]
        return int(np.bincount(zones[zones >= 0]).argmax()) if (zones >= 0).any() else 0


def mean_over(ground: Ground, values: Array, seconds: float) -> Array:
    """(rows, cols) mean of slab values over the last so many seconds."""
    slabs = ground.recent(seconds)
    return np.asarray(values[slabs].mean(axis=0), np.float64)
