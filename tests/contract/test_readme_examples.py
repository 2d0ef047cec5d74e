"""The examples in the README are files that work."""

from __future__ import annotations

import json
import re
import textwrap
from pathlib import Path

import numpy as np
import pytest

from bedwatch.aim.aimfile import read_aim
from bedwatch.aim.outline import outline_of
from bedwatch.aim.types import Ellipse
from bedwatch.air import read_air
from bedwatch.bed import read_bed
from bedwatch.show.json_read import parse_reading_line

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", README, re.S | re.M)
    return [textwrap.dedent(body) for _, body in found]


def block_with(words: str) -> str:
    (found,) = (body for body in blocks("toml") if words in body)
    return found


def test_the_bed_file(tmp_path: Path) -> None:
    file = tmp_path / "my.bed.toml"
    file.write_text(blocks("toml")[0], encoding="utf-8")
    bed = read_bed(file)
    assert len(bed.zones) == 7
    assert bed.width_mm == 420


def test_the_aim_file_by_hand(tmp_path: Path) -> None:
    """Its outline and its matrix agree: 210 mm at 1.42 px per mm is 298 px, to the pixel that hand work is good for."""
    bed = read_bed(ROOT / "calibration" / "gate_latch.bed.toml")
    file = tmp_path / "my.aim.toml"
    file.write_text(block_with("bed_to_picture"), encoding="utf-8")
    aim = read_aim(file)
    drawn = outline_of(aim.bed_to_picture, bed)
    assert isinstance(aim.surface, Ellipse)
    assert isinstance(drawn, Ellipse)
    assert np.allclose(sorted(aim.surface.axes_px), sorted(drawn.axes_px), atol=1.0)


def test_the_tables_of_the_air_go_into_the_bed_file(tmp_path: Path) -> None:
    file = tmp_path / "my.bed.toml"
    file.write_text(f"{blocks('toml')[0]}\n{block_with('[powder]')}", encoding="utf-8")
    bed = read_bed(file)
    assert read_air(file, bed).depth_m == pytest.approx(0.150)


def test_the_table_of_valves_goes_into_the_bed_file(tmp_path: Path) -> None:
    file = tmp_path / "my.bed.toml"
    file.write_text(f"{blocks('toml')[0]}\n{block_with('[valves]')}", encoding="utf-8")
    bed = read_bed(file)
    assert dict(bed.valves.labels) == {"1": "A", "3": "red tap"}
    assert "7" not in bed.with_valve


def test_the_reading() -> None:
    line = json.dumps(json.loads(blocks("json")[0]))
    assert parse_reading_line(line).zones[0].zone == "1"


@pytest.mark.parametrize("place", re.findall(r"\]\(([^)#:]+)\)", README))
def test_pictures_and_links_are_there(place: str) -> None:
    assert (ROOT / place).is_file()


def test_the_two_lines_are_each_one_line() -> None:
    lines = [body.strip() for body in re.findall(r"^```\n(.*?)^```", README.split("## Your own bed")[0], re.S | re.M)]
    assert len(lines) == 2
    assert all("\n" not in line and "pip install" in line for line in lines)
    assert "bedwatch watch sample_frames/" in lines[0]
    assert lines[1].endswith("pytest")
