"""`aim` with places named by hand, in a mirror and upside down, as a user types it."""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest


@pytest.fixture(scope="module")
def places(aimed: Any) -> list[str]:
    """Options for eight places on the wall and six on the rim, half a pixel or so off."""
    found, rng = aimed[0].objects[0], np.random.default_rng(4)
    words: list[str] = []
    for option, outline, count in (("--wall", found["surface"], 8), ("--rim", found["rim"], 6)):
        turn, angle = 2 * np.pi * np.arange(count) / count + 0.3, np.deg2rad(outline["angle_deg"])
        a, b = outline["axes_px"][0] * np.cos(turn), outline["axes_px"][1] * np.sin(turn)
        u = outline["centre_px"][0] + a * np.cos(angle) - b * np.sin(angle) + rng.normal(size=count) * 0.4
        v = outline["centre_px"][1] + a * np.sin(angle) + b * np.cos(angle) + rng.normal(size=count) * 0.4
        words += [word for place in zip(u, v, strict=True) for word in (option, f"{place[0]:.1f},{place[1]:.1f}")]
    return words


def test_places_alone_find_the_bed_where_the_search_does(
    run: Any, clip: Path, bed: Path, places: list[str], aimed: Any, tmp_path: Path
) -> None:
    ran = run("aim", clip, "--bed", bed, "--out", tmp_path / "a.toml", "--json", *places)
    assert ran.status == 0, ran.err
    (found,) = ran.objects
    searched = aimed[0].objects[0]
    assert found["mm_per_px"] == pytest.approx(searched["mm_per_px"], rel=0.02)
    assert found["surface"]["centre_px"] == pytest.approx(searched["surface"]["centre_px"], abs=1.5)
    assert 0.2 < found["error_mm"] < 8
    assert tomllib.loads((tmp_path / "a.toml").read_text())["bed_to_picture"] == found["bed_to_picture"]
    assert (tmp_path / "a.check.png").exists()


def test_twelve_is_where_it_was_said_to_be(
    run: Any, clip: Path, bed: Path, places: list[str], aimed: Any, tmp_path: Path
) -> None:
    h = np.array(aimed[0].objects[0]["bed_to_picture"])
    u, v, w = h @ [150.0, 0.0, 1.0]
    for more in (places, []):  # by places alone, and on top of the search
        ran = run(
            "aim",
            clip,
            "--bed",
            bed,
            "--out",
            tmp_path / "a.toml",
            "--json",
            *more,
            "--twelve",
            f"{u / w:.1f},{v / w:.1f}",
        )
        assert ran.status == 0, ran.err
        x, y, z = np.linalg.inv(np.array(ran.objects[0]["bed_to_picture"])) @ [u / w, v / w, 1.0]
        assert y / z == pytest.approx(150, abs=6)
        assert x / z == pytest.approx(0, abs=3)


def test_upside_down_turns_by_half(run: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path) -> None:
    out = tmp_path / "a.toml"
    there = aimed[0].objects[0]["bed_to_picture"]
    for words in (["--upside-down"], ["--turn", "180"], ["--turn", "-180"]):
        ran = run("aim", clip, "--bed", bed, "--out", out, "--json", *words)
        assert ran.status == 0
        found = np.array(ran.objects[0]["bed_to_picture"])
        assert found == pytest.approx(np.array(there) * [-1, -1, 1], abs=1e-6)


def test_a_mirrored_picture_has_x_to_the_left(run: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path) -> None:
    ran = run("aim", clip, "--bed", bed, "--out", tmp_path / "a.toml", "--json", "--mirrored")
    assert ran.status == 0
    found = np.array(ran.objects[0]["bed_to_picture"])
    assert found == pytest.approx(np.array(aimed[0].objects[0]["bed_to_picture"]) * [-1, 1, 1], abs=1e-6)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--wall", "12;5"], '--wall: found "12;5", expected two numbers'),
        (["--wall", "12,5,7"], '--wall: found "12,5,7"'),
        (["--rim", "nan,3"], '--rim: found "nan,3"'),
        (["--twelve", "here"], '--twelve: found "here"'),
        (["--twelve", "9000,5"], "12 o'clock: found 9000,5, expected a place in the picture of 320 x 240"),
        (["--wall", "12,5", "--wall", "20,8"], "found 2 places along the wall"),
        (["--corner", "12,5"], "corners for a round bed"),
        (["--upside-down", "--turn", "20"], "found --upside-down and --turn, expected only one"),
        (["--turn", "1e9"], "--turn: found 1e+09"),
        (["--by-hand", "--json"], "found --by-hand and --json"),
        (["--marks", "--wall", "12,5"], "found --marks and --wall and its like"),
    ],
)
def test_slips_are_told_in_one_line_and_nothing_is_written(
    run: Any, clip: Path, bed: Path, empty: Path, words: list[str], told: str
) -> None:
    (line,) = run("aim", clip, "--bed", bed, "--out", empty / "a.toml", *words).mistakes
    assert told in line


def test_the_page_gives_the_line_that_was_typed(run: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    out = tmp_path / "new aim.toml"
    ran = run("aim", clip, "--bed", bed, "--out", out, "--by-hand", "--mirrored", "--wall", "5,6")
    assert ran.status == 0
    assert [path.name for path in tmp_path.iterdir()] == ["new aim.by-hand.html"]
    assert str(tmp_path / "new aim.by-hand.html") in ran.out
    page = (tmp_path / "new aim.by-hand.html").read_text(encoding="utf-8")
    given = json.loads(re.search(r'id="given">(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    assert given["size_px"] == [320, 240]
    assert shlex.split(given["line"]) == [
        *("bedwatch", "aim", str(clip), "--bed", str(bed), "--out", str(out), "--mirrored"),
    ]
    assert given["steps"][0]["given"] == [[5.0, 6.0]]


def test_a_refusal_names_the_ways_out(run: Any, clip: Path, folder: Path, tmp_path: Path) -> None:
    wrong = folder / "trough.bed.toml"
    wrong.write_text(
        '[bed]\nname = "T"\nshape = "rectangular"\nwidth = "900 mm"\nlength = "200 mm"\nsurface_below_rim = "80 mm"\n'
        "[zones]\ngrid = [1, 3]\n"
    )
    ran = run("aim", clip, "--bed", wrong, "--out", tmp_path / "a.toml", "--json")
    assert ran.status == 1
    (advice,) = [p["advice"] for p in ran.objects[0]["problems"] if p["problem"] == "bed_not_found"]
    assert "--by-hand" in advice
    assert "--marks" in advice


def test_a_black_picture_needs_light_not_another_way(
    run: Any, pictures: Any, film: Any, bed: Path, empty: Path
) -> None:
    black = film("black_by_hand", [np.zeros_like(pictures[0])] * 30)
    ran = run("aim", black, "--bed", bed, "--out", empty / "a.toml", "--json")
    assert ran.status == 1
    assert "--by-hand" not in ran.err
