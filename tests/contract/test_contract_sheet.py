"""`sheet` writes cards to print, `aim --marks` finds the bed by them: files, exit statuses, lines for mistakes."""

from __future__ import annotations

import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

Run = Callable[..., Any]
Array = NDArray[Any]
SVG = "{http://www.w3.org/2000/svg}"
# straight above, the cards' plane at 1.0 px/mm about (400, 300)
VIEW = np.array([[1.0, 0.0, 400.0], [0.0, -1.0, 300.0], [0.0, 0.0, 1.0]])


def _points(element: ET.Element) -> Array:
    return np.array([pair.split(",") for pair in element.attrib["points"].split()], np.float64)


def cut_out_and_laid(sheet: Path, gap_mm: float = 0.0) -> Array:
    """A picture of a bed of 420 mm with the four cards of a printed file in it, cut along their lines."""
    root = ET.parse(sheet).getroot()
    times = 4
    canvas = np.full((600 * times, 800 * times), 120, np.uint8)

    def fill(places_mm: Array, tone: int) -> None:
        pixels = (places_mm * [1, -1] + [400.0, 300.0] + 0.5) * times - 0.5
        cv2.fillPoly(canvas, [np.rint(pixels * 16).astype(np.int32)], tone, cv2.LINE_8, 4)

    cuts = [line for line in map(_points, root.iter(SVG + "polyline")) if len(line) == 5]
    shapes = [(_points(one), 235 if one.attrib["fill"] == "#fff" else 20) for one in root.iter(SVG + "polygon")]
    for hour, cut in zip((12, 3, 6, 9), cuts, strict=True):
        middle, half = cut[:2].mean(axis=0), np.ptp(cut[:, 0]) / 2
        angle = np.radians(30 * hour)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        out = np.sqrt(210.0**2 - half**2) - (gap_mm if hour == 3 else 0.0)

        def lay(corners: Array, middle: Array = middle, turn: Array = turn, out: float = out) -> Array:
            return np.asarray(((corners - middle) * [1, -1] + [0.0, out]) @ turn)

        fill(lay(cut[:4]), 235)
        for corners, tone in shapes:
            if (corners.min(axis=0) >= cut.min(axis=0)).all() and (corners.max(axis=0) <= cut.max(axis=0)).all():
                fill(lay(corners), tone)
    small = cv2.resize(cv2.GaussianBlur(canvas, (0, 0), 3.0), (800, 600), interpolation=cv2.INTER_AREA)
    return np.asarray(small)


@pytest.fixture(scope="module")
def sheet(run: Run, bed: Path, folder: Path) -> Path:
    path = folder / "cards.svg"
    ran = run("sheet", "--bed", bed, "--out", path)
    assert ran.status == 0, ran
    assert str(path) in ran.out
    assert ran.err == ""
    return path


@pytest.fixture(scope="module")
def photo(sheet: Path, folder: Path) -> Path:
    path = folder / "cards_in_the_bed.png"
    cv2.imwrite(str(path), cut_out_and_laid(sheet))
    return path


def test_what_is_printed_cut_out_and_laid_in_is_found(run: Run, photo: Path, bed: Path, folder: Path) -> None:
    out = folder / "by_cards.aim.toml"
    ran = run("aim", photo, "--bed", bed, "--out", out, "--json", "--marks", "--marks-below-rim", "80 mm")
    assert ran.status == 0, ran
    found = ran.objects[0]
    assert "bed_not_found" not in {problem["problem"] for problem in found["problems"]}
    assert found["mm_per_px"] == pytest.approx(1.0, rel=0.006)
    assert found["surface"]["centre_px"] == pytest.approx([400.0, 300.0], abs=1.0)
    assert found["surface"]["axes_px"] == pytest.approx([210.0, 210.0], abs=1.2)
    assert tomllib.loads(out.read_text())["mm_per_px"] == found["mm_per_px"]


