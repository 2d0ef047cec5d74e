"""The bed file: TOML in, a `Bed` out, or every mistake in it at once."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np

from bedwatch.bed.model import Bed, Points, Zone
from bedwatch.bed.shapes import overlap_mm2, self_crossing, signed_area_mm2
from bedwatch.bed.strict import Document, Table, finite
from bedwatch.bed.toml_text import printable, shown
from bedwatch.bed.valves import Valves, read_valves
from bedwatch.bed.zones import grid_zones, ring_zones, wall_distance

SMALLEST_MM, LARGEST_MM = 20.0, 10_000.0
DEEPEST_MM = 2_000.0
MOST_ZONES = 64
SMALLEST_ZONE_MM2 = 100.0  # half a cell across: less cannot be measured
_MOST_CORNERS = 200
_OUTSIDE_MM = 1.0  # people measure beds with a rule
_OVERLAP_MM = 0.5

_OTHER_TABLES = ("powder", "plate", "supply")  # of the air, read by `bedwatch.air.read_air`

_Shape = Literal["round", "rectangular"]
_Size = tuple[float, float]


def read_bed(path: Path | str) -> Bed:
    """Reads a bed file.

    [bed]: name (the file's name when missing), shape ("round" or "rectangular"), diameter or width and
    length, surface_below_rim. [zones]: one of rings (with first_boundary, 0 deg when missing), grid, or
    [[zones.custom]] tables of name and polygon. [valves], which may be missing: labels, reversed, without. The optional
    tables [powder], [plate] and [supply] are known, and left
    to `bedwatch.air.read_air`.

    Raises FileError, a UserError, with one line `file:line: key: found ..., expected ...` for each
    mistake.
    """
    document = Document.read(path)
    name, bed_shape, size, below = _read_bed_table(document, Path(path))
    zones = document.top.table("zones")
    read: tuple[Zone, ...] | None = None
    if zones is not None:
        read = _read_zones(zones, bed_shape, size)
    valves = document.top.table("valves", required=False)
    marks = Valves() if valves is None else read_valves(valves, [zone.name for zone in read or ()])
    for other in _OTHER_TABLES:
        document.top.value(other, f"a table [{other}]", required=False)
    document.finish()
    if bed_shape is None or size is None or below is None or read is None:
        raise AssertionError("a bed file was read in part without a mistake noted")
    return Bed(
        name=name,
        shape=bed_shape,
        width_mm=size[0],
        length_mm=size[1],
        surface_below_rim_mm=below,
        zones=read,
        valves=marks,
    )


def _read_bed_table(document: Document, path: Path) -> tuple[str, _Shape | None, _Size | None, float | None]:
    bed = document.top.table("bed")
    if bed is None:
        return "", None, None, None
    default = printable(path.name.removesuffix(".toml").removesuffix(".bed")) or "bed"
    name = bed.text("name", required=False) or default
    word = bed.choice("shape", ("round", "rectangular"))
    shape: _Shape | None = "round" if word == "round" else "rectangular" if word == "rectangular" else None
    sizes: dict[str, float | None] = {"diameter": None, "width": None, "length": None}
    for key in sizes:
        owner = "round" if key == "diameter" else "rectangular"
        if shape is None or shape == owner:
            sizes[key] = bed.length_mm(key, SMALLEST_MM, LARGEST_MM, required=shape is not None)
        elif key in bed:
            fits = '"diameter"' if shape == "round" else '"width" and "length"'
            bed.mistake(key, f'found "{key}" in a {shape} bed, expected {fits}')
    below = bed.length_mm("surface_below_rim", 0.0, DEEPEST_MM, example="80 mm")
    across, along = (sizes["diameter"],) * 2 if shape == "round" else (sizes["width"], sizes["length"])
    size = None if shape is None or across is None or along is None else (across, along)
    return name, shape, size, below


def _read_zones(zones: Table, shape: _Shape | None, size: _Size | None) -> tuple[Zone, ...] | None:
    """The zones; None when they are wrong, or cannot be made for want of a shape or a size."""
    given = [key for key in ("rings", "grid", "custom") if key in zones]
    if not given:
        zones.value("rings", 'one of rings, grid or [[zones.custom]], such as "rings = [1, 6]"')
    for key in given[1:]:
        zones.mistake(key, f'found "{key}" beside "{given[0]}", expected only one of rings, grid and custom')
    first = zones.angle_deg("first_boundary", -360.0, 360.0, required=False)
    if "first_boundary" in zones and given and "rings" not in given:
        zones.mistake("first_boundary", f'found it beside "{given[0]}", expected it with "rings" only')
    rings = zones.whole_numbers("rings", 1, MOST_ZONES, required=False)
    grid = zones.whole_numbers("grid", 1, MOST_ZONES, count=2, required=False)
    if "rings" in given and shape == "rectangular":
        zones.mistake("rings", 'found "rings" in a rectangular bed, expected "grid" or [[zones.custom]]')
    if "grid" in given and shape == "round":
        zones.mistake("grid", 'found "grid" in a round bed, expected "rings" or [[zones.custom]]')
    made: tuple[Zone, ...] | None = None
    if "custom" in given:
        made = _read_custom(zones, shape, size)
    if rings is not None and _few_enough(zones, "rings", sum(rings)) and shape == "round" and size is not None:
        made = ring_zones(rings, size[0] / 2, first or 0.0)
        _check_size(zones, "rings", made)
    if grid is not None and _few_enough(zones, "grid", grid[0] * grid[1]) and shape == "rectangular" and size:
        made = grid_zones(grid[0], grid[1], *size)
        _check_size(zones, "grid", made)
    return made


def _few_enough(zones: Table, key: str, count: int) -> bool:
    if count > MOST_ZONES:
        zones.mistake(key, f"found {count} zones, expected at most {MOST_ZONES}")
    return count <= MOST_ZONES


def _check_size(zones: Table, key: str, made: tuple[Zone, ...]) -> None:
    area = min(zone.area_mm2 for zone in made)
    if area < SMALLEST_ZONE_MM2:
        zones.mistake(key, f"found zones of {area:.1f} mm2, expected at least {SMALLEST_ZONE_MM2:g} mm2 each")


def _read_custom(zones: Table, shape: _Shape | None, size: _Size | None) -> tuple[Zone, ...] | None:
    given = zones.value("custom", "", required=False)
    if isinstance(given, list) and not _few_enough(zones, "custom", len(given)):
        return None
    tables = zones.tables("custom")
    if tables is None:
        return None
    names: dict[str, str] = {}
    made: list[Zone] = []
    for table in tables:
        name = table.text("name", longest=40)
        if name is not None and name.casefold() == "all":
            table.mistake("name", f"found {shown(name)}, which means the supply, expected another name")
        elif name is not None and name in names:
            table.mistake("name", f"found {shown(name)} a second time, expected a name of its own for every zone")
        elif name is not None:
            names[name] = name
        polygon = _read_polygon(table)
        if polygon is None:
            continue
        if shape is not None and size is not None:
            _check_within(table, polygon, shape, size)
        area = abs(signed_area_mm2(polygon))
        for other in made:
            common = overlap_mm2(polygon, other.polygon_mm)
            if common > _OVERLAP_MM * min(area, other.area_mm2) ** 0.5:
                table.mistake(
                    "polygon",
                    f"found {common:.0f} mm2 shared with zone {shown(other.name)}, expected no overlap",
                )
                break
        made.append(Zone(name=name or "?", polygon_mm=polygon, area_mm2=area))
    return tuple(made)


def _read_polygon(table: Table) -> Points | None:
    """A simple polygon, clockwise; None, and a mistake noted, when it is none."""
    expected = "three or more corners [x, y] in mm, such as [[0, 0], [0, 100], [100, 0]]"
    value = table.value("polygon", expected)
    if value is None:
        return None
    if not isinstance(value, list) or not 3 <= len(value) <= _MOST_CORNERS:
        most = f" and at most {_MOST_CORNERS}" if isinstance(value, list) and len(value) > 3 else ""
        table.mistake("polygon", f"found {shown(value)}, expected {expected}{most}")
        return None
    corners: list[tuple[float, float]] = []
    for number, pair in enumerate(value, 1):
        xy = [finite(v) for v in pair] if isinstance(pair, list) and len(pair) == 2 else [None]
        good = [v for v in xy if v is not None and abs(v) <= LARGEST_MM]
        if len(good) != 2:
            table.mistake("polygon", f"found {shown(pair)} as corner {number}, expected [x, y] in mm, two numbers")
            return None
        corners.append((good[0], good[1]))
    if corners[0] == corners[-1]:
        corners.pop()  # closed by hand
    polygon = np.array(corners)
    same = np.flatnonzero((polygon == np.roll(polygon, -1, axis=0)).all(axis=1))
    if len(same):
        table.mistake("polygon", f"found corner {same[0] + 1} twice in a row, expected corners that differ")
        return None
    area = abs(signed_area_mm2(polygon))
    crossing = self_crossing(polygon) if len(polygon) > 3 else None  # a triangle cannot, but may be flat
    if crossing is not None:
        one, other = crossing[0] + 1, crossing[1] + 1
        table.mistake(
            "polygon",
            f"found that the edges from corners {one} and {other} meet, expected a simple outline",
        )
        return None
    if area < SMALLEST_ZONE_MM2:
        table.mistake(
            "polygon",
            f"found an area of {area:.1f} mm2, expected at least {SMALLEST_ZONE_MM2:g} mm2 (is it in mm?)",
        )
        return None
    polygon = polygon if signed_area_mm2(polygon) < 0 else polygon[::-1].copy()
    polygon.flags.writeable = False
    return polygon


def _check_within(table: Table, polygon: Points, shape: _Shape, size: _Size) -> None:
    """Every bed is convex, so a zone lies in it when its corners do."""
    bed = Bed(name="", shape=shape, width_mm=size[0], length_mm=size[1], surface_below_rim_mm=0.0, zones=())
    inside = wall_distance(bed, polygon)
    worst = int(np.argmin(inside))
    if inside[worst] < -_OUTSIDE_MM:
        x, y = polygon[worst].tolist()
        table.mistake(
            "polygon",
            f"found the corner [{x:g}, {y:g}] {-inside[worst]:.1f} mm outside the bed, expected it inside",
        )
