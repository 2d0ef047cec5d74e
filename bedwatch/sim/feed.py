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
    """A plume at a fixed place: bubble after bubble of bubble_mm, from start_s (source time) on."""

    x_mm: float
    y_mm: float
    bubble_mm: float = 18.0
    per_s: float = 7.0
    start_s: float = -1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadPatch:
    """A round patch that air does not reach, from start_s (source time) on."""

    x_mm: float
    y_mm: float
    radius_mm: float
    start_s: float = -1e9


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
    grid: Grid, air: tuple[float, ...], minimum_mm_s: float, dead: tuple[DeadPatch, ...] = ()
) -> tuple[Image, Image, Image]:
    """Per grid point: air beyond the minimum (mm/s), freedom to move (0 to 1), violence (0 to about 1.3).

    Air spreads sideways on its way up, so it fades over BLEED_FULL_MM to BLEED_END_MM into a neighbour that
    gets too little; past that nothing moves. (Cross-flow between aerated and unaerated zones: Lin,
    Dam-Johansen & van den Bleek 1997.)
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
    return (
        np.asarray(excess * free, dtype=np.float32),
        np.asarray(free, dtype=np.float32),
        np.asarray(violence * free, dtype=np.float32),
    )