def test_a_card_off_the_wall_is_named_and_nothing_is_written(
    run: Run, sheet: Path, bed: Path, tmp_path: Path, empty: Path
) -> None:
    path = tmp_path / "off.png"
    cv2.imwrite(str(path), cut_out_and_laid(sheet, gap_mm=9.0))
    ran = run("aim", path, "--bed", bed, "--out", empty / "a.toml", "--json", "--marks", "--marks-below-rim", "80 mm")
    assert ran.status == 1
    assert ran.objects[0]["bed_to_picture"] is None
    assert "3 o'clock" in ran.err


def test_cards_asked_for_and_not_seen_are_no_bed(run: Run, clip: Path, bed: Path, empty: Path) -> None:
    ran = run("aim", clip, "--bed", bed, "--out", empty / "a.toml", "--marks", "--json")
    assert ran.status == 1
    assert [p["problem"] for p in ran.objects[0]["problems"] if p["problem"] == "bed_not_found"]
    assert "no marks" in ran.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--printed-mm", "98"), ("--printed-mm", "--marks")),
        (("--marks-below-rim", "90 mm"), ("--marks-below-rim", "--marks")),
        (("--marks", "--printed-mm", "9.8"), ("--printed-mm", "9.8", "80 to 120")),
        (("--marks", "--printed-mm", "nan"), ("--printed-mm", "nan")),
        (("--marks", "--marks-below-rim", "90"), ("--marks-below-rim", "90", "unit")),
        (("--marks", "--marks-below-rim", "-3 mm"), ("--marks-below-rim", "-3 mm", "0 mm")),
    ],
)
def test_mistakes_about_cards(
    run: Run, photo: Path, bed: Path, empty: Path, options: tuple[str, ...], words: tuple[str, ...]
) -> None:
    (line,) = run("aim", photo, "--bed", bed, "--out", empty / "a.toml", *options).mistakes
    for word in words:
        assert word in line


@pytest.mark.parametrize(
    ("name", "options", "words"),
    [
        ("cards.png", (), ("cards.png", ".pdf or .svg")),
        ("cards.pdf", ("--paper", "a9"), ("a9", "a4 or letter")),
        ("no/cards.pdf", (), ("no/cards.pdf", "folder")),
    ],
)
def test_mistakes_about_the_sheet(
    run: Run, bed: Path, empty: Path, name: str, options: tuple[str, ...], words: tuple[str, ...]
) -> None:
    (line,) = run("sheet", "--bed", bed, "--out", empty / name, *options).mistakes
    for word in words:
        assert word in line


def test_a_narrow_bed_has_no_cards(run: Run, bed: Path, tmp_path: Path, empty: Path) -> None:
    narrow = tmp_path / "narrow.toml"
    narrow.write_text(bed.read_text().replace('"420 mm"', '"150 mm"'))
    (line,) = run("sheet", "--bed", narrow, "--out", empty / "cards.pdf").mistakes
    assert "150 mm" in line


def test_a_large_bed_has_a_card_a_page(run: Run, bed: Path, tmp_path: Path) -> None:
    wide = tmp_path / "wide.toml"
    wide.write_text(bed.read_text().replace('"420 mm"', '"900 mm"'))
    assert run("sheet", "--bed", wide, "--out", tmp_path / "cards.svg", "--paper", "letter").status == 0
    assert sorted(path.name for path in tmp_path.glob("*.svg")) == [f"cards-{n}.svg" for n in (1, 2, 3, 4)]
    assert run("sheet", "--bed", wide, "--out", tmp_path / "cards.pdf").status == 0
    assert (tmp_path / "cards.pdf").read_bytes().count(b"/Type /Page ") == 4


def test_the_sheets_that_are_shipped_are_what_the_command_writes(run: Run, tmp_path: Path) -> None:
    shipped = Path(__file__).parents[2] / "calibration"
    for paper in ("a4", "letter"):
        for kind in ("pdf", "svg"):
            path = tmp_path / f"cards.{kind}"
            run("sheet", "--bed", shipped / "gate_latch.bed.toml", "--out", path, "--paper", paper)
            assert path.read_bytes() == (shipped / f"gate_latch.cards.{paper}.{kind}").read_bytes()
