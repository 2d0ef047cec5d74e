"""The powder surface on a grid in millimetres: eruptions, drift, heaving, what they carry, how it is lit.

Rows run from the 12 o'clock side down, columns from left to right. The skin is followed by an offset field:
the powder now at x came from texture point x + offset; motion carries the field along (semi-Lagrangian
step, Stam, SIGGRAPH 1999), a burst gives its crater a new offset, that is, fresh powder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed
from bedwatch.frames.cv import cv2
from bedwatch.sim.eruption import Stamps, height_terms, life_s, outward_mm
from bedwatch.sim.feed import AirChange, DeadPatch, Grid, RimLeak, Spout, air_maps
from bedwatch.sim.heave import Heave
from bedwatch.sim.physics import bubble_mm, eruptions_per_mm2_s, excess_mm_s, spread_sizes
from bedwatch.sim.powder import Powder

Image = NDArray[np.float32]
Array = NDArray[np.float64]

_FRESH_MM = 5.0  # a burst turns up powder from texture up to this far away
_DRIFT = 0.5  # slow circulation over air beyond the minimum (rms); common practice, no source


@dataclass(slots=True)
class _Bubbles:
    """Bubbles at or near the surface, one entry each: place (cells and mm), size, times, look, burst done."""

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    diameter: Array
    start: Array
    variant: NDArray[np.int64]
    burst: NDArray[np.bool_]

    def keep(self, which: NDArray[np.bool_]) -> _Bubbles:
        return _Bubbles(*(getattr(self, name)[which] for name in self.__slots__))

    def join(self, other: _Bubbles) -> _Bubbles:
        return _Bubbles(*(np.concatenate([getattr(self, n), getattr(other, n)]) for n in self.__slots__))


class Surface:
    """The moving surface. `advance` steps it; the arrays below are the state after the last step.

    offset_mm: (2, rows, columns) texture offset, along columns then rows. height_mm: relief over the settled
    level. moved_mm: (2, rows, columns) sideways displacement of the last step. events: all eruptions
    so far (x, y, diameter, start, burst). burst_now: (x, y, diameter) of those that burst in the last step.
    """

    def __init__(
        self,
        grid: Grid,
        air: tuple[float, ...],
        powder: Powder,
        *,
        depth_mm: float = 150.0,
        seed: int = 0,
        spouts: tuple[Spout, ...] = (),
        dead: tuple[DeadPatch, ...] = (),
        leaks: tuple[RimLeak, ...] = (),
        changes: tuple[AirChange, ...] = (),
        bed: Bed | None = None,
    ) -> None:
        """bed: needed where there are leaks."""
        self.grid = grid
        self._rng = np.random.default_rng([seed, 1952])
        self._spouts, self._dead, self._leaks, self._bed = spouts, dead, leaks, bed
        self._changes = sorted(changes, key=lambda change: change.time_s)
        self._air, self._powder, self._depth = air, powder, depth_mm
        self._seed = seed
        self.time_s = 0.0
        self._fed_now: object = None
        self._spout_due = [0.0] * len(spouts)
        self._leak_due = [0.0] * len(leaks)
        self.offset_mm: Image = np.zeros((2, *grid.shape), dtype=np.float32)
        self.height_mm: Image = np.zeros(grid.shape, dtype=np.float32)
        self.moved_mm: Image = np.zeros((2, *grid.shape), dtype=np.float32)
        self.events: list[tuple[float, float, float, float, float]] = []
        self._index_x, self._index_y = (
            np.asarray(a, dtype=np.float32) for a in np.meshgrid(np.arange(grid.columns), np.arange(grid.rows))
        )
        self.burst_now: list[tuple[float, float, float]] = []
        self._refresh_air()
        richest = max([max(air), *(max(change.air) for change in changes)])
        most = 1.6 * float(bubble_mm(np.array([excess_mm_s(richest, powder.minimum_mm_s)]), depth_mm)[0])
        most = max([most, *(1.3 * s.bubble_mm for s in spouts), *(1.3 * leak.bubble_mm for leak in leaks)])
        self._stamps = Stamps(grid.cell_mm, most, seed)
        empty = np.zeros(0)
        self._bubbles = _Bubbles(
            empty.astype(np.int64),
            empty.astype(np.int64),
            empty,
            empty,
            empty.astype(np.int64),
            empty.astype(bool),
        )

    def _refresh_air(self) -> None:
        """Work out anew who gets what air, where that has changed."""
        now = self.time_s
        dead = tuple(p for p in self._dead if p.start_s <= now < p.stop_s)
        spouts = tuple(p for p in self._spouts if p.start_s <= now < p.stop_s)
        leaks = tuple(p for p in self._leaks if p.start_s <= now < p.stop_s)
        air = next((change.air for change in reversed(self._changes) if change.time_s <= now), self._air)
        if (dead, spouts, leaks, air) == self._fed_now:
            return
        self._fed_now = (dead, spouts, leaks, air)
        blown = [(p.x_mm, p.y_mm, p.wander_mm + 1.1 * p.bubble_mm) for p in spouts]
        for leak in leaks:
            blown += [(*at, 1.4 * leak.bubble_mm) for at in self._wall_places(leak)]
        maps = air_maps(self.grid, air, self._powder.minimum_mm_s, dead, tuple(blown))
        self._excess, self.free, self.violence = maps
        rate = eruptions_per_mm2_s(self._excess.astype(np.float64), self._depth) * self.grid.cell_mm**2
        self._cumulative = np.cumsum(np.minimum(rate, 1.0).ravel())
        self._heave = Heave(self.grid, self.violence, self._seed)
        self._drift = self._make_drift()

    def _make_drift(self) -> Image:
        """(2, rows, columns) slow circulation, mm/s, free of sources and sinks: curl of a smooth field."""
        rng = np.random.default_rng([self._seed, 8])
        scale = 45.0 / self.grid.cell_mm
        stream = cv2.GaussianBlur(
            rng.standard_normal(self.grid.shape, dtype=np.float32),
            (0, 0),
            scale,
            borderType=cv2.BORDER_REFLECT,
        )
        along_y, along_x = np.gradient(stream)
        norm = math.sqrt(float((along_x**2 + along_y**2).mean())) + 1e-12
        speed = np.minimum(_DRIFT * self._excess, 12.0) / norm
        return np.asarray(np.stack([along_y * speed, -along_x * speed]), dtype=np.float32)

    def _wall_places(self, leak: RimLeak) -> list[tuple[float, float]]:
        """Places along a leak, close enough to one another for its bubbles."""
        assert self._bed is not None
        rng = np.random.default_rng(0)
        return [leak.place(self._bed, rng) for _ in range(max(8, round(leak.length_mm / 2)))]

    def _plumes(self, dt_s: float) -> list[tuple[float, float, float]]:
        """(x, y, diameter) of the bubbles that spouts and leaks send up in the coming step."""
        rng, found = self._rng, []
        for k, spout in enumerate(self._spouts):
            if not spout.start_s <= self.time_s < spout.stop_s:
                continue
            self._spout_due[k] += dt_s * spout.per_s
            while self._spout_due[k] >= 1:
                self._spout_due[k] -= 1
                found.append((*spout.place(self.time_s, rng), spout.bubble_mm * float(rng.uniform(0.85, 1.15))))
        for k, leak in enumerate(self._leaks):
            if not leak.start_s <= self.time_s < leak.stop_s:
                continue
            assert self._bed is not None
            self._leak_due[k] += dt_s * leak.per_s
            while self._leak_due[k] >= 1:
                self._leak_due[k] -= 1
                found.append((*leak.place(self._bed, rng), leak.bubble_mm * float(rng.uniform(0.7, 1.3))))
        return found

    def _born(self, dt_s: float) -> _Bubbles:
        """Bubbles whose first stir falls into the coming step: Poisson in number, placed by rate alone."""
        rng, grid = self._rng, self.grid
        count = int(rng.poisson(self._cumulative[-1] * dt_s))
        cell = np.searchsorted(self._cumulative, rng.random(count) * self._cumulative[-1], side="right")
        cell = np.minimum(cell, self._cumulative.size - 1)
        mean = bubble_mm(self._excess.ravel()[cell].astype(np.float64), self._depth)
        diameter = np.maximum(spread_sizes(rng, mean), 1.0)
        row, column = np.divmod(cell, grid.columns)
        start = self.time_s + dt_s * rng.random(count)
        for x_mm, y_mm, size in self._plumes(dt_s):
            column = np.append(column, round((x_mm - grid.left_mm) / grid.cell_mm))
            row = np.append(row, round((grid.top_mm - y_mm) / grid.cell_mm))
            diameter = np.append(diameter, size)
            start = np.append(start, self.time_s + dt_s * rng.random())
        column = np.clip(column, 0, grid.columns - 1)
        row = np.clip(row, 0, grid.rows - 1)
        total = len(column)
        rise, _ = life_s(diameter)
        x = grid.left_mm + column * grid.cell_mm
        y = grid.top_mm - row * grid.cell_mm
        self.events.extend(
            zip(
                x.tolist(),
                y.tolist(),
                diameter.tolist(),
                start.tolist(),
                (start + rise).tolist(),
                strict=True,
            )
        )
        return _Bubbles(column, row, diameter, start, rng.integers(0, 6, total), np.zeros(total, dtype=bool))

    def advance(self, dt_s: float) -> None:
        """Step the surface by dt_s seconds (a tenth at most stays true to the eruptions)."""
        self._refresh_air()
        alive = self._bubbles.join(self._born(dt_s))
        before = self.time_s
        self.time_s = before + dt_s
        rise, life = life_s(alive.diameter)
        dome, crater = height_terms(self.time_s - alive.start, alive.diameter)
        slide = outward_mm(self.time_s - alive.start, alive.diameter) - outward_mm(before - alive.start, alive.diameter)
        bursting = ~alive.burst & (self.time_s >= alive.start + rise)
        alive.burst |= bursting
        fields: Image = np.zeros((4, *self.grid.shape), dtype=np.float32)
        weights = np.stack([dome, crater, slide, slide], axis=1).astype(np.float32)
        for k in range(len(alive.diameter)):
            self._lay(fields, alive, k, weights[k])
        height = fields[0] + fields[1]
        columns, rows = fields[2], fields[3]
        columns += self._drift[0] * np.float32(dt_s)
        rows += self._drift[1] * np.float32(dt_s)
        self._heave.add(self.time_s, dt_s, height, columns, rows)
        height *= self.free
        columns *= self.free
        rows *= self.free
        self.height_mm, self.moved_mm = height, fields[2:]
        self._carry(columns, rows)
        self.burst_now = []
        for k in np.flatnonzero(bursting).tolist():
            self._renew(alive, k)
        self._bubbles = alive.keep(self.time_s < alive.start + life)

    def _window(self, alive: _Bubbles, k: int, half: int) -> tuple[slice, slice, slice, slice]:
        row, column = int(alive.row[k]), int(alive.column[k])
        top, bottom = max(0, row - half), min(self.grid.rows, row + half + 1)
        left, right = max(0, column - half), min(self.grid.columns, column + half + 1)
        corner_row, corner_column = row - half, column - half
        return (
            slice(top, bottom),
            slice(left, right),
            slice(top - corner_row, bottom - corner_row),
            slice(left - corner_column, right - corner_column),
        )

    def _lay(self, fields: Image, alive: _Bubbles, k: int, weight: Image) -> None:
        stamp = self._stamps.pick(float(alive.diameter[k]), int(alive.variant[k]))
        rows, columns, from_rows, from_columns = self._window(alive, k, stamp.half)
        fields[:, rows, columns] += stamp.fields[:, from_rows, from_columns] * weight[:, None, None]

    def _renew(self, alive: _Bubbles, k: int) -> None:
        stamp = self._stamps.pick(float(alive.diameter[k]), int(alive.variant[k]))
        rows, columns, from_rows, from_columns = self._window(alive, k, stamp.half)
        core = stamp.core[from_rows, from_columns] & (self.free[rows, columns] > 0.3)
        fresh = self._rng.uniform(-_FRESH_MM, _FRESH_MM, 2).astype(np.float32)
        for plane, value in zip(self.offset_mm, fresh, strict=True):
            plane[rows, columns][core] = value
        grid = self.grid
        self.burst_now.append(
            (
                grid.left_mm + float(alive.column[k]) * grid.cell_mm,
                grid.top_mm - float(alive.row[k]) * grid.cell_mm,
                float(alive.diameter[k]),
            )
        )

    def _carry(self, columns: Image, rows: Image) -> None:
        """Carry the offsets along with the skin's displacement (mm) of this step."""
        from_x = cv2.scaleAdd(columns, -1 / self.grid.cell_mm, self._index_x)
        from_y = cv2.scaleAdd(rows, -1 / self.grid.cell_mm, self._index_y)
        for plane, moved in zip(self.offset_mm, (columns, rows), strict=True):
            carried = cv2.remap(plane, from_x, from_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            cv2.subtract(carried, moved, plane)
