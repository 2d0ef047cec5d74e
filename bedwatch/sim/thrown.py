"""Clumps of powder thrown up by bursts of a violent bed."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedwatch.sim.feed import Grid
from bedwatch.sim.stage import Lamp
from bedwatch.sim.surface import Surface

Image = NDArray[np.float32]
Array = NDArray[np.float64]

_PER_BURST = 2.0
_GRAVITY = 9810.0


class Thrown:
    """Clumps in flight: columns x, y, z (mm), their velocities (mm/s), radius (mm). No drag."""

    def __init__(self, grid: Grid, lens_mm: NDArray[np.float64], seed: int) -> None:
        self._grid, self._lens = grid, lens_mm
        self._rng = np.random.default_rng([seed, 9])
        self.clumps = np.zeros((0, 7))

    def step(self, surface: Surface, dt_s: float) -> None:
        """Fly on by dt_s and throw new clumps from the bursts of the surface's last step."""
        c = self.clumps
        c[:, :3] += c[:, 3:6] * dt_s
        c[:, 2] -= _GRAVITY / 2 * dt_s**2
        c[:, 5] -= _GRAVITY * dt_s
        c = c[c[:, 2] > 0]
        new = []
        for x, y, diameter in surface.burst_now:
            row = round((self._grid.top_mm - y) / self._grid.cell_mm)
            column = round((x - self._grid.left_mm) / self._grid.cell_mm)
            vigour = max(0.0, float(surface.violence[row, column]) - 0.4) / 0.4
            for _ in range(self._rng.poisson(_PER_BURST * min(vigour, 1.5))):
                turn, out = self._rng.uniform(0, 2 * math.pi), self._rng.uniform(40, 260)
                up = self._rng.uniform(350, 900)
                place = self._rng.normal(0, diameter / 4, 2)
                speed = (out * math.cos(turn), out * math.sin(turn), up)
                new.append([x + place[0], y + place[1], 1.0, *speed, self._rng.uniform(0.7, 2.4)])
        self.clumps = np.concatenate([c, np.array(new)]) if new else c

    def _dots(self, lit: Image, x: Array, y: Array, radius_mm: Array, keep: float, value: float) -> None:
        """Blend soft-edged discs into the image: what was there times keep, plus value."""
        g = self._grid
        column, row = (x - g.left_mm) / g.cell_mm, (g.top_mm - y) / g.cell_mm
        radius = np.maximum(radius_mm / g.cell_mm, 0.6)
        half = math.ceil(float(radius.max())) + 1
        near = np.arange(-half, half + 1)
        rows = np.round(row).astype(int)[:, None, None] + near[:, None]
        columns = np.round(column).astype(int)[:, None, None] + near
        away = np.hypot(rows - row[:, None, None], columns - column[:, None, None])
        share = np.clip(radius[:, None, None] + 0.5 - away, 0, 1).astype(np.float32)
        rows, columns = np.broadcast_arrays(rows, columns)
        kept = (share > 0) & (rows >= 0) & (rows < g.rows) & (columns >= 0) & (columns < g.columns)
        at = (rows[kept], columns[kept])
        lit[at] += share[kept] * (lit[at] * np.float32(keep - 1) + np.float32(value))

    def draw(self, lit: Image, lamp: Lamp) -> None:
        """Draw shadows and clumps into the lit surface where the camera sees them."""
        if not len(self.clumps):
            return
        towards = lamp.direction()
        x, y, z, *_, radius = self.clumps.T
        away = z / math.tan(math.radians(max(lamp.elevation_deg, 5))) / math.hypot(towards[0], towards[1])
        self._dots(lit, x - towards[0] * away, y - towards[1] * away, radius, 0.7, 0.0)
        near = z / (self._lens[2] - z)
        seen_x, seen_y = x + (x - self._lens[0]) * near, y + (y - self._lens[1]) * near
        self._dots(lit, seen_x, seen_y, radius, 0.25, 0.95)
