"""The zones of a bed: how `rings` and `grid` divide it, and which zone a point lies in."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed, Points, Sector, Zone
from bedwatch.bed.shapes import Floats, Mask, Scan, distance_to_edges, edges_of

_STEP_DEG = 1.0  # of the polylines that stand for arcs: at most 0.004 % of the radius off
_ON_WALL_MM = 1.0


def ring_zones(rings: Sequence[int], radius_mm: float, first_boundary_deg: float = 0.0) -> tuple[Zone, ...]:
    """Zones of equal area in a round bed: `rings` zones per ring, centre first.

    With n zones in all, of which m lie in and within a ring, the ring ends at R sqrt(m / n). Numbered from
    the centre out and, inside a ring of more than one, clockwise from `first_boundary_deg` (clockwise from
    12 o'clock).
    """
    total = sum(rings)
    shares = {(first_boundary_deg + 360.0 * i / n) % 360.0 for n in rings if n > 1 for i in range(n)}
    lattice = np.arange(0.0, 360.0, _STEP_DEG)
    # a lattice angle next to a boundary would only make a needle of an edge
    clear = [a for a in lattice.tolist() if all(abs((a - s + 180.0) % 360.0 - 180.0) > 1e-6 for s in shares)]
    angles = np.array(sorted({*clear, *shares}))
    zones: list[Zone] = []
    within = 0
    for count in rings:
        inner = radius_mm * math.sqrt(within / total)
        within += count
        outer = radius_mm * math.sqrt(within / total)
        for i in range(count):
            start, end = ((first_boundary_deg + 360.0 * (k % count) / count) % 360.0 for k in (i, i + 1))
            sector = Sector(inner_mm=inner, outer_mm=outer, start_deg=start, sweep_deg=360.0 / count)
            polygon = _sector_outline(sector, end, angles)
            area = math.pi * radius_mm**2 / total
            zones.append(Zone(name=str(len(zones) + 1), polygon_mm=polygon, area_mm2=area, sector=sector))
    return tuple(zones)


def grid_zones(rows: int, columns: int, width_mm: float, length_mm: float) -> tuple[Zone, ...]:
    """Zones of a rectangular bed, numbered row by row from the 12 o'clock side, left to right."""
    x = np.linspace(-width_mm / 2, width_mm / 2, columns + 1)
    y = np.linspace(length_mm / 2, -length_mm / 2, rows + 1)
    zones: list[Zone] = []
    for row in range(rows):
        for column in range(columns):
            left, right, top, bottom = x[column], x[column + 1], y[row], y[row + 1]
            polygon = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
            area = width_mm * length_mm / (rows * columns)
            zones.append(Zone(name=str(len(zones) + 1), polygon_mm=_locked(polygon), area_mm2=area))
    return tuple(zones)


def zone_index(bed: Bed, xy_mm: Points) -> NDArray[np.intp]:
    """(n, 2) points in bed millimetres -> (n,) index into `bed.zones`, -1 outside every zone (also for NaN).

    A point on a border belongs to one zone only.
    """
    xy = _as_points(xy_mm)
    index = np.full(len(xy), -1, np.intp)
    finite = np.isfinite(xy).all(axis=1)
    if not finite.all():
        index[finite] = zone_index(bed, xy[finite])
        return index
    scan = Scan(xy)
    for number, zone in enumerate(bed.zones):
        index[scan.inside(zone.polygon_mm) & (index < 0)] = number
    return index


def inside_bed(bed: Bed, xy_mm: Points) -> Mask:
    """(n, 2) points in bed millimetres -> (n,) which lie within the wall or on it (NaN does not)."""
    return wall_distance(bed, _as_points(xy_mm)) >= 0.0


def wall_distance(bed: Bed, xy_mm: Points) -> Floats:
    """(n,) how far inside the wall each point lies, in mm; negative outside (for a rectangle, not the true
    distance).
    """
    x, y = xy_mm[:, 0], xy_mm[:, 1]
    if bed.shape == "round":
        return np.asarray(bed.width_mm / 2 - np.hypot(x, y), np.float64)
    return np.asarray(np.minimum(bed.width_mm / 2 - np.abs(x), bed.length_mm / 2 - np.abs(y)), np.float64)


def distance_to_border(bed: Bed, xy_mm: Points) -> Floats:
    """(n, 2) points -> (n,) distance in mm from the nearest border of the zone each lies in.

    A border is the wall, another zone's edge, or the edge of a part of the bed that no zone covers. NaN
    outside every zone.
    """
    xy = _as_points(xy_mm)
    index = zone_index(bed, xy)
    distance = np.full(len(xy), np.nan)
    for number, zone in enumerate(bed.zones):
        here = np.flatnonzero(index == number)
        distance[here] = np.minimum(border_distance(bed, zone, xy[here]), wall_distance(bed, xy[here]))
    return np.asarray(np.maximum(distance, 0.0), np.float64)


def border_distance(bed: Bed, zone: Zone, xy_mm: Points) -> Floats:
    """(n,) distance of points of the zone from its edges, those on the wall left out; infinite if none."""
    if zone.sector is not None:
        return _sector_border(bed, zone.sector, xy_mm)
    starts, ends = edges_of(zone.polygon_mm)
    middle = (starts + ends) / 2
    on_wall = np.max([np.abs(wall_distance(bed, points)) for points in (starts, middle, ends)], axis=0) <= _ON_WALL_MM
    return distance_to_edges(xy_mm, starts[~on_wall], ends[~on_wall])


def _sector_border(bed: Bed, sector: Sector, xy_mm: Points) -> Floats:
    distance = np.full(len(xy_mm), np.inf)
    out = np.hypot(xy_mm[:, 0], xy_mm[:, 1])
    if sector.inner_mm > 0:
        np.minimum(distance, np.abs(out - sector.inner_mm), out=distance)
    if sector.outer_mm < bed.width_mm / 2 - _ON_WALL_MM / 2:
        np.minimum(distance, np.abs(sector.outer_mm - out), out=distance)
    if sector.sweep_deg < 360.0:
        turn = np.radians([sector.start_deg, sector.start_deg + sector.sweep_deg])
        ways = np.stack([np.sin(turn), np.cos(turn)], axis=1)
        radial = distance_to_edges(xy_mm, sector.inner_mm * ways, sector.outer_mm * ways)
        np.minimum(distance, radial, out=distance)
    return distance


def _sector_outline(sector: Sector, end_deg: float, angles_deg: Floats) -> Points:
    """Clockwise outline; neighbouring zones get the very same corners, so that nothing lies between them."""
    start = sector.start_deg
    if sector.sweep_deg == 360.0:
        around = np.append(angles_deg, angles_deg[0])
    else:
        past = (angles_deg - start) % 360.0
        order = np.argsort(past)
        between = order[(past[order] > 0.0) & (past[order] < (end_deg - start) % 360.0)]
        around = np.concatenate([[start], angles_deg[between], [end_deg]])
    ways = np.stack([np.sin(np.radians(around)), np.cos(np.radians(around))], axis=1)
    outside = sector.outer_mm * ways
    if sector.inner_mm > 0:
        outline = np.concatenate([outside, sector.inner_mm * ways[::-1]])
    elif sector.sweep_deg == 360.0:
        outline = outside[:-1]
    else:
        outline = np.concatenate([outside, [[0.0, 0.0]]])
    return _locked(outline)


def _as_points(xy_mm: Points) -> Points:
    xy = np.asarray(xy_mm, np.float64)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise ValueError(f"found points of shape {xy.shape}, expected (n, 2)")
    return xy


def _locked(values: Points) -> Points:
    values.flags.writeable = False
    return values
