"""What is printed is what is looked for: the files are read back as plain shapes, drawn in pixels and searched."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import FACTORS, HOURS, card
from bedwatch.aim.cards.marks_seen import marks_in
from bedwatch.aim.cards.printing import pdf, svg
from bedwatch.aim.cards.sheet import PAPERS, Paper, beds_for, pages, rectangles

Array = NDArray[Any]
Polygon = tuple[Array, bool]  # corners in mm from the upper left corner of the paper, y down; white or black
PER_MM = 6
SVG = "{http://www.w3.org/2000/svg}"


def polygons_of_svg(content: bytes) -> list[Polygon]:
    return [
        (np.array([pair.split(",") for pair in one.attrib["points"].split()], np.float64), one.attrib["fill"] == "#fff")
        for one in ET.fromstring(content).iter(SVG + "polygon")
    ]


def polygons_of_pdf(content: bytes) -> list[list[Polygon]]:
    """Per page; points of 1/72 inch with y up are turned to millimetres by the page's own matrix."""
    sides = [float(side) for side in re.findall(rb"MediaBox \[0 0 [0-9.]+ ([0-9.]+)\]", content)]
    out = []
    for height, stream in zip(sides, re.findall(rb"stream\n(.*?)\nendstream", content, re.S), strict=True):
        scale = float(stream.split()[0]) * 25.4 / 72
        page = []
        for tone, path in re.findall(r"^([01]) g (.*) h f$", stream.decode(), re.M):
            corners = np.array(re.findall(r"([-0-9.]+) ([-0-9.]+) [ml]", path), np.float64) * scale
            page.append((np.column_stack([corners[:, 0], height * 25.4 / 72 - corners[:, 1]]), tone == "1"))
        out.append(page)
    return out


def printed(polygons: list[Polygon], paper: Paper) -> Array:
    """The page in pixels, PER_MM a millimetre, grey."""
    width, height = (round(side * PER_MM) for side in PAPERS[paper])
    sheet = np.full((height, width), 255, np.uint8)
    for corners, white in polygons:
        fixed = np.rint((corners * PER_MM - 0.5) * 64).astype(np.int32)
        cv2.fillPoly(sheet, [fixed], 255 if white else 0, cv2.LINE_AA, 6)
    return cv2.GaussianBlur(sheet, (0, 0), 1.5)


def check_marks(sheet: Array, edges: dict[int, Array], factor: float) -> None:
    """Every mark is read and lies where its card says. edges: hour -> middle of the wall edge on the page, mm."""
    found = marks_in(sheet.astype(np.float32))
    wanted = {mark: (hour, k) for hour in edges for k, mark in enumerate(card(factor, hour).ids)}
    assert set(found) == set(wanted)
    for mark, (hour, k) in wanted.items():
        places = edges[hour] + card(factor, hour).corners_mm[k] * [1, -1]
        # drawing thickens outlines by up to a pixel, a sixth of a millimetre
        assert np.abs((found[mark] + 0.5) / PER_MM - places).max() < 0.2


def wall_edges(content: bytes) -> list[Array]:
    """Middles of the upper edges of the cut lines, in order, from the SVG."""
    lines = [
        np.array([pair.split(",") for pair in one.attrib["points"].split()], np.float64)
        for one in ET.fromstring(content).iter(SVG + "polyline")
    ]
    return [line[:2].mean(axis=0) for line in lines if len(line) == 5]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_svg_holds_the_marks_true_to_scale(paper: Paper) -> None:
    content = svg(pages(1.0, paper)[0])
    root = ET.fromstring(content)
    width, height = PAPERS[paper]
    assert (root.attrib["width"], root.attrib["height"]) == (f"{width:g}mm", f"{height:g}mm")
    assert root.attrib["viewBox"] == f"0 0 {width:g} {height:g}"
    edges = dict(zip(HOURS, wall_edges(content), strict=True))
    check_marks(printed(polygons_of_svg(content), paper), edges, 1.0)


