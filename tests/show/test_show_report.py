"""The report page: everything in one file, nothing told that is not known, words from outside made harmless."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from html.parser import HTMLParser
from typing import Any

import pytest

from bedwatch.bed import Bed
from bedwatch.judge.setting import Setting
from bedwatch.judge.steady import mean_of
from bedwatch.judge.types import Reading
from bedwatch.keep.setting_of import setting_of
from bedwatch.show.report import Sheet, report_page
from bedwatch.show.trend import trends_of

MakeBed = Callable[..., Bed]
MakeReading = Callable[..., Reading]
MADE = datetime(2026, 1, 31, 14, 5, tzinfo=UTC)


@pytest.fixture
def sheet_of(make_reading: MakeReading) -> Callable[..., Sheet]:
    def make(bed: Bed, **changes: Any) -> Sheet:
        readings = [make_reading(bed, time_s=8.0 + 0.8 * step) for step in range(6)]
        steady = mean_of(readings)
        assert steady is not None
        setting = setting_of(steady, bed, name="Tuesday", saved=MADE, version="0.1.0", source="clip.mp4")
        return Sheet(setting=replace(setting, **changes), readings=readings, moves=(3,), move=readings[-1].next)

    return make


class _Tags(HTMLParser):
    """Checks that elements close in order, and keeps what they point at."""

    VOID = frozenset({"meta", "link", "br", "image", "path", "polygon", "circle", "rect", "polyline"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []
        self.seen: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href", "xlink:href", "action")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags(page: str) -> _Tags:
    found = _Tags()
    found.feed(page)
    assert found.open == []
    return found


def words(page: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)))


@pytest.mark.parametrize("rings", [(1,), (1, 6), (1, 6, 12)])
def test_it_is_whole_and_alone(round_bed: MakeBed, sheet_of: Callable[..., Sheet], rings: tuple[int, ...]) -> None:
    bed = round_bed(*rings)
    sheet = replace(sheet_of(bed), picture=b"\xff\xd8\xff jpeg")
    page = report_page(sheet, bed, made=MADE, version="0.1.0")
    found = tags(page)
    assert found.links
    assert all(link.startswith("data:") for link in found.links)
    assert not found.seen & {"script", "iframe", "object", "form"}
    assert "url(http" not in page
    assert "@import" not in page
    assert len(page) < 1_500_000


def test_it_says_what_is_known(round_bed: MakeBed, sheet_of: Callable[..., Sheet]) -> None:
    bed = round_bed()
    said = words(report_page(sheet_of(bed), bed, made=MADE, version="0.1.0"))
    assert "Uneven: zones 2 and 7 want more air, zone 3 wants less air, zone 4 wants stirring" in said
    assert re.search(r"wants stirring[^;.]*; [^.]*spout in zone 1", said)
    assert "66.1 ± 3.0" in said  # 4 % of it, and what one window differs from the next by
    assert "Close zone 7" in said
    assert "blurred: Edges are 4.1 px wide" in said
    assert "No valve's place was written down." in said
    assert "There is no picture" in said
    assert "explode" in said


def test_no_mark_of_a_fault_lies_on_the_words(round_bed: MakeBed, sheet_of: Callable[..., Sheet]) -> None:
    bed = round_bed()
    page = report_page(sheet_of(bed), bed, made=MADE, version="0.1.0")
    assert page.rindex('stroke-width="3"') < page.index('<g text-anchor="middle">')  # the outline of a fault's mark


def test_what_is_unknown_is_not_a_number(
    round_bed: MakeBed, know_nothing: MakeReading, make_reading: MakeReading
) -> None:
    bed = round_bed()
    good = make_reading(bed)
    lost = know_nothing(bed, time_s=9.0, state=good.state)
    steady = mean_of([lost])
    assert steady is not None
    setting = setting_of(steady, bed, name="Tuesday", saved=MADE, version="0.1.0", source="clip.mp4")
    said = words(report_page(Sheet(setting=setting), bed, made=MADE, version="0.1.0"))
    assert "nan" not in said.casefold()
    assert "None" not in said.replace("None seen.", "")
    assert "0 mm/s" not in said
    assert "Nothing could be told of zones 1, 2, 3, 4, 5, 6 and 7." in said
    assert "The way here" not in said


def test_words_from_outside_are_harmless(round_bed: MakeBed, sheet_of: Callable[..., Sheet]) -> None:
    nasty = '<script>alert(1)</script>"&'
    bed = round_bed(name=nasty, names=tuple(f"<b>{n}" for n in range(7)))
    page = report_page(sheet_of(bed, name=nasty, source=nasty), bed, made=MADE, version="0.1.0")
    assert "script" not in tags(page).seen
    assert "<b>0" not in page


def test_two_are_held_against_each_other(round_bed: MakeBed, sheet_of: Callable[..., Sheet]) -> None:
    bed = round_bed()
    now = sheet_of(bed)
    before: Setting = replace(now.setting, name="Monday")
    faster = replace(
        before.zones[0],
        speed_mm_s=replace(before.zones[0].speed_mm_s, value=(before.zones[0].speed_mm_s.value or 0) * 1.5),
        valve="half",
    )
    then = Sheet(setting=replace(before, zones=(faster, *before.zones[1:])), saved=True)
    page = report_page(now, bed, made=MADE, version="0.1.0", then=then)
    tags(page)
    said = words(page)
    assert "Held against “Monday”" in said
    assert "▼ quieter" in said
    assert "-33 ±" in said
    assert "half" in said
    with pytest.raises(ValueError, match="other zones"):
        report_page(now, round_bed(1, 5), made=MADE, version="0.1.0", then=then)


def test_rectangular_beds_and_many_zones(trough: MakeBed, sheet_of: Callable[..., Sheet]) -> None:
    bed = trough(4, 8)
    page = report_page(sheet_of(bed), bed, made=MADE, version="0.1.0")
    tags(page)
    assert "16 more zones are left out" in words(page)


def test_curves_leave_gaps_where_nothing_is_known(
    round_bed: MakeBed, make_reading: MakeReading, know_nothing: MakeReading
) -> None:
    bed = round_bed()
    readings = [make_reading(bed, time_s=float(t)) for t in range(4)]
    readings += [know_nothing(bed, time_s=4.0), *(make_reading(bed, time_s=5.0 + t) for t in range(4))]
    found = trends_of(readings)
    assert found is not None
    solid = re.findall(r'd="([^"]*)" stroke="#111"', found.curves[1].svg)[0]
    assert solid.count("M") == 2
    assert trends_of(readings[4:5]) is None


def test_a_curve_of_an_hour_stays_small(round_bed: MakeBed, make_reading: MakeReading) -> None:
    bed = round_bed()
    readings = [make_reading(bed, time_s=0.8 * step) for step in range(4500)]
    found = trends_of(readings)
    assert found is not None
    assert sum(len(curve.svg) for curve in found.curves) < 100_000
