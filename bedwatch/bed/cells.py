"""The equal-area cells a bed is measured in."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.layouts import Division, polar_cells, rectangle_cells, split_cells
from bedwatch.bed.model import Bed, Cells, Points, Zone
from bedwatch.bed.zones import border_distance, wall_distance, zone_index

CLEAR_OF_BORDER_MM = 10.0  # air bleeds across a border about as far; common practice, no source
CLEAR_OF_WALL_MM = 8.0  # the wall drags and shades the powder beside it; common practice, no source
_CENTRAL = 0.9


def make_cells(bed: Bed, size_mm: float = 20.0) -> Cells:
    """Divides every zone into cells of equal area, about size_mm across, none of which crosses a border.

    In a bed of `rings` or `grid` all cells have the same area, near size_mm squared. Zones of unlike size
    get cells as alike as whole numbers of them allow: within about 10 % over the bed when every zone holds
    five cells or more; a zone smaller than one cell is one cell. Zones in order, cells of a zone from the
    axis out and clockwise (sector), or row by row from the 12 o'clock side (upright rectangle).

    inner: the whole cell is at least 10 mm from every border with a neighbouring zone or an uncovered part,
    and 8 mm from the wall. A zone too small to have such a cell keeps its most central ones: those whose
    centre is at least 0.9 times as far from the nearest border or wall as the best one's.

    Raises ValueError when size_mm is not a positive number.
    """
    if not (math.isfinite(size_mm) and size_mm > 0):
        raise ValueError(f"found a cell size of {size_mm} mm, expected a positive one")
    areas = np.array([zone.area_mm2 for zone in bed.zones])
    counts = _cell_counts(areas, size_mm)
    divisions = [_divide(zone, int(n), size_mm) for zone, n in zip(bed.zones, counts, strict=True)]
    sizes = [len(division.share) for division in divisions]
    return Cells(
        centre_mm=np.concatenate([division.centre_mm for division in divisions]),
        zone=np.repeat(np.arange(len(sizes)), sizes).astype(np.intp),
        area_mm2=np.concatenate([d.share * z.area_mm2 for d, z in zip(divisions, bed.zones, strict=True)]),
        inner=np.concatenate([_inner(bed, z, d) for d, z in zip(divisions, bed.zones, strict=True)]),
        layout=tuple(division.layout for division in divisions),
    )


def cell_index(bed: Bed, cells: Cells, xy_mm: Points) -> NDArray[np.intp]:
    """(n, 2) points in bed millimetres -> (n,) index into the cells, -1 outside every zone (also for NaN).

    Cells made by hand (without `layout`): the nearest centre in the point's zone; -1 in a zone without cells.
    """
    xy = np.asarray(xy_mm, np.float64)
    zones = zone_index(bed, xy)
    index = np.full(len(xy), -1, np.intp)
    for number in range(len(bed.zones)):
        here = np.flatnonzero(zones == number)
        members = np.flatnonzero(cells.zone == number)
        if not len(here) or not len(members):
            continue
        if cells.layout:
            index[here] = members[cells.layout[number].index(xy[here])]
        else:
            index[here] = members[_nearest(xy[here], cells.centre_mm[members])]
    return index


def _cell_counts(areas_mm2: NDArray[np.float64], size_mm: float) -> NDArray[np.intp]:
    """Cells per zone, for a common cell area near size_mm squared that divides the zones most evenly."""
    best, counts = math.inf, np.ones(len(areas_mm2), np.intp)
    for area in size_mm**2 * np.linspace(0.85, 1.15, 61):
        option = np.maximum(np.rint(areas_mm2 / area), 1).astype(np.intp)
        each = areas_mm2 / option
        score = math.log(each.max() / each.min()) + 0.3 * abs(math.log(float(np.median(each)) / size_mm**2))
        if score < best - 1e-12:
            best, counts = score, option
    return counts


def _divide(zone: Zone, count: int, size_mm: float) -> Division:
    if zone.sector is not None:
        return polar_cells(zone.sector, count, size_mm)
    return rectangle_cells(zone, count) or split_cells(zone, count, size_mm)


def _inner(bed: Bed, zone: Zone, division: Division) -> NDArray[np.bool_]:
    """(n,) which cells of a zone are clear of its borders; at least one."""
    margin = np.minimum(
        border_distance(bed, zone, division.samples_mm) - CLEAR_OF_BORDER_MM,
        wall_distance(bed, division.samples_mm) - CLEAR_OF_WALL_MM,
    )
    worst = np.full(len(division.share), np.inf)
    np.minimum.at(worst, division.sample_cell, margin)
    inner = worst - division.reach_mm >= -1e-6
    if inner.any():
        return np.asarray(inner, np.bool_)
    centres = division.centre_mm
    clear = np.minimum(border_distance(bed, zone, centres), wall_distance(bed, centres))
    return np.asarray(clear >= _CENTRAL * clear.max() - 1e-9, np.bool_)


def _nearest(xy_mm: Points, centres_mm: Points) -> NDArray[np.intp]:
    nearest = np.zeros(len(xy_mm), np.intp)
    best = np.full(len(xy_mm), np.inf)
    for i, centre in enumerate(centres_mm):
        away = ((xy_mm - centre) ** 2).sum(axis=1)
        closer = away < best
        best[closer], nearest[closer] = away[closer], i
    return nearest