@pytest.mark.parametrize("factor", [0.7, 1.4])
def test_the_pdf_holds_the_same_marks(factor: float) -> None:
    made = pages(factor, "letter")
    edges = [edge for page in made for edge in wall_edges(svg(page))]
    drawn = polygons_of_pdf(pdf(made))
    assert len(drawn) == (1 if factor < 1 else 4)
    if len(drawn) == 1:
        check_marks(printed(drawn[0], "letter"), dict(zip(HOURS, edges, strict=True)), factor)
    else:
        for hour, edge, one in zip(HOURS, edges, drawn, strict=True):
            check_marks(printed(one, "letter"), {hour: edge}, factor)


def test_opencv_reads_the_print_without_us() -> None:
    sheet = printed(polygons_of_svg(svg(pages(1.0, "a4")[0])), "a4")
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    _, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(sheet)
    assert set(np.ravel(ids)) == {mark for hour in HOURS for mark in card(1.0, hour).ids}


@pytest.mark.parametrize("factor", FACTORS)
@pytest.mark.parametrize("paper", PAPERS)
def test_all_lies_on_the_part_of_the_paper_that_printers_reach(factor: float, paper: Paper) -> None:
    width, height = PAPERS[paper]
    for page in pages(factor, paper):
        places = np.vstack([*(s.corners_mm for s in page.shapes), *(s.places_mm for s in page.strokes)])
        places = np.vstack([places, [words.at_mm for words in page.words]])
        assert places.min() >= 5.0
        assert (places <= [width - 5.0, height - 5.0]).all()
        for words in page.words:  # letters of Helvetica are about half as wide as high
            assert (
                words.at_mm[0] + 0.53 * words.size_mm * len(words.text) * (0.5 if words.centred else 1) <= width - 5.0
            )


@pytest.mark.parametrize("paper", PAPERS)
def test_no_line_of_words_runs_into_a_card(paper: Paper) -> None:
    page = pages(1.0, paper)[0]
    cuts = np.vstack([stroke.places_mm for stroke in page.strokes if len(stroke.places_mm) == 5])
    for words in page.words:
        if not words.centred:
            y = words.at_mm[1]
            assert y < cuts[:, 1].min() or y - words.size_mm > cuts[:, 1].max()


def test_the_rule_is_100_mm_long() -> None:
    for factor in FACTORS:
        for page in pages(factor, "a4"):
            upright = [s.places_mm for s in page.strokes if len(s.places_mm) == 2 and np.ptp(s.places_mm[:, 0]) == 0]
            assert [np.ptp(line[:, 1]) for line in upright] == [pytest.approx(100.0)]


def test_the_words_warn_and_name_the_hours() -> None:
    text = " ".join(words.text for page in pages(2.0, "a4") for words in page.words)
    for word in ("actual size", "Air off", "explode", "safety data sheet", "12", "wall"):
        assert word in text


def test_the_pdf_is_whole() -> None:
    """Every entry of its table points at its object, and the page has A4's size in points (210 x 297 mm)."""
    content = pdf(pages(1.0, "a4"))
    start = int(re.search(rb"startxref\n(\d+)\n%%EOF\n$", content)[1])  # type: ignore[index]
    assert content[start:].startswith(b"xref\n")
    places = [int(place) for place in re.findall(rb"^(\d{10}) 00000 n $", content, re.M)]
    assert len(places) == 5
    for number, place in enumerate(places, start=1):
        assert content[place:].startswith(b"%d 0 obj\n" % number)
    for length, stream in re.findall(rb"/Length (\d+) >>\nstream\n(.*?)\nendstream", content, re.S):
        assert int(length) == len(stream)
    assert b"/MediaBox [0 0 595.276 841.890]" in content
    assert b"/PrintScaling /None" in content


def test_rectangles_cover_each_white_module_once() -> None:
    white = np.random.default_rng(3).random((7, 7)) < 0.5
    covered = np.zeros((7, 7), int)
    for row, column, rows, columns in rectangles(white):
        covered[row : row + rows, column : column + columns] += 1
    assert (covered == white).all()


def test_sizes_follow_each_other_without_a_gap() -> None:
    for small, large in itertools.pairwise(FACTORS):
        assert re.findall(r"\d+", beds_for(small))[1] == re.findall(r"\d+", beds_for(large))[0]
