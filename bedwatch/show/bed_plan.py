"""The bed as a raster of terminal cells: which zone each half cell shows, and where each zone's label goes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, distance_to_border, zone_index
from bedwatch.show.words import known, zone_tags

NO_ZONE = -1
BORDER = -2
ROOMY = 11  # cells across that hold any hint in words


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a zone's label goes: its first cell, and the room there is."""

    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPlan:
    """A bed seen from above, 12 o'clock up, in cells twice as high as wide.

    halves: (2 * rows, columns) index into Bed.zones; NO_ZONE outside every zone, BORDER between two zones.
    cells: (rows, columns) the same for whole cells, without borders.
    spots: one per zone; None where not even one cell shows the zone.
    mm_per_column: width of a cell, and height of half a cell.
    """

    rows: int
    columns: int
    halves: NDArray[np.intp] = field(repr=False)
    cells: NDArray[np.intp] = field(repr=False)
    spots: tuple[Spot | None, ...]
    mm_per_column: float
    width_mm: float
    length_mm: float

    def cell_at(self, x_mm: float, y_mm: float) -> tuple[int, int] | None:
        """(row, column) of a place on the bed; None outside the raster or when it is not finite."""
        if known(x_mm) is None or known(y_mm) is None:
            return None
        column = math.floor((x_mm + self.columns * self.mm_per_column / 2) / self.mm_per_column)
        row = math.floor((self.rows * self.mm_per_column - y_mm) / (2 * self.mm_per_column))
        return (row, column) if 0 <= row < self.rows and 0 <= column < self.columns else None


class _Same:
    """A bed as a key: two beds are the same when they are one object (arrays have no hash)."""

    def __init__(self, bed: Bed) -> None:
        self.bed = bed

    def __hash__(self) -> int:
        return id(self.bed)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.bed is self.bed


def plan_bed(bed: Bed, rows: int, columns: int) -> BedPlan:
    """The largest raster of the bed within so many terminal cells. Kept, as it is drawn again and again."""
    return _plan(_Same(bed), max(rows, 1), max(columns, 2))


@lru_cache(maxsize=4)
def _plan(key: _Same, most_rows: int, most_columns: int) -> BedPlan:
    bed = key.bed
    scale = max(bed.width_mm / most_columns, bed.length_mm / (2 * most_rows))
    columns = min(most_columns, max(2, math.ceil(bed.width_mm / scale - 1e-9)))
    rows = min(most_rows, max(1, math.ceil(bed.length_mm / (2 * scale) - 1e-9)))
    halves = zone_index(bed, _centres(2 * rows, columns, scale, scale)).reshape(2 * rows, columns)
    middles = _centres(rows, columns, scale, 2 * scale)
    cells = zone_index(bed, middles).reshape(rows, columns)
    depth = np.nan_to_num(distance_to_border(bed, middles)).reshape(rows, columns)
    tags = zone_tags(bed)
    spots = tuple(_spot(cells == i, depth, max(5, len(tags[i]) + 2), len(tags[i])) for i in range(len(tags)))
    return BedPlan(
        rows=rows,
        columns=columns,
        halves=_with_borders(halves),
        cells=cells,
        spots=spots,
        mm_per_column=scale,
        width_mm=bed.width_mm,
        length_mm=bed.length_mm,
    )


def _centres(rows: int, columns: int, across_mm: float, down_mm: float) -> NDArray[np.float64]:
    x = (np.arange(columns) - (columns - 1) / 2) * across_mm
    y = ((rows - 1) / 2 - np.arange(rows)) * down_mm
    return np.stack([np.tile(x, rows), np.repeat(y, columns)], axis=1)


def outline(plan: BedPlan, zones: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which half cells draw the outline of the zones chosen ((number of zones,) true); (2 * rows, columns)."""
    inside = np.zeros(plan.halves.shape, dtype=np.bool_)
    inside[plan.halves >= 0] = zones[plan.halves[plan.halves >= 0]]
    at_edge = _neighbours(plan.halves == NO_ZONE, outside=True)
    drawn: NDArray[np.bool_] = (inside & at_edge) | ((plan.halves == BORDER) & _neighbours(inside, outside=False))
    return drawn


def _neighbours(chosen: NDArray[np.bool_], *, outside: bool) -> NDArray[np.bool_]:
    """Where one of the four neighbours is chosen; `outside`: what stands around the raster."""
    padded = np.pad(chosen, 1, constant_values=outside)
    found: NDArray[np.bool_] = padded[:-2, 1:-1] | padded[2:, 1:-1] | padded[1:-1, :-2] | padded[1:-1, 2:]
    return found


def _with_borders(halves: NDArray[np.intp]) -> NDArray[np.intp]:
    marked = halves.copy()
    for axis in (0, 1):
        here = [slice(None), slice(None)]
        before = [slice(None), slice(None)]
        here[axis], before[axis] = slice(1, None), slice(None, -1)
        a, b = halves[tuple(here)], halves[tuple(before)]
        marked[tuple(here)][(a != b) & (a >= 0) & (b >= 0)] = BORDER
    for zone in np.unique(halves[halves >= 0]):  # a zone of few dots stays to be seen
        if not (marked == zone).any():
            marked[halves == zone] = zone
    return marked


def _spot(inside: NDArray[np.bool_], depth: NDArray[np.float64], wide: int, narrow: int) -> Spot | None:
    marked = narrow + 2
    for rows, columns in ((3, ROOMY), (2, wide), (2, wide - 1), (1, marked), (1, narrow + 1), (1, narrow), (1, 1)):
        best: Spot | None = None
        deepest = -1.0
        for row in range(inside.shape[0] - rows + 1):
            for column in range(inside.shape[1] - columns + 1):
                block = np.s_[row : row + rows, column : column + columns]
                if inside[block].all() and (deep := float(depth[block].mean())) > deepest + 1e-6:
                    best, deepest = Spot(row=row, column=column, rows=rows, columns=columns), deep
        if best is not None:
            return best
    return None
