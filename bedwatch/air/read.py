"""The optional tables of a bed file that tell the air: [powder], [plate], [supply]."""

from __future__ import annotations

from pathlib import Path

from bedwatch.air.inputs import AirInputs, Assumed, Span
from bedwatch.air.layout import MOST_HOLES
from bedwatch.air.quantities import DENSITY, FLOW, GRAIN, PRESSURE, SPEED, Kind, quantity, read_quantity
from bedwatch.air.types import CurveShape, Supply
from bedwatch.bed import Bed
from bedwatch.bed.strict import Document, Table
from bedwatch.bed.toml_text import shown

# What is taken when nobody says. Grain sizes: ISO 8130-1:2019 speaks of 100 µm and more for fluidised beds, shops use finer
# powder too. The rest is common practice, no source.
GRAIN_M = Span(low=60e-6, middle=100e-6, high=150e-6)
DENSITY_KG_M3 = Span(low=1200.0, middle=1400.0, high=1800.0)
VOIDAGE = Span(low=0.45, middle=0.50, high=0.60)
SPHERICITY = 0.8
DEPTH_M = 0.150
HOLE_M = 0.001
_CURVE = 'two points of flow and pressure, such as [["0 L/min", "5 kPa"], ["200 L/min", "2 kPa"]]'


def read_air(path: Path | str, bed: Bed) -> AirInputs:
    """Reads the tables beside [bed] and [zones] of the bed file that `bed` was read from; what is missing is assumed,
    and said.

    [powder]: grain, density, bulk_density or voidage, sphericity, fines, depth. [plate]: hole, holes_per_zone or pitch,
    membrane_drop with membrane_at. [supply]: curve, shape. Raises FileError, a UserError, with one line `file:line:
    key: found ..., expected ...` for each mistake.
    """
    document = Document.read(path)
    for other in ("bed", "zones", "valves"):  # read by `read_bed`
        document.top.value(other, "", required=False)
    assumed: list[Assumed] = []
    powder = _read_powder(_table(document, "powder"), assumed)
    hole, holes, pitch, membrane = _read_plate(_table(document, "plate"), len(bed.zones), assumed)
    supply = _read_supply(_table(document, "supply"), assumed)
    document.finish()
    grain, density, bulk, bulk_known, sphericity, fines, depth = powder
    air = "20 °C, 101 325 Pa, 1.204 kg/m3"
    assumed.append(Assumed(key="air", value=air, why="room air at sea level; flows are told at these conditions"))
    assumed.append(
        Assumed(key="hoses and valves", value="no loss", why="fully open and wide; add what yours take to the pressure")
    )
    voids = 1 - bulk.middle / density.middle
    assumed.append(
        Assumed(key="voidage when it lifts", value=f"{voids:.2f}, as at rest", why="a lifting bed is a little looser")
    )
    return AirInputs(
        grain_m=grain,
        density_kg_m3=density,
        bulk_kg_m3=bulk,
        bulk_known=bulk_known,
        sphericity=sphericity,
        fines=fines,
        depth_m=depth,
        hole_m=hole,
        holes_per_zone=holes,
        pitch_m=pitch,
        membrane_pa_s_m=membrane,
        supply=supply,
        assumed=tuple(assumed),
    )


def _table(document: Document, key: str) -> Table:
    """The table, or an empty one when the file has none or something else there, which is then noted."""
    return document.top.table(key, required=False) or Table(document, (key,), {})


_PowderRead = tuple[Span, Span, Span, bool, float, float, float]


def _read_powder(table: Table, assumed: list[Assumed]) -> _PowderRead:
    grain = read_quantity(table, "grain", GRAIN, "1 um", "3 mm")
    density = read_quantity(table, "density", DENSITY, "100 kg/m3", "20000 kg/m3")
    bulk = read_quantity(table, "bulk_density", DENSITY, "50 kg/m3", "12000 kg/m3")
    voidage = table.number("voidage", 0.3, 0.9, required=False)
    sphericity = table.number("sphericity", 0.3, 1.0, required=False)
    fines = table.number("fines", 0.0, 1.0, required=False)
    depth = table.length_mm("depth", 10.0, 2000.0, example="150 mm", required=False)
    if "bulk_density" in table and "voidage" in table:
        table.mistake("voidage", 'found it beside "bulk_density", expected only one of the two')
    if bulk is not None and "density" not in table:
        table.mistake("bulk_density", 'found it without "density", expected both: the density of the solid as well')
    if bulk is not None and density is not None and not 0.1 <= bulk / density <= 0.75:
        table.mistake(
            "bulk_density", f"found {bulk / density:.0%} of the density, expected 10 to 75 %; is one mistyped?"
        )
        bulk = None
    grain_m = Span.of(grain) if grain is not None else GRAIN_M
    density_kg_m3 = Span.of(density) if density is not None else DENSITY_KG_M3
    _note(
        assumed,
        grain,
        "powder.grain",
        "100 µm (60 to 150)",
        "ISO 8130-1:2019 names 100 µm and more for dipping; ask the maker",
    )
    _note(assumed, density, "powder.density", "1400 kg/m3 (1200 to 1800)", "common for coating powder, no source")
    if bulk is not None:
        bulk_kg_m3 = Span.of(bulk)
    else:
        voids = Span.of(voidage) if voidage is not None else VOIDAGE
        bulk_kg_m3 = Span(
            low=(1 - voids.high) * density_kg_m3.low,
            middle=(1 - voids.middle) * density_kg_m3.middle,
            high=(1 - voids.low) * density_kg_m3.high,
        )
    known = bulk is not None or voidage is not None
    text = f"{bulk_kg_m3.middle:.0f} kg/m3 ({bulk_kg_m3.low:.0f} to {bulk_kg_m3.high:.0f})"
    _note(
        assumed,
        known or None,
        "powder.bulk_density",
        text,
        "45 to 60 % empty space; weigh a known volume, poured loosely",
    )
    _note(assumed, sphericity, "powder.sphericity", f"{SPHERICITY}", "common for milled powder, no source")
    _note(assumed, fines, "powder.fines", "0", "no share below 45 µm; only the first bubbles depend on it")
    _note(assumed, depth, "powder.depth", f"{DEPTH_M * 1000:.0f} mm", "at rest, above the plate; measure yours")
    return (
        grain_m,
        density_kg_m3,
        bulk_kg_m3,
        known,
        sphericity if sphericity is not None else SPHERICITY,
        fines if fines is not None else 0.0,
        depth / 1000 if depth is not None else DEPTH_M,
    )


