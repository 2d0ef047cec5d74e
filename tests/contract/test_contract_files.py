"""Mistakes in bed and aim files: each one line that names file, key, what was found and what is expected."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

BED = '[bed]\nshape = "round"\ndiameter = "420 mm"\nsurface_below_rim = "80 mm"\n'
BOX = '[bed]\nshape = "rectangular"\nwidth = "400 mm"\nlength = "300 mm"\nsurface_below_rim = "80 mm"\n'
RINGS = "[zones]\nrings = [1, 6]\n"


def _zone(name: str, corners: str) -> str:
    return f'[[zones.custom]]\nname = "{name}"\npolygon = {corners}\n'


SQUARE = "[[0, 0], [0, 80], [80, 80], [80, 0]]"
BED_MISTAKES = [
    (BED.replace("420 mm", "420") + RINGS, ["bed.diameter"]),
    (BED.replace('"420 mm"', "420") + RINGS, ["bed.diameter"]),
    (BED.replace("420 mm", "420 furlongs") + RINGS, ["bed.diameter"]),
    (BED.replace("420 mm", "-420 mm") + RINGS, ["bed.diameter"]),
    (BED.replace("420 mm", "0 mm") + RINGS, ["bed.diameter"]),
    (BED.replace("420 mm", "420 m") + RINGS, ["bed.diameter"]),
    (BED.replace("80 mm", "-1 mm") + RINGS, ["bed.surface_below_rim"]),
    (BED.replace("diameter", "diametre") + RINGS, ["diametre"]),
    (BED.replace('diameter = "420 mm"\n', "") + RINGS, ["bed.diameter"]),
    (BED.replace('surface_below_rim = "80 mm"\n', "") + RINGS, ["bed.surface_below_rim"]),
    (BED.replace("round", "oval") + RINGS, ["bed.shape"]),
    (BED.replace("diameter", 'width = "2 m"\ndiameter') + RINGS, ["bed.width"]),
    (BED + 'colour = "white"\n' + RINGS, ["colour"]),
    (BED + RINGS + "[extra]\n", ["extra"]),
    (RINGS, ["bed"]),
    (BED, ["zones"]),
    (BED + "[zones]\n", ["zones.rings"]),
    (BED + "[zones]\nrings = []\n", ["zones.rings"]),
    (BED + "[zones]\nrings = [1, 0]\n", ["zones.rings"]),
    (BED + "[zones]\nrings = [1.5]\n", ["zones.rings"]),
    (BED + "[zones]\nrings = 6\n", ["zones.rings"]),
    (BED + "[zones]\nrings = [1, 900]\n", ["zones.rings"]),
    (BED + RINGS + 'first_boundary = "north"\n', ["zones.first_boundary"]),
    (BED + RINGS + "first_boundary = 30\n", ["zones.first_boundary"]),
    (BED + RINGS + _zone("a", SQUARE), ["zones.custom"]),
    (BED + "[zones]\ngrid = [2, 2]\n", ["zones.grid"]),
    (BOX + RINGS, ["zones.rings"]),
    (BOX + "[zones]\ngrid = [2]\n", ["zones.grid"]),
    (BED + _zone("a", SQUARE) + _zone("b", "[[40, 0], [40, 80], [120, 80], [120, 0]]"), ["zones.custom[2].polygon"]),
    (BED + _zone("a", SQUARE) + _zone("a", "[[-90, 0], [-90, 80], [-10, 80], [-10, 0]]"), ["zones.custom[2].name"]),
    (BED + _zone("a", "[[0, 0], [0, 80], [0, 160]]"), ["zones.custom[1].polygon"]),
    (BED + _zone("a", "[[0, 0], [80, 80], [80, 0], [0, 80]]"), ["zones.custom[1].polygon"]),
    (BED + _zone("a", "[[0, 0], [0, 80], [900, 80]]"), ["zones.custom[1].polygon"]),
    (BED + _zone("a", "[[0, 0], [0, 80]]"), ["zones.custom[1].polygon"]),
    (BED + _zone("a", '[["0 mm", 0], [0, 80], [80, 0]]'), ["zones.custom[1].polygon"]),
    (BED + _zone("all", SQUARE), ["zones.custom[1].name"]),
    ("", ["an empty file"]),
    ("# nothing yet\n", ["bed", "zones"]),
    (
        BED.replace("420 mm", "four") + "depth = 3\n" + RINGS.replace("6", "-6"),
        ["bed.diameter", "depth", "zones.rings"],
    ),
]


@pytest.mark.parametrize(("text", "keys"), BED_MISTAKES)
def test_every_mistake_in_a_bed_file_is_one_line(
    run: Any, clip: Path, tmp_path: Path, empty: Path, text: str, keys: list[str]
) -> None:
    path = tmp_path / "bad.bed.toml"
    path.write_text(text)
    lines = run("watch", clip, "--bed", path, "--json").mistakes
    assert len(lines) == len(keys), lines
    for line, key in zip(lines, keys, strict=True):
        assert line.startswith(f"bedwatch: {path}:")
        assert key in line.removeprefix(f"bedwatch: {path}:")
        assert "found" in line
        assert "expected" in line
    assert run("aim", clip, "--bed", path, "--out", empty / "a.toml", "--json").mistakes == lines


@pytest.mark.parametrize(
    "content", [b"[bed\n", b"\xff\xfe\x00", b'[bed]\nname = "a"\nname = "b"\n', b"just words", b"a = 1\n" + b"[" * 5000]
)
@pytest.mark.parametrize("option", ["--bed", "--aim"])
def test_a_file_that_is_not_toml_is_one_line(
    run: Any, clip: Path, bed: Path, tmp_path: Path, option: str, content: bytes
) -> None:
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    files = {"--bed": bed} | {option: path}
    (line,) = run("watch", clip, *(word for pair in files.items() for word in pair)).mistakes
    assert str(path) in line


@pytest.mark.parametrize("option", ["--bed", "--aim"])
@pytest.mark.parametrize("kind", ["missing", "folder", "below a file"])
def test_a_bed_or_aim_file_that_cannot_be_read_is_one_line(
    run: Any, clip: Path, bed: Path, tmp_path: Path, option: str, kind: str
) -> None:
    path = {"missing": tmp_path / "gone.toml", "folder": tmp_path, "below a file": bed / "x.toml"}[kind]
    files = {"--bed": bed} | {option: path}
    (line,) = run("watch", clip, *(word for pair in files.items() for word in pair)).mistakes
    assert str(path) in line


ELLIPSE = "{ centre_px = [160, 120], axes_px = [98, 98], angle_deg = 0 }"
AIM = {
    "surface": ELLIPSE,
    "rim": ELLIPSE,
    "bed_to_picture": "[[0.467, 0, 160], [0, -0.467, 120], [0, 0, 1]]",
    "mm_per_px": "2.14",
    "problems": "[]",
}
CORNERS = "{ corners_px = [[60, 20], [260, 20], [260, 220], [60, 220]] }"


def _aim(**changed: str | None) -> str:
    return "".join(f"{key} = {value}\n" for key, value in (AIM | changed).items() if value is not None)


AIM_MISTAKES = [
    (_aim(surface=None), "surface"),
    (_aim(bed_to_picture=None), "bed_to_picture"),
    (_aim(mm_per_px=None), "mm_per_px"),
    (_aim(mm_per_px="0"), "mm_per_px"),
    (_aim(mm_per_px='"2 mm"'), "mm_per_px"),
    (_aim(surfase=ELLIPSE, surface=None), "surfase"),
    (_aim(surface="3"), "surface"),
    (_aim(surface=ELLIPSE.replace("angle_deg = 0", "tilt = 0")), "surface"),
    (_aim(surface=ELLIPSE.replace("[98, 98]", "[98, -98]")), "surface.axes_px"),
    (_aim(surface=ELLIPSE.replace("[160, 120]", "[160]")), "surface.centre_px"),
    (_aim(surface=ELLIPSE.replace("[160, 120]", "[160, nan]")), "surface.centre_px"),
    (_aim(surface=CORNERS, rim=CORNERS), "surface"),
    (_aim(surface=CORNERS), "rim"),
    (_aim(bed_to_picture="[[1, 0], [0, 1]]"), "bed_to_picture"),
    (_aim(bed_to_picture="[[0.467, 0, 160], [0, 0.467, 120], [0, 0, 1]]"), "bed_to_picture"),  # mirrored
    (_aim(bed_to_picture="[[0.467, 0, 160], [0.467, 0, 120], [0, 0, 1]]"), "bed_to_picture"),  # flat
    (_aim(bed_to_picture="[[0.467, 0, 160], [0, -0.467, 120], [0, 0, 0]]"), "bed_to_picture"),
    (_aim(bed_to_picture="[[0.467, 0, 160], [0, -0.467, 120], [0.01, 0, 1]]"), "bed_to_picture"),  # behind the lens
    (_aim(bed_to_picture="[[inf, 0, 160], [0, -0.467, 120], [0, 0, 1]]"), "bed_to_picture"),
    (_aim(problems='[{ problem = "gremlins", advice = "Feed them." }]'), "problem"),
    (_aim(problems='"none"'), "problems"),
]


def test_the_aim_file_these_mistakes_are_made_in_is_right(run: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    path = tmp_path / "good.aim.toml"
    path.write_text(_aim())
    assert run("watch", clip, "--bed", bed, "--aim", path, "--json").status == 0


@pytest.mark.parametrize(
    ("diameter", "changed", "told"),
    [
        ("420 mm", {}, None),
        ("440 mm", {}, None),
        ("600 mm", {}, "surface: found an outline that differs by 30%"),
        (
            "420 mm",
            {"surface": ELLIPSE.replace("[98, 98]", "[98, 60]")},
            "surface: found an outline that differs by 39%",
        ),
        (
            "420 mm",
            {"surface": ELLIPSE.replace("[160, 120]", "[160, 150]")},
            "surface: found an outline that differs by 31%",
        ),
        ("420 mm", {"mm_per_px": "2.45"}, None),
        ("420 mm", {"mm_per_px": "3.0"}, "mm_per_px: found a scale that differs by 40%"),
    ],
)
def test_an_aim_file_made_for_another_bed_is_said_to_be_and_its_homography_has_the_say(
    run: Any, pictures: Any, film: Any, tmp_path: Path, diameter: str, changed: dict[str, str], told: str | None
) -> None:
    bed, aim = tmp_path / "a.bed.toml", tmp_path / "a.aim.toml"
    bed.write_text(BED.replace("420 mm", diameter) + RINGS)
    aim.write_text(_aim(**changed))
    ran = run("watch", film("two", pictures[:2]), "--bed", bed, "--aim", aim, "--json")
    assert ran.status == 0
    lines = [line for line in ran.err.splitlines() if str(aim) in line]
    assert len(lines) == (told is not None)
    for line in lines:
        assert line.startswith(f"bedwatch: {aim}: {told} ")
        assert str(bed) in line
        assert "expected the aim made for this bed; aim again" in line


def test_corners_that_are_not_those_of_the_homography_are_said_to_be(
    run: Any, pictures: Any, film: Any, tmp_path: Path
) -> None:
    bed, aim = tmp_path / "box.bed.toml", tmp_path / "box.aim.toml"
    bed.write_text('[bed]\nshape = "rectangular"\nwidth = "428 mm"\nlength = "428 mm"\n')
    bed.write_text(bed.read_text() + 'surface_below_rim = "80 mm"\n[zones]\ngrid = [2, 2]\n')
    for corners, count in ((CORNERS, 0), (CORNERS.replace("[60, 220]", "[60, 240]"), 1)):
        aim.write_text(_aim(surface=corners, rim=corners))
        ran = run("watch", film("two_boxes", pictures[:2]), "--bed", bed, "--aim", aim, "--json")
        assert ran.status == 0, ran.err
        assert ran.err.count("surface: found an outline that differs by 20%") == count


@pytest.mark.parametrize(("text", "key"), AIM_MISTAKES)
def test_every_mistake_in_an_aim_file_is_one_line(
    run: Any, clip: Path, bed: Path, tmp_path: Path, text: str, key: str
) -> None:
    path = tmp_path / "bad.aim.toml"
    path.write_text(text)
    lines = run("watch", clip, "--bed", bed, "--aim", path, "--json").mistakes
    for line in lines:
        assert line.startswith(f"bedwatch: {path}")
        assert "found" in line
        assert "expected" in line
    assert key in lines[0].removeprefix(f"bedwatch: {path}")
