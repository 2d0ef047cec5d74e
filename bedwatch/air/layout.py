"""Where to drill: every hole of a plate, in equal number per area, in rows right up to the wall."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, Points, Zone, distance_to_border
from bedwatch.bed.layouts import Division, GridLayout, polar_cells, rectangle_cells, split_cells
from bedwatch.bed.zones import wall_distance

MOST_HOLES = 10_000
WIDE_MM = 25.0  # beyond, powder lies still between bare holes; common practice, no source
DIVIDER_MM = 3.0  # half a dividing wall and its seam under the plate; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A circle of holes round the axis of a round bed, the same in every zone of a ring.

    zones: names of the zones it runs through. holes: on the circle, all zones together. step_deg, first_deg: from
    hole to hole and where the first one sits, clockwise from 12 o'clock.
    """

    zones: tuple[str, ...]
    radius_mm: float
    holes: int
    holes_per_zone: int
    first_deg: float
    step_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """The straight rows of holes in a zone that is an upright rectangle.

    first_mm: the hole at upper left, bed millimetres; step_mm: from hole to hole to the right, and down.
    """

    zone: str
    rows: int
    columns: int
    first_mm: tuple[float, float]
    step_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillPlan:
    """All holes of a plate. holes_mm: (n, 2) bed millimetres. zone: (n,) index into the bed's zones.

    pitch_mm: side of the square of plate that each hole serves, of the zone where it is largest. nearest_mm: least
    distance between two centres. wall_mm: from the wall to the nearest centre. border_mm: least distance of a centre
    from a border between zones; infinite with one zone. rows: empty unless the bed is one of rings.
    """

    holes_mm: Points = field(repr=False)
    zone: NDArray[np.intp] = field(repr=False)
    hole_mm: float
    per_zone: tuple[int, ...]
    pitch_mm: float
    nearest_mm: float
    wall_mm: float
    border_mm: float
    rows: tuple[Row, ...]
    blocks: tuple[Block, ...]
    cautions: tuple[str, ...]


def drill_plan(bed: Bed, per_zone: tuple[int, ...], hole_mm: float, *, exact: bool = False) -> DrillPlan:
    """Places per_zone[i] holes of hole_mm in zone i, one in the middle of each of as many patches of equal area.

    So every hole serves the same area in its zone, and the outermost row stands half a row from the wall. In a zone that
    is an upright rectangle the number may be up to 5 % off, to fill straight rows, unless it is to be exact: then such a zone
    is divided like one of any shape. `per_zone` of the answer says what was drawn.

    Raises ValueError for more than 10 000 holes or none in a zone.
    """
    if min(per_zone) < 1 or sum(per_zone) > MOST_HOLES or len(per_zone) != len(bed.zones):
        raise ValueError(f"found {per_zone} holes, expected at least 1 per zone and at most {MOST_HOLES} in all")
    parts = [_divided(zone, count, exact) for zone, count in zip(bed.zones, per_zone, strict=True)]
    holes = np.concatenate([part.centre_mm for part in parts])
    counts = tuple(len(part.centre_mm) for part in parts)
    pitch = max(math.sqrt(zone.area_mm2 / count) for zone, count in zip(bed.zones, counts, strict=True))
    wall = wall_distance(bed, holes)
    to_border = distance_to_border(bed, holes)
    inland = to_border[to_border < wall - 1e-6]
    nearest = _nearest(holes)
    border = float(inland.min()) if len(inland) else math.inf
    return DrillPlan(
        holes_mm=holes,
        zone=np.repeat(np.arange(len(counts)), counts).astype(np.intp),
        hole_mm=hole_mm,
        per_zone=counts,
        pitch_mm=pitch,
        nearest_mm=nearest,
        wall_mm=float(wall.min()),
        border_mm=border,
        rows=_rows(bed, counts, parts),
        blocks=_blocks(bed, parts),
        cautions=tuple(_cautions(hole_mm, pitch, nearest, border)),
    )


def _divided(zone: Zone, count: int, exact: bool) -> Division:
    size = math.sqrt(zone.area_mm2 / count)
    if zone.sector is not None:
        return polar_cells(zone.sector, count, size)
    straight = rectangle_cells(zone, count)
    if straight is None or (exact and len(straight.share) != count):
        return split_cells(zone, count, size)
    return straight


def _blocks(bed: Bed, parts: list[Division]) -> tuple[Block, ...]:
    found = []
    for zone, part in zip(bed.zones, parts, strict=True):
        grid = part.layout
        if isinstance(grid, GridLayout):
            step = (grid.width_mm / grid.columns, grid.length_mm / grid.rows)
            first = (grid.left_mm + step[0] / 2, grid.top_mm - step[1] / 2)
            found.append(Block(zone=zone.name, rows=grid.rows, columns=grid.columns, first_mm=first, step_mm=step))
    return tuple(found)


def _nearest(holes_mm: Points) -> float:
    """Least distance between two holes; infinite for one."""
    if len(holes_mm) < 2:
        return math.inf
    from scipy.spatial import cKDTree

    return float(np.asarray(cKDTree(holes_mm).query(holes_mm, k=2)[0])[:, 1].min())


def _rows(bed: Bed, counts: tuple[int, ...], parts: list[Division]) -> tuple[Row, ...]:
    """Circles of holes, ring by ring, from the axis out; zones of one ring that got other numbers of holes stand
    apart."""
    if any(zone.sector is None for zone in bed.zones):
        return ()
    rings: dict[tuple[float, int], list[int]] = {}
    for number, zone in enumerate(bed.zones):
        assert zone.sector is not None
        rings.setdefault((round(zone.sector.inner_mm, 6), counts[number]), []).append(number)
    rows: list[Row] = []
    for members in rings.values():
        first = parts[members[0]]
        sector = bed.zones[members[0]].sector
        assert sector is not None
        out = np.hypot(first.centre_mm[:, 0], first.centre_mm[:, 1])
        for radius in np.unique(np.round(out, 6)).tolist():
            count = int((np.abs(out - radius) < 1e-5).sum())
            step = sector.sweep_deg / count
            rows.append(
                Row(
                    zones=tuple(bed.zones[number].name for number in members),
                    radius_mm=radius,
                    holes=count * len(members),
                    holes_per_zone=count,
                    first_deg=(sector.start_deg + step / 2) % 360.0 if radius > 0 else 0.0,
                    step_deg=step,
                )
            )
    return tuple(rows)


def _cautions(hole_mm: float, pitch_mm: float, nearest_mm: float, border_mm: float) -> list[str]:
    told = []
    if nearest_mm < 2 * hole_mm:
        told.append(f"holes of {hole_mm:g} mm only {nearest_mm:.1f} mm apart weaken the plate: fewer or smaller holes")
    if pitch_mm > WIDE_MM:
        told.append(
            f"holes {pitch_mm:.0f} mm apart leave powder still between them: smaller holes and more of them, or "
            "a membrane over the plate (common practice, no source)"
        )
    if border_mm < hole_mm / 2 + DIVIDER_MM:
        told.append(
            f"the nearest hole stands {border_mm:.1f} mm from a border between zones: keep dividing walls thin there"
        )
    return told
