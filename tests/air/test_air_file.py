"""The optional tables of a bed file: quantities with units, what is assumed, every mistake one line."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bedwatch.air import AirInputs, plan_air, read_air
from bedwatch.air.findings import findings
from bedwatch.air.quantities import DENSITY, FLOW, GRAIN, PRESSURE, SPEED, Kind, quantity
from bedwatch.bed import FileError, read_bed
from bedwatch.show.air_json import air_json_line
from bedwatch.show.air_text import print_air

BED = """\
[bed]
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"
[zones]
rings = [1, 6]
"""
FULL = (
    BED
    + """\
[powder]
grain = "110 um"
density = "1.4 g/cm3"
bulk_density = "650 kg/m3"
sphericity = 0.75
fines = 0.05
depth = "15 cm"
[plate]
hole = "0.8 mm"
holes_per_zone = [40, 50, 50, 50, 50, 50, 50]
membrane_drop = "500 Pa"
membrane_at = "20 mm/s"
[supply]
curve = [["250 L/min", "1 kPa"], ["0 L/min", "5 kPa"]]
shape = "parabola"
"""
)


def read(folder: Path, text: str) -> AirInputs:
    path = folder / "x.bed.toml"
    path.write_text(text)
    return read_air(path, read_bed(path))


def mistakes(folder: Path, text: str) -> list[str]:
    with pytest.raises(FileError) as caught:
        read(folder, text)
    return [line.removeprefix(f"{folder / 'x.bed.toml'}:") for line in caught.value.lines]


def test_a_full_file(tmp_path: Path) -> None:
    inputs = read(tmp_path, FULL)
    assert inputs.grain_m.known
    assert inputs.grain_m.middle == pytest.approx(110e-6)
    assert inputs.density_kg_m3.middle == 1400
    assert inputs.bulk_kg_m3.middle == 650
    assert inputs.bulk_known
    assert (inputs.sphericity, inputs.fines, inputs.depth_m) == (0.75, 0.05, pytest.approx(0.15))
    assert inputs.hole_m == pytest.approx(0.0008)
    assert inputs.holes_per_zone == (40, 50, 50, 50, 50, 50, 50)
    assert inputs.membrane_pa_s_m == pytest.approx(25_000)
    assert inputs.supply is not None
    assert inputs.supply.flow_m3_s == pytest.approx((0, 250e-3 / 60))
    assert inputs.supply.pressure_pa == (5000, 1000)  # sorted by flow
    assert inputs.supply.shape == "parabola"
    # what nobody can tell in the file is still said
    assert [one.key for one in inputs.assumed] == ["air", "hoses and valves", "voidage when it lifts"]


def test_an_empty_plan_assumes_everything_in_sight(tmp_path: Path) -> None:
    inputs = read(tmp_path, BED)
    keys = {one.key for one in inputs.assumed}
    assert keys >= {
        *("powder.grain", "powder.density", "powder.bulk_density", "powder.sphericity", "powder.fines", "powder.depth"),
        *("plate.hole", "plate.membrane_drop", "air"),
    }
    assert all(one.value and one.why for one in inputs.assumed)
    assert inputs.supply is None
    for span in (inputs.grain_m, inputs.density_kg_m3, inputs.bulk_kg_m3):
        assert span.low < span.middle < span.high


def test_what_is_given_is_not_assumed(tmp_path: Path) -> None:
    inputs = read(tmp_path, BED + '[powder]\ngrain = "90 µm"\n[plate]\nholes_per_zone = 40\n')
    assert "powder.grain" not in {one.key for one in inputs.assumed}
    assert inputs.holes_per_zone == (40,) * 7


def test_voidage_instead_of_bulk_density(tmp_path: Path) -> None:
    inputs = read(tmp_path, BED + '[powder]\ndensity = "1500 kg/m3"\nvoidage = 0.5\n')
    assert inputs.bulk_known
    assert inputs.bulk_kg_m3.low == inputs.bulk_kg_m3.high == pytest.approx(750)


def test_the_bed_is_read_the_same_with_and_without(tmp_path: Path) -> None:
    for name, text in (("a", BED), ("b", FULL)):
        (tmp_path / name).write_text(text.replace("[bed]", '[bed]\nname = "n"'))
    assert read_bed(tmp_path / "a") == read_bed(tmp_path / "b")


ONE = [
    ('"110 um"', '"110"', '8: powder.grain: found "110" without a unit, expected a grain size such as "100 um"'),
    ('"110 um"', "110", "8: powder.grain: found 110 without a unit, expected a grain size with its unit in quotes"),
    ('"110 um"', '"110 in"', '8: powder.grain: found "110 in" with the unit "in", expected a grain size'),
    ('"110 um"', '"0,1 mm"', '8: powder.grain: found "0,1 mm", expected a grain size'),
    ('"110 um"', '"11 mm"', '8: powder.grain: found "11 mm", expected a grain size from "1 um" to "3 mm"'),
    ('"110 um"', "true", "8: powder.grain: found true, expected a grain size"),
    ("grain =", "grian =", "8: powder.grian: found an unknown key, expected one of grain"),
    ('"1.4 g/cm3"', '"1.4"', '9: powder.density: found "1.4" without a unit'),
    ('"650 kg/m3"', '"1350 kg/m3"', "10: powder.bulk_density: found 96% of the density, expected 10 to 75 %"),
    ('density = "1.4 g/cm3"\n', "", '9: powder.bulk_density: found it without "density", expected both'),
    ("sphericity = 0.75", "voidage = 0.5", '11: powder.voidage: found it beside "bulk_density"'),
    ("0.75", "1.2", "11: powder.sphericity: found 1.2, expected a number from 0.3 to 1"),
    ('"15 cm"', '"15 m"', '13: powder.depth: found "15 m", expected a length from 10 to 2000 mm'),
    ("[40, 50, 50, 50, 50, 50, 50]", "[40, 50]", "16: plate.holes_per_zone: found [40, 50], expected a whole number"),
    ("[40, 50, 50, 50, 50, 50, 50]", "0", "16: plate.holes_per_zone: found 0, expected a whole number"),
    ("[40, 50, 50, 50, 50, 50, 50]", "true", "16: plate.holes_per_zone: found true, expected a whole number"),
    ("[40, 50, 50, 50, 50, 50, 50]", "9000", "16: plate.holes_per_zone: found 63000 holes in all, expected at most"),
    ('hole = "0.8 mm"', 'pitch = "9 mm"', '15: plate.pitch: found it beside "holes_per_zone"'),
    ('membrane_at = "20 mm/s"\n', "", '17: plate.membrane_drop: found it without "membrane_at", expected both'),
    ('membrane_drop = "500 Pa"\n', "", '17: plate.membrane_at: found it without "membrane_drop", expected both'),
    ('"20 mm/s"', '"20 km/h"', '18: plate.membrane_at: found "20 km/h" with the unit "km/h"'),
    ('["0 L/min", "5 kPa"]', '["0 L/min", "0.5 kPa"]', "20: supply.curve: found more pressure with more flow"),
    (
        '["0 L/min", "5 kPa"]',
        '["250 L/min", "5 kPa"]',
        "20: supply.curve: found more pressure with more flow, or one flow",
    ),
    ('["0 L/min", "5 kPa"]', '["0 L/min", 5]', '20: supply.curve: found ["0 L/min", 5], expected two points of flow'),
    ('["0 L/min", "5 kPa"]', '["0 L", "5 kPa"]', '20: supply.curve: found "0 L" with the unit "L"'),
    (
        '["0 L/min", "5 kPa"]',
        '["-1 L/min", "5 kPa"]',
        '20: supply.curve: found "-1 L/min", expected an air flow from 0',
    ),
    (', ["0 L/min", "5 kPa"]', "", "20: supply.curve: found"),
    ('"parabola"', '"parabel"', '21: supply.shape: found "parabel", expected "straight" or "parabola" (did you mean'),
    ('curve = [["250 L/min", "1 kPa"], ["0 L/min", "5 kPa"]]\n', "", '20: supply.shape: found it without "curve"'),
]


@pytest.mark.parametrize(("old", "new", "says"), ONE)
def test_every_mistake_is_one_line_with_its_place(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in FULL
    lines = mistakes(tmp_path, FULL.replace(old, new, 1))
    assert len(lines) == 1, lines
    assert lines[0].startswith(says)


@pytest.mark.parametrize("key", ["powder", "plate", "supply"])
def test_a_table_that_is_none(tmp_path: Path, key: str) -> None:
    (line,) = mistakes(tmp_path, f"{key} = 3\n{BED}")
    assert line == f"1: {key}: found 3, expected a table [{key}]"


def test_all_mistakes_come_at_once(tmp_path: Path) -> None:
    text = FULL.replace('"110 um"', '"110"').replace('"0.8 mm"', '"8"').replace('"parabola"', '"x"')
    assert [line.split(":")[1].strip() for line in mistakes(tmp_path, text)] == [
        *("powder.grain", "plate.hole", "supply.shape"),
    ]


# exact by definition or standard: 1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 bar = 100 kPa, conventional water 9.80665 N/kg
@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("100 um", GRAIN, 1e-4),
        ("100µm", GRAIN, 1e-4),
        ("0.1 mm", GRAIN, 1e-4),
        ("1.4 g/cm3", DENSITY, 1400),
        ("87.4 lb/ft3", DENSITY, 87.4 * 0.45359237 / 0.3048**3),
        ("5 kPa", PRESSURE, 5000),
        ("50 mbar", PRESSURE, 5000),
        ("1 psi", PRESSURE, 6894.757),
        ("20 inH2O", PRESSURE, 4981.78),
        ("100 mmH2O", PRESSURE, 980.665),
        ("60 L/min", FLOW, 1e-3),
        ("3.6 m3/h", FLOW, 1e-3),
        ("1 scfm", FLOW, 4.719474e-4),
        ("1 cfm", FLOW, 4.719474e-4),
        ("1 ft/min", SPEED, 0.00508),
    ],
)
def test_quantities(text: str, kind: Kind, si: float) -> None:
    assert quantity(text, kind) == pytest.approx(si, rel=1e-6)


@given(st.text(max_size=50), st.sampled_from([GRAIN, DENSITY, PRESSURE, FLOW, SPEED]))
def test_any_text_is_a_number_or_a_one_line_reason(text: str, kind: Kind) -> None:
    try:
        said = f"{quantity(text, kind):f}"
    except ValueError as error:
        said = str(error)
    assert said.isprintable()
    assert said not in ("inf", "-inf", "nan")


VALUES = {
    "powder": {
        "grain": ['"1 um"', '"20 um"', '"90 um"', '"3 mm"', '"4 mm"', "1"],
        "density": ['"100 kg/m3"', '"900 kg/m3"', '"2.6 g/cm3"', '"20 g/cm3"', '"x"'],
        "bulk_density": ['"50 kg/m3"', '"600 kg/m3"', '"12 g/cm3"'],
        "voidage": ["0.3", "0.9", "1"],
        "sphericity": ["0.3", "1"],
        "fines": ["0", "1.0"],
        "depth": ['"10 mm"', '"15 cm"', '"2 m"'],
        "surprise": ["1"],
    },
    "plate": {
        "hole": ['"0.1 mm"', '"1 mm"', '"20 mm"'],
        "holes_per_zone": ["1", "30", "2000", "[1, 2, 3, 4, 5, 6, 7]", "[]"],
        "pitch": ['"1 mm"', '"9 mm"', '"200 mm"'],
        "membrane_drop": ['"1 Pa"', '"2 kPa"', '"1 bar"'],
        "membrane_at": ['"0.1 mm/s"', '"1 m/s"'],
    },
    "supply": {
        "curve": [
            '[["0 L/min", "5 kPa"], ["200 L/min", "0 kPa"]]',
            '[["0.001 L/min", "1 Pa"], ["100000 L/min", "1 Pa"]]',
            '[["0 L/min", "1 MPa"], ["1 L/min", "0 Pa"]]',
            '[["5 m3/h", "10 bar"], ["6 m3/h", "0 bar"]]',
        ],
        "shape": ['"straight"', '"parabola"', '"round"'],
    },
}


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_any_choice_of_keys_ends_in_a_plan_that_can_be_told_or_in_user_errors(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    text = BED
    for table, keys in VALUES.items():
        chosen = data.draw(st.lists(st.sampled_from(sorted(keys)), unique=True, max_size=4))
        lines = [f"{key} = {data.draw(st.sampled_from(keys[key]))}\n" for key in chosen]
        text += f"[{table}]\n" + "".join(lines)
    path = tmp_path_factory.getbasetemp() / "any.bed.toml"
    path.write_text(text)
    bed = read_bed(path)
    found: list[str] = []
    try:
        inputs = read_air(path, bed)
    except FileError as refused:
        found = list(refused.lines)
    if found:
        assert all(line.startswith(f"{path}:") for line in found)
        return
    plan = plan_air(bed, inputs)
    assert 0 < plan.minimum_m_s.low < plan.minimum_m_s.middle < plan.minimum_m_s.high
    assert plan.supply is None or plan.supply.converged
    assert all(words.isprintable() for words in findings(plan))
    out = io.StringIO()
    print_air(plan, out)
    assert "nan" not in out.getvalue()
    assert "\n" not in air_json_line(plan)
