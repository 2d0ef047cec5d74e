"""`bedwatch air`: what it prints, what it draws, how it refuses."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

BED = """\
[bed]
name = "Latch & <hook> bed"
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"
[zones]
rings = [1, 6]
"""
AIR = """\
[powder]
grain = "100 um"
density = "1400 kg/m3"
bulk_density = "650 kg/m3"
depth = "150 mm"
[plate]
hole = "1 mm"
holes_per_zone = 30
[supply]
curve = [["0 L/min", "5 kPa"], ["200 L/min", "0 kPa"]]
"""
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "latch.bed.toml"
    path.write_text(BED + AIR)
    return path


def test_one_json_object_on_one_line(run: Any, file: Path) -> None:
    ran = run("air", "--bed", file, "--json")
    assert ran.status == 0
    assert ran.err == ""
    (plan,) = ran.objects
    assert plan["bed"] == "Latch & <hook> bed"
    for span in (plan["minimum_mm_s"], plan["working_air"]["l_min"], plan["working_air"]["scfm"], plan["plate_pa"]):
        assert 0 < span["low"] < span["middle"] < span["high"]
    # 1 ft³ is 28.3168 L exactly enough
    air = plan["working_air"]
    assert air["l_min"]["middle"] / air["scfm"]["middle"] == pytest.approx(28.3168, rel=1e-3)
    assert plan["supply"]["works"] in {"yes", "perhaps", "no"}
    assert set(plan["supply"]["cases"]) == {"low", "middle", "high"}
    assert [zone["zone"] for zone in plan["zones"]] == list("1234567")
    assert plan["drill"]["total"] == len(plan["drill"]["holes_mm"]) == 210
    assert {one["key"] for one in plan["assumed"]} >= {"powder.sphericity", "supply.shape", "air"}
    assert {one["from_memory"] for one in plan["guidance"]} == {True, False}


def test_the_page_for_people(run: Any, file: Path) -> None:
    ran = run("air", "--bed", file)
    assert ran.status == 0
    text = " ".join(ran.out.split())
    for words in (
        "L/min",
        "scfm",
        "Assumed",
        "Wen & Yu 1966",
        "plate over bed",
        "from memory",
        "Drill list: 210 holes",
    ):
        assert words in text
    assert "explode" in text
    assert "safety data sheet" in text
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "…" not in ran.out  # nothing cut off


def test_a_bare_bed_file_is_planned_with_everything_assumed_in_sight(run: Any, bed: Path) -> None:
    (plan,) = run("air", "--bed", bed, "--json").objects
    assert len(plan["assumed"]) >= 9
    assert plan["supply"] is None
    assert plan["plate"]["holes_planned"] is True
    page = run("air", "--bed", bed).out
    for one in plan["assumed"]:
        assert one["key"] in page


def test_watch_and_aim_take_the_same_file(run: Any, file: Path, empty: Path) -> None:
    """They get as far as the source, which is not there."""
    for words in (["watch", "gone.avi"], ["aim", "gone.avi", "--out", empty / "a.toml"]):
        (line,) = run(*words, "--bed", file).mistakes
        assert "gone.avi" in line


def test_the_drawing_is_to_scale(run: Any, file: Path, tmp_path: Path) -> None:
    """Width and height in mm equal the view box, so that one unit is one millimetre; the rule is 100 of them."""
    out = tmp_path / "plate.svg"
    ran = run("air", "--bed", file, "--drawing", out, "--json")
    assert ran.status == 0
    assert str(out) in ran.err
    (plan,) = ran.objects
    root = ET.parse(out).getroot()
    _, _, width, height = (float(part) for part in root.attrib["viewBox"].split())
    assert root.attrib["width"] == f"{width:g}mm"
    assert root.attrib["height"] == f"{height:g}mm"
    rule = root.find(f"{SVG}path[@id='check-rule']")
    assert rule is not None
    assert rule.attrib["d"].startswith("M-50 ")
    assert "h100M" in rule.attrib["d"]
    circles = [circle.attrib for circle in root.iter(f"{SVG}circle")]
    (wall,) = [c for c in circles if c["r"] == "210"]
    assert (wall["cx"], wall["cy"]) == ("0", "0")
    holes = {(float(c["cx"]), -float(c["cy"])) for c in circles if c["r"] == "0.5"}
    assert holes == {(x, y) for x, y in plan["drill"]["holes_mm"]}
    words = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    assert "must measure 100 mm" in words
    assert "Latch & <hook> bed" in words


@pytest.mark.parametrize("name", ["gate_latch", "rectangular", "custom"])
def test_every_sample_bed_is_planned_and_drawn(run: Any, tmp_path: Path, name: str) -> None:
    path = Path(__file__).parents[2] / "calibration" / f"{name}.bed.toml"
    ran = run("air", "--bed", path, "--json", "--drawing", tmp_path / "p.svg")
    assert ran.status == 0
    (plan,) = ran.objects
    holes = [c for c in ET.parse(tmp_path / "p.svg").getroot().iter(f"{SVG}circle") if c.attrib["r"] == "0.5"]
    assert len(holes) == plan["drill"]["total"] == sum(zone["holes"] for zone in plan["zones"])


def test_mistakes_are_lines_and_nothing_is_written(run: Any, file: Path, empty: Path) -> None:
    file.write_text(BED + AIR.replace('"100 um"', '"100"').replace("holes_per_zone", "holes_per_zoen"))
    lines = run("air", "--bed", file, "--drawing", empty / "p.svg", "--json").mistakes
    assert [line.split(": ")[1].rsplit(":", 1)[0] for line in lines] == [str(file)] * 2
    assert "powder.grain" in lines[0]
    assert 'did you mean "holes_per_zone"' in lines[1]


@pytest.mark.parametrize(("place", "named"), [("p.png", ".svg"), ("gone/p.svg", "no folder"), ("", ".svg")])
def test_a_drawing_that_cannot_be_written(run: Any, file: Path, empty: Path, place: str, named: str) -> None:
    (line,) = run("air", "--bed", file, "--drawing", empty / place).mistakes
    assert named in line


def test_more_holes_than_can_be_drawn(run: Any, file: Path, empty: Path) -> None:
    file.write_text(BED + AIR.replace("holes_per_zone = 30", "").replace('"1 mm"', '"0.1 mm"'))
    (line,) = run("air", "--bed", file, "--drawing", empty / "p.svg").mistakes
    assert "expected at most 10000" in line
    assert run("air", "--bed", file, "--json").objects[0]["drill"] is None


def test_a_supply_too_small_is_an_answer_and_no_failure(run: Any, file: Path) -> None:
    file.write_text(BED + AIR.replace('"5 kPa"', '"0.5 kPa"'))
    ran = run("air", "--bed", file, "--json")
    assert ran.status == 0
    assert ran.objects[0]["supply"]["lifts"] == "no"
    assert "cannot even lift" in ran.objects[0]["findings"][0]


def test_help_at_80_columns(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = run("air", "--help").out
    assert max(map(len, text.splitlines())) <= 80
    for words in ("[powder]", "[plate]", "[supply]", "--drawing", "--json"):
        assert words in text
    assert "air" in run("--help").out


def test_planning_opens_no_picture_library_and_watching_no_solver(file: Path) -> None:
    look = f"import sys; from bedwatch.cli import main; main(['air', '--bed', {str(file)!r}]); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "scipy.optimize" in loaded
    assert loaded.isdisjoint({"cv2", "skimage"})
    look = "import sys; import bedwatch.air; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert "scipy" not in done.stdout.split()


def test_it_says_the_same_every_time(run: Any, file: Path) -> None:
    one, other = (run("air", "--bed", file, "--json").out for _ in range(2))
    assert one == other
    assert json.loads(one)


def test_it_can_be_drawn_where_only_ascii_goes(file: Path) -> None:
    line = [sys.executable, "-m", "bedwatch", "air", "--bed", str(file)]
    done = subprocess.run(
        line, capture_output=True, check=False, env=os.environ | {"PYTHONIOENCODING": "ascii", "COLUMNS": "60"}
    )
    assert done.returncode == 0, done.stderr
    done.stdout.decode("ascii")
