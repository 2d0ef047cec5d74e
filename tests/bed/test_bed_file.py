"""The bed file: what is read from a good one, and one line for every mistake."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bedwatch.bed import Bed, FileError, read_bed
from bedwatch.errors import UserError

ROOT = Path(__file__).parents[2]

ROUND = """\
[bed]
name = "Gate-latch bed"
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"

[zones]
rings = [1, 6]
first_boundary = "0 deg"
"""
FLAT = """\
[bed]
name = "Long bed"
shape = "rectangular"
width = "60 cm"
length = "0.4 m"
surface_below_rim = "0 mm"
[zones]
grid = [2, 3]
"""
CUSTOM = """\
[bed]
name = "Bracket bed"
shape = "rectangular"
width = "400 mm"
length = "200 mm"
surface_below_rim = "2 in"
[[zones.custom]]
name = "left"
polygon = [[-200, -100], [0, -100], [0, 100], [-200, 100], [-200, -100]]
[[zones.custom]]
name = "right"
polygon = [[0, -100], [0, 100], [200, 100]]
"""


def _write(folder: Path, text: str) -> Path:
    path = folder / "b.bed.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _bed(folder: Path, text: str) -> Bed:
    return read_bed(_write(folder, text))


def _mistakes(folder: Path, text: str) -> list[str]:
    path = _write(folder, text)
    with pytest.raises(FileError) as caught:
        read_bed(path)
    assert all(line.startswith(f"{path}:") for line in caught.value.lines)
    return [line.removeprefix(f"{path}:") for line in caught.value.lines]


def test_a_round_bed(tmp_path: Path) -> None:
    bed = _bed(tmp_path, ROUND)
    assert (bed.name, bed.shape, bed.width_mm, bed.length_mm) == ("Gate-latch bed", "round", 420.0, 420.0)
    assert bed.surface_below_rim_mm == 80.0
    assert [zone.name for zone in bed.zones] == ["1", "2", "3", "4", "5", "6", "7"]


def test_a_rectangular_bed(tmp_path: Path) -> None:
    bed = _bed(tmp_path, FLAT)
    assert (bed.width_mm, bed.length_mm, bed.surface_below_rim_mm) == (600.0, 400.0, 0.0)
    assert [zone.name for zone in bed.zones] == ["1", "2", "3", "4", "5", "6"]
    assert bed.zones[0].polygon_mm.tolist() == [[-300, 200], [-100, 200], [-100, 0], [-300, 0]]


def test_custom_zones_are_turned_clockwise_and_may_be_closed_by_hand(tmp_path: Path) -> None:
    bed = _bed(tmp_path, CUSTOM)
    assert [zone.name for zone in bed.zones] == ["left", "right"]
    assert [zone.area_mm2 for zone in bed.zones] == [40000.0, 20000.0]
    assert [len(zone.polygon_mm) for zone in bed.zones] == [4, 3]
    for zone in bed.zones:
        x, y = zone.polygon_mm.T
        assert np.dot(x, np.roll(y, -1)) < np.dot(y, np.roll(x, -1))
    assert bed.surface_below_rim_mm == 50.8


def test_what_may_be_left_out(tmp_path: Path) -> None:
    text = ROUND.replace('name = "Gate-latch bed"\n', "").replace('first_boundary = "0 deg"\n', "")
    bed = _bed(tmp_path, text)
    assert bed.name == "b"
    assert bed.zones[1].sector is not None
    assert bed.zones[1].sector.start_deg == 0.0


@pytest.mark.parametrize("path", sorted((ROOT / "calibration").glob("*.bed.toml")), ids=lambda path: path.name)
def test_the_example_files_are_good(path: Path) -> None:
    assert read_bed(path).zones


def test_the_gate_latch_bed_is_the_one_of_the_example() -> None:
    bed = read_bed(ROOT / "calibration" / "gate_latch.bed.toml")
    assert (bed.width_mm, bed.surface_below_rim_mm, len(bed.zones)) == (420.0, 80.0, 7)


# one change to a good file -> exactly one line, which begins with the line number and the key
ONE_MISTAKE = [
    (ROUND, '"420 mm"', '"420"', '4: bed.diameter: found "420" without a unit, expected a length such as "420 mm"'),
    (ROUND, '"420 mm"', "420", "4: bed.diameter: found 420 without a unit, expected a length with its unit"),
    (ROUND, '"420 mm"', '"420,5 mm"', '4: bed.diameter: found "420,5 mm", expected a length such as "420 mm" with a'),
    (ROUND, '"420 mm"', '"0 mm"', '4: bed.diameter: found "0 mm", expected a length from 20 to 10000 mm'),
    (ROUND, '"420 mm"', '"-420 mm"', '4: bed.diameter: found "-420 mm", expected a length from 20 to 10000 mm'),
    (ROUND, '"420 mm"', '"19.9 mm"', '4: bed.diameter: found "19.9 mm", expected a length from 20 to 10000 mm'),
    (ROUND, '"420 mm"', '"420 m"', '4: bed.diameter: found "420 m", expected a length from 20 to 10000 mm'),
    (ROUND, '"420 mm"', "true", "4: bed.diameter: found true, expected a length with its unit in quotes"),
    (ROUND, '"420 mm"', '["420 mm"]', '4: bed.diameter: found ["420 mm"], expected a length with its unit'),
    (ROUND, 'diameter = "420 mm"\n', "", "1: bed.diameter: found nothing, expected a length from 20 to 10000 mm"),
    (ROUND, "diameter", "diametre", "4: bed.diametre: found an unknown key, expected one of name, shape, "),
    (ROUND, "diameter", 'width = "1 m"\ndiameter', '4: bed.width: found "width" in a round bed, expected "diameter"'),
    (ROUND, '"80 mm"', '"-1 mm"', '5: bed.surface_below_rim: found "-1 mm", expected a length from 0 to 2000 mm'),
    (ROUND, '"80 mm"', '"80 m"', '5: bed.surface_below_rim: found "80 m", expected a length from 0 to 2000 mm'),
    (
        ROUND,
        'surface_below_rim = "80 mm"',
        "",
        '1: bed.surface_below_rim: found nothing, expected a length from 0 to 2000 mm, such as "80 mm"',
    ),
    (
        ROUND,
        '"80 mm"',
        "90",
        '5: bed.surface_below_rim: found 90 without a unit, expected a length with its unit in quotes: "80 mm"',
    ),
    (ROUND, '"round"', '"oval"', '3: bed.shape: found "oval", expected "round" or "rectangular"'),
    (ROUND, '"round"', "1", '3: bed.shape: found 1, expected "round" or "rectangular"'),
    (ROUND, 'shape = "round"\n', "", '1: bed.shape: found nothing, expected "round" or "rectangular"'),
    (ROUND, '"Gate-latch bed"', '""', '2: bed.name: found "", expected a text of 1 to 80 printable letters'),
    (ROUND, '"Gate-latch bed"', '"a\\u001b[2J"', '2: bed.name: found "a\\x1b[2J", expected a text of 1 to 80'),
    (ROUND, "[1, 6]", "[]", "8: zones.rings: found [], expected an array of one or more whole numbers from 1 to 64"),
    (ROUND, "[1, 6]", "[0, 6]", "8: zones.rings: found [0, 6], expected an array of one or more whole numbers"),
    (ROUND, "[1, 6]", "[1, 6.5]", "8: zones.rings: found [1, 6.5], expected an array of one or more whole numbers"),
    (ROUND, "[1, 6]", "7", "8: zones.rings: found 7, expected an array of one or more whole numbers"),
    (ROUND, "[1, 6]", "[1, 64]", "8: zones.rings: found 65 zones, expected at most 64"),
    (ROUND, '"420 mm"', '"20 mm"', "8: zones.rings: found zones of 44.9 mm2, expected at least 100 mm2 each"),
    (ROUND, '"0 deg"', '"0"', '9: zones.first_boundary: found "0" without a unit, expected an angle such as "30 deg"'),
    (ROUND, '"0 deg"', '"361 deg"', '9: zones.first_boundary: found "361 deg", expected an angle from -360 to 360'),
    (ROUND, "first_boundary", "first_boundry", "9: zones.first_boundry: found an unknown key, expected one of rings"),
    (
        ROUND,
        "[zones]\nrings",
        "[zone]\nrings",
        "7: zone: found an unknown key, expected one of bed, zones, valves, powder, plate, supply (did",
    ),
    (ROUND, '[zones]\nrings = [1, 6]\nfirst_boundary = "0 deg"\n', "", "1: zones: found nothing, expected a table"),
    (ROUND, 'rings = [1, 6]\nfirst_boundary = "0 deg"\n', "", "7: zones.rings: found nothing, expected one of rings,"),
    (FLAT, "grid = [2, 3]", "grid = [2]", "8: zones.grid: found [2], expected an array of 2 whole numbers from 1"),
    (FLAT, "grid = [2, 3]", "grid = [9, 8]", "8: zones.grid: found 72 zones, expected at most 64"),
    (FLAT, "grid = [2, 3]", "grid = [0, 3]", "8: zones.grid: found [0, 3], expected an array of 2 whole numbers"),
    (FLAT, "grid = [2, 3]", "rings = [1, 5]", '8: zones.rings: found "rings" in a rectangular bed, expected "grid"'),
    (FLAT, "grid", 'first_boundary = "0 deg"\ngrid', '8: zones.first_boundary: found it beside "grid", expected it'),
    (CUSTOM, '"right"', '"left"', '11: zones.custom[2].name: found "left" a second time, expected a name of its own'),
    (CUSTOM, '"right"', '" "', '11: zones.custom[2].name: found " ", expected a text of 1 to 40 printable letters'),
    (CUSTOM, '"right"', '"All"', '11: zones.custom[2].name: found "All", which means the supply, expected another'),
    (CUSTOM, '"right"', "2", "11: zones.custom[2].name: found 2, expected a text of 1 to 40 printable letters"),
    (CUSTOM, 'name = "right"\n', "", "10: zones.custom[2].name: found nothing, expected a text of 1 to 40"),
    (CUSTOM, "[[0, -100], [0", "[[-9, -100], [0", '12: zones.custom[2].polygon: found 861 mm2 shared with zone "left"'),
    (CUSTOM, "[200, 100]]", "[202, 100]]", "12: zones.custom[2].polygon: found the corner [202, 100] 2.0 mm outside"),
    (CUSTOM, "[200, 100]]", "[0, 90]]", "12: zones.custom[2].polygon: found an area of 0.0 mm2, expected at least"),
    (CUSTOM, "[200, 100]]", "[0.9, 100]]", "12: zones.custom[2].polygon: found an area of 90.0 mm2, expected at"),
    (CUSTOM, "[200, 100]]", "[100]]", "12: zones.custom[2].polygon: found [100] as corner 3, expected [x, y] in mm"),
    (CUSTOM, "[200, 100]]", '["2 m", 1]]', '12: zones.custom[2].polygon: found ["2 m", 1] as corner 3, expected'),
    (CUSTOM, "[200, 100]]", "[inf, 1]]", "12: zones.custom[2].polygon: found [Infinity, 1] as corner 3, expected"),
    (CUSTOM, "[200, 100]]", "[0, 100]]", "12: zones.custom[2].polygon: found corner 2 twice in a row, expected"),
    (CUSTOM, ", [200, 100]]", "]", "12: zones.custom[2].polygon: found [[0, -100], [0, 100]], expected three or"),
    (CUSTOM, "[200, 100]]", "[90, -90], [-9, 0]]", "12: zones.custom[2].polygon: found that the edges from corners"),
    (CUSTOM, 'name = "right"', 'name = "right"\nvalve = 3', "12: zones.custom[2].valve: found an unknown key"),
]


@pytest.mark.parametrize(("text", "good", "bad", "says"), ONE_MISTAKE)
def test_every_mistake_is_one_line_with_its_place(tmp_path: Path, text: str, good: str, bad: str, says: str) -> None:
    assert text.count(good) == 1
    lines = _mistakes(tmp_path, text.replace(good, bad))
    assert len(lines) == 1, lines
    assert lines[0].startswith(says)


def test_two_lines_where_two_things_are_wrong(tmp_path: Path) -> None:
    assert [line.split(", expected")[0] for line in _mistakes(tmp_path, FLAT.replace("width", "diameter"))] == [
        "1: bed.width: found nothing",
        '4: bed.diameter: found "diameter" in a rectangular bed',
    ]
    both = ROUND.replace("rings", "grid = [2, 3]\nrings", 1)
    assert [line.split(", expected")[0] for line in _mistakes(tmp_path, both)] == [
        '8: zones.grid: found "grid" beside "rings"',
        '8: zones.grid: found "grid" in a round bed',
    ]
    all_three = CUSTOM.replace("[[zones", "[zones]\nrings = [1]\ngrid = [1, 1]\n[[zones", 1)
    assert [re.sub(r",? expected.*", "", line) for line in _mistakes(tmp_path, all_three)] == [
        '8: zones.rings: found "rings" in a rectangular bed',
        '9: zones.grid: found "grid" beside "rings"',
        '10: zones.custom: found "custom" beside "rings"',
    ]


def test_mistakes_in_both_tables_come_in_one_go(tmp_path: Path) -> None:
    bad = ROUND.replace('"420 mm"', '"420"').replace('"80 mm"', '"-1 mm"').replace("[1, 6]", "[]")
    bad = bad.replace('"0 deg"', '"0 mm"').replace("name", "nmae")
    assert [line.split(":")[0] for line in _mistakes(tmp_path, bad)] == ["2", "4", "5", "8", "9"]


def test_mistakes_in_inline_tables_have_their_line(tmp_path: Path) -> None:
    text = CUSTOM.split("[[zones")[0] + (
        "[zones]\ncustom = [\n"
        '  { name = "a", polygon = [[0, 0], [50, 0], [50, 50]] },\n'
        '  { name = "a", polygon = [[0, 0], [-50, 0], [-50, 50]] },\n'
        '  { name = "b", polygon = [[-60, 0], [-90, 0]] },\n'
        "]\n"
    )
    lines = _mistakes(tmp_path, text)
    assert [line.split(": found")[0] for line in lines] == ["10: zones.custom[2].name", "11: zones.custom[3].polygon"]


def test_too_many_custom_zones(tmp_path: Path) -> None:
    zones = [f'{{ name = "{i}", polygon = [[{i}, 0], [{i + 1}, 0], [{i + 1}, 100], [{i}, 100]] }}' for i in range(65)]
    text = CUSTOM.split("[[zones")[0] + "[zones]\ncustom = [" + ", ".join(zones) + "]\n"
    assert _mistakes(tmp_path, text) == ["8: zones.custom: found 65 zones, expected at most 64"]


@pytest.mark.parametrize(
    "polygon",
    [
        "[[10, -50], [10, 50], [90, 0], [60, 50], [10, -20]]",  # crosses
        "[[10, 0], [50, 50], [90, 0], [50, 50], [50, 90]]",  # goes back on itself
        "[[10, 0], [90, 0], [90, 50], [50, 0], [10, 50]]",  # a corner touches an edge
        "[[10, 0], [90, 0], [40, 0], [40, 60]]",  # an edge lies on another
    ],
)
def test_outlines_that_meet_themselves(tmp_path: Path, polygon: str) -> None:
    text = CUSTOM.replace("[[0, -100], [0, 100], [200, 100]]", polygon)
    (line,) = _mistakes(tmp_path, text)
    assert line.startswith("12: zones.custom[2].polygon: found that the edges from corners")


@pytest.mark.parametrize(
    ("polygon", "shared"),
    [
        ("[[-150, -50], [-50, -50], [-50, 50], [-150, 50]]", 10000),  # wholly inside, no edges cross
        ("[[-200, -100], [0, -100], [0, 100], [-200, 100]]", 40000),  # the same again
        ("[[-20, -100], [200, -100], [200, 100], [-20, 100]]", 4000),  # edges of both lie on one line
        ("[[-100, 0], [0, 100], [100, 0], [0, -100]]", 10000),  # corners on the other's border
    ],
)
def test_overlaps_by_their_area(tmp_path: Path, polygon: str, shared: int) -> None:
    text = CUSTOM.replace("[[0, -100], [0, 100], [200, 100]]", polygon)
    (line,) = _mistakes(tmp_path, text)
    assert f'found {shared} mm2 shared with zone "left", expected no overlap' in line


def test_zones_measured_to_the_millimetre_may_touch(tmp_path: Path) -> None:
    # the corner (100, 33) was rounded: it lies 0.3 mm inside the neighbour's slanted edge
    zones = (
        '[[zones.custom]]\nname = "a"\npolygon = [[-50, -17], [200, 66], [200, 100], [-50, 100]]\n'
        '[[zones.custom]]\nname = "b"\npolygon = [[-50, -17], [100, 33], [100, -80]]\n'
    )
    assert len(_bed(tmp_path, CUSTOM.split("[[zones")[0] + zones).zones) == 2


def test_a_custom_zone_in_a_round_bed_must_lie_in_the_circle(tmp_path: Path) -> None:
    text = ROUND.split("[zones]")[0] + '[[zones.custom]]\nname = "a"\npolygon = [[0, 0], [{0}, 0], [{0}, 150]]\n'
    assert _bed(tmp_path, text.format(147)).zones[0].area_mm2 == 147 * 75
    (line,) = _mistakes(tmp_path, text.format(150))
    assert line.startswith("9: zones.custom[1].polygon: found the corner [150, 150] 2.1 mm outside the bed")


_values = st.recursive(
    st.one_of(
        st.integers(-5, 70).map(str),
        st.floats(allow_nan=False).map(repr),
        st.sampled_from(
            ["true", "nan", "inf", '"420 mm"', '"1 deg"', '"round"', '"rectangular"', '"all"', '""', "07:32:00"]
        ),
    ),
    lambda inner: st.lists(inner, max_size=4).map(lambda parts: "[" + ", ".join(parts) + "]"),
    max_leaves=8,
)
_keys = st.sampled_from(
    [
        "name",
        "shape",
        "diameter",
        "width",
        "length",
        "surface_below_rim",
        "rings",
        "grid",
        "first_boundary",
        "custom",
        "polygon",
        "diametre",
        '"a b"',
        "zones.rings",
        "bed.name",
    ]
)
_lines = st.one_of(
    st.tuples(_keys, _values).map(" = ".join),
    st.sampled_from(["[bed]", "[zones]", "[[zones.custom]]", "[zones.custom]", "[x]", "# y"]),
)


def _wrong(data: bytes) -> list[str]:
    """What is wrong with the answer to a file of this: neither a bed of 1 to 64 zones nor lines with file and expectation."""
    with tempfile.NamedTemporaryFile(suffix=".toml") as file:
        file.write(data)
        file.flush()
        try:
            zones = len(read_bed(file.name).zones)
        except UserError as error:
            lines = error.lines or ("",)
            good = [line.isprintable() and line.startswith(file.name) and "expected" in line for line in lines]
            return [line for line, fine in zip(lines, good, strict=True) if not fine]
    return [] if 1 <= zones <= 64 else [f"{zones} zones"]


@given(st.binary(max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_bytes_end_in_a_bed_or_user_error(data: bytes) -> None:
    assert _wrong(data) == []


@given(st.lists(_lines, max_size=14).map("\n".join))
@example("[bed]\nshape = 'round'\ndiameter = '1 m'\nsurface_below_rim = '0 mm'\n[zones]\nrings = [1]")
@settings(max_examples=250, deadline=None)
def test_any_toml_ends_in_a_bed_or_user_error(text: str) -> None:
    assert _wrong(text.encode()) == []


@given(st.sampled_from([ROUND, FLAT, CUSTOM]), st.data())
@settings(max_examples=250, deadline=None)
def test_damaged_bed_files_end_in_a_bed_or_user_error(text: str, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 20)))
    new = data.draw(st.one_of(st.binary(max_size=4), _values.map(str.encode)))
    assert _wrong(text[:start].encode() + new + text[end:].encode()) == []


@given(
    diameter=st.integers(200, 99999).map(lambda tenths: tenths / 10),
    below=st.integers(0, 2000),
    rings=st.lists(st.integers(1, 12), min_size=1, max_size=4),
    first=st.integers(-360, 360),
)
@settings(max_examples=60, deadline=None)
def test_what_is_written_is_what_is_read(diameter: float, below: int, rings: list[int], first: int) -> None:
    text = (
        f'[bed]\nshape = "round"\ndiameter = "{diameter} mm"\nsurface_below_rim = "{below} mm"\n'
        f'[zones]\nrings = {rings}\nfirst_boundary = "{first} deg"\n'
    )
    with tempfile.TemporaryDirectory() as folder:
        if np.pi * diameter**2 / 4 / sum(rings) < 100.0:
            assert _mistakes(Path(folder), text)
            return
        bed = _bed(Path(folder), text)
    assert bed.width_mm == diameter
    assert bed.surface_below_rim_mm == below
    assert len(bed.zones) == sum(rings)


def test_the_room_loads_numpy_and_nothing_heavier() -> None:
    code = "import sys, bedwatch.bed; print({'cv2', 'skimage', 'scipy', 'tomlkit', 'rich'} & sys.modules.keys())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "set()"