def _read_plate(
    table: Table, zones: int, assumed: list[Assumed]
) -> tuple[float, tuple[int, ...] | None, float | None, float]:
    hole = table.length_mm("hole", 0.1, 20.0, example="1 mm", required=False)
    holes = _read_holes(table, zones)
    pitch = table.length_mm("pitch", 1.0, 200.0, example="12 mm", required=False)
    drop = read_quantity(table, "membrane_drop", PRESSURE, "1 Pa", "100 kPa")
    at = read_quantity(table, "membrane_at", SPEED, "0.1 mm/s", "1 m/s")
    for key, other in (("membrane_drop", "membrane_at"), ("membrane_at", "membrane_drop")):
        if key in table and other not in table:
            table.mistake(
                key, f'found it without "{other}", expected both: a pressure and the air velocity it belongs to'
            )
    if "holes_per_zone" in table and "pitch" in table:
        table.mistake("pitch", 'found it beside "holes_per_zone", expected only one of the two')
    _note(assumed, hole, "plate.hole", f"{HOLE_M * 1000:g} mm", "common practice, no source; what you can drill")
    if "membrane_drop" not in table:
        assumed.append(Assumed(key="plate.membrane_drop", value="no membrane", why="none is given"))
    membrane = drop / at if drop is not None and at is not None else 0.0
    return (
        hole / 1000 if hole is not None else HOLE_M,
        holes,
        pitch / 1000 if pitch is not None else None,
        membrane,
    )


def _read_holes(table: Table, zones: int) -> tuple[int, ...] | None:
    """One number for all zones, or an array with one for each."""
    expected = f"a whole number from 1 to {MOST_HOLES}, or an array with one for each of the {zones} zones"
    value = table.value("holes_per_zone", expected, required=False)
    if value is None:
        return None
    each = value if isinstance(value, list) else [value] * zones
    whole = all(isinstance(v, int) and not isinstance(v, bool) and 1 <= v <= MOST_HOLES for v in each)
    if not whole or len(each) != zones:
        table.mistake("holes_per_zone", f"found {shown(value)}, expected {expected}")
        return None
    if sum(each) > MOST_HOLES:
        table.mistake("holes_per_zone", f"found {sum(each)} holes in all, expected at most {MOST_HOLES}")
        return None
    return tuple(each)


def _read_supply(table: Table, assumed: list[Assumed]) -> Supply | None:
    word = table.choice("shape", ("straight", "parabola"), required=False)
    value = table.value("curve", _CURVE, required=False)
    if value is None:
        if "shape" in table:
            table.mistake("shape", 'found it without "curve", expected both')
        return None
    points = [_point(table, pair) for pair in value] if isinstance(value, list) and len(value) == 2 else []
    if len(points) != 2:
        table.mistake("curve", f"found {shown(value)}, expected {_CURVE}")
        return None
    if points[0] is None or points[1] is None:
        return None
    (q1, p1), (q2, p2) = sorted((points[0], points[1]))
    if not q1 < q2 or not p1 >= p2 or p1 <= 0:
        table.mistake(
            "curve", "found more pressure with more flow, or one flow twice, expected pressure to fall with flow"
        )
        return None
    shape: CurveShape = "parabola" if word == "parabola" else "straight"
    _note(
        assumed, word, "supply.shape", "straight", "the cautious reading of two points; a fan's curve bulges above it"
    )
    return Supply(flow_m3_s=(q1, q2), pressure_pa=(p1, p2), shape=shape)


def _point(table: Table, pair: object) -> tuple[float, float] | None:
    if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(part, str) for part in pair):
        table.mistake("curve", f"found {shown(pair)}, expected {_CURVE}")
        return None
    found: list[float] = []
    kinds: tuple[tuple[Kind, str], ...] = ((FLOW, "100000 L/min"), (PRESSURE, "1000 kPa"))
    for text, (kind, most) in zip(pair, kinds, strict=True):
        try:
            number = quantity(text, kind)
        except ValueError as error:
            table.mistake("curve", str(error))
            return None
        if not 0 <= number <= quantity(most, kind):
            table.mistake("curve", f'found {shown(text)}, expected {kind.what} from 0 to "{most}"')
            return None
        found.append(number)
    return found[0], found[1]


def _note(assumed: list[Assumed], given: object, key: str, value: str, why: str) -> None:
    if given is None:
        assumed.append(Assumed(key=key, value=value, why=why))
