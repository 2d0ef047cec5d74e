"""Which air reaches which point of the surface: the grid, the zones on it, bleed, spouts, dead patches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, zone_index
from bedwatch.frames.cv import cv2
from bedwatch.sim.physics import excess_mm_s
from bedwatch.sim.stage import distance_inside

Image = NDArray[np.float32]
Array = NDArray[np.float64]

BLEED_FULL_MM = 8.0  # how far across a border a zone's air still moves its neighbour: fully, and at all
BLEED_END_MM = 22.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spout:
    """A plume at a fixed place: bubble after bubble of bubble_mm, from start_s to stop_s (source time).

    It blows through powder that nothing else moves, too: a channel. wander_mm: its middle circles about the place at this
    distance, once in wander_s.
    """

    x_mm: float
    y_mm: float
    bubble_mm: float = 18.0
    per_s: float = 7.0
    start_s: float = -1e9
    stop_s: float = 1e9
    wander_mm: float = 0.0
    wander_s: float = 9.0

    def place(self, time_s: float, rng: np.random.Generator) -> tuple[float, float]:
        """Where the next bubble comes up."""
        turn = 2 * math.pi * time_s / self.wander_s
        near = rng.normal(0, 0.12 * self.bubble_mm, 2)
        return (
            self.x_mm + self.wander_mm * math.cos(turn) + near[0],
            self.y_mm + self.wander_mm * math.sin(turn) + near[1],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RimLeak:
    """Air that runs up the wall over length_mm of it, about clock_deg (clockwise from 12 o'clock), as bubbles of bubble_mm."""

    clock_deg: float
    length_mm: float
    bubble_mm: float = 9.0
    per_s: float = 30.0
    start_s: float = -1e9
    stop_s: float = 1e9

    def middle(self, bed: Bed) -> tuple[float, float]:
        """The middle of the leaking length, on the wall (mm)."""
        return self._along(bed, 0.0)

    def place(self, bed: Bed, rng: np.random.Generator) -> tuple[float, float]:
        """Where the next bubble comes up: close to the wall, anywhere along the length."""
        x, y = self._along(bed, float(rng.uniform(-0.5, 0.5)) * self.length_mm)
        inward = abs(float(rng.normal(0, 0.3))) * self.bubble_mm + 1.0
        if bed.shape == "round":
            keep = 1 - inward / math.hypot(x, y)
            return x * keep, y * keep
        half_x, half_y = bed.width_mm / 2 - inward, bed.length_mm / 2 - inward
        return min(max(x, -half_x), half_x), min(max(y, -half_y), half_y)

    def _along(self, bed: Bed, shift_mm: float) -> tuple[float, float]:
        way = math.radians(self.clock_deg)
        if bed.shape == "round":
            radius = bed.width_mm / 2
            way += shift_mm / radius
            return radius * math.sin(way), radius * math.cos(way)
        east, north = math.sin(way), math.cos(way)
        half_x, half_y = bed.width_mm / 2, bed.length_mm / 2
        if abs(east) * half_y > abs(north) * half_x:
            side = math.copysign(half_x, east)
            return side, min(max(north / abs(east) * half_x + shift_mm, -half_y), half_y)
        side = math.copysign(half_y, north)
        return min(max(east / abs(north) * half_y + shift_mm, -half_x), half_x), side


@dataclass(frozen=True, slots=True, kw_only=True)
class AirChange:
    """From time_s (source time) on the zones get other air."""

    time_s: float
    air: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadPatch:
    """A round patch that air does not reach, from start_s (source time) on."""

    x_mm: float
    y_mm: float
    radius_mm: float
    start_s: float = -1e9
    stop_s: float = 1e9


class Grid:
    """Where the surface is sampled: cell_mm apart, over the bed and a margin. zone: index into bed.zones."""

    def __init__(self, bed: Bed, cell_mm: float) -> None:
        self.cell_mm = cell_mm
        self.columns = math.ceil((bed.width_mm + 8) / cell_mm)
        self.rows = math.ceil((bed.length_mm + 8) / cell_mm)
        self.left_mm = -(self.columns - 1) / 2 * cell_mm
        self.top_mm = (self.rows - 1) / 2 * cell_mm
        x = self.left_mm + cell_mm * np.arange(self.columns, dtype=np.float32)
        y = self.top_mm - cell_mm * np.arange(self.rows, dtype=np.float32)
        self.x, self.y = (np.asarray(a, dtype=np.float32) for a in np.meshgrid(x, y))
        self.in_bed: NDArray[np.bool_] = distance_inside(bed, self.x, self.y) >= 0
        points = np.column_stack([self.x.ravel(), self.y.ravel()]).astype(np.float64)
        self.zone = zone_index(bed, points).reshape(self.shape)  # -1 outside them all
        self.zone[~self.in_bed] = -1

    @property
    def shape(self) -> tuple[int, int]:
        return (self.rows, self.columns)

    def to_bed(self) -> Array:
        """(3, 3): (column, row, 1) to (x_mm, y_mm, 1)."""
        return np.array([[self.cell_mm, 0, self.left_mm], [0, -self.cell_mm, self.top_mm], [0, 0, 1.0]])


def air_maps(
    grid: Grid,
    air: tuple[float, ...],
    minimum_mm_s: float,
    dead: tuple[DeadPatch, ...] = (),
    blown: tuple[tuple[float, float, float], ...] = (),
) -> tuple[Image, Image, Image]:
    """Per grid point: air beyond the minimum (mm/s), freedom to move (0 to 1), violence (0 to about 1.3).

    Air spreads sideways on its way up, so it fades over BLEED_FULL_MM to BLEED_END_MM into a neighbour that
    gets too little; past that nothing moves. (Cross-flow between aerated and unaerated zones: Lin,
    Dam-Johansen & van den Bleek 1997.) blown: (x, y, radius) in mm of places that a plume frees whatever else holds.
    """
    table = np.array([excess_mm_s(a, minimum_mm_s) for a in air] + [0.0], dtype=np.float32)
    rough = np.array([min(1.3, max(0.0, (a - 3.0) / 2.2)) for a in air] + [0.0], dtype=np.float32)
    own, violent = table[grid.zone], rough[grid.zone]
    spread = max(0.5, 7.0 / grid.cell_mm)
    inside = grid.in_bed.astype(np.float32)
    weight = cv2.GaussianBlur(inside, (0, 0), spread) + 1e-6
    excess = cv2.GaussianBlur(own, (0, 0), spread) / weight * inside
    violence = cv2.GaussianBlur(violent, (0, 0), spread) / weight * inside
    still = (own <= 0).astype(np.uint8)
    away = (
        cv2.distanceTransform(still, cv2.DIST_L2, 5) * grid.cell_mm if (still == 0).any() else np.full(grid.shape, 1e6)
    )
    free = np.clip((BLEED_END_MM - away) / (BLEED_END_MM - BLEED_FULL_MM), 0, 1)
    free = free * free * (3 - 2 * free) * inside
    for patch in dead:
        gap = np.hypot(grid.x - patch.x_mm, grid.y - patch.y_mm) - patch.radius_mm
        free *= np.clip(0.5 + gap / 8, 0, 1)
    bubbling = free
    for x_mm, y_mm, radius_mm in blown:
        gap = np.hypot(grid.x - x_mm, grid.y - y_mm) - radius_mm
        free = np.maximum(free, np.clip(0.5 - gap / 8, 0, 1) * inside)
    return (
        np.asarray(excess * bubbling, dtype=np.float32),
        np.asarray(free, dtype=np.float32),
        np.asarray(violence * bubbling, dtype=np.float32),
    )
