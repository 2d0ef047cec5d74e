"""The picture for people: whole in every state, at every size, with and without colour, in ASCII too."""

from __future__ import annotations

import io
import itertools
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.judge.types import Fault, FaultKind, HintWord, Move, Outcome, State, Verdict
from bedwatch.show.bed_map import bed_map
from bedwatch.show.look import Look
from bedwatch.show.parts import CAUTIONS, bed_line, cautions, faults_list, header, problems_list, zone_table
from bedwatch.show.scale import ink_on, live_colour
from bedwatch.show.screen import screen
from bedwatch.show.words import HINTS

Make = Callable[..., Any]

LOOKS = [Look(), Look(colour=False), Look(unicode=False), Look(unicode=False, colour=False)]
LAYOUTS = [(1,), (2,), (1, 6), (1, 4, 8), (1, 5, 10)]


def rows_of(text: Text) -> list[str]:
    return text.plain.split("\n")


def fits(text: Text, width: int, height: int) -> None:
    rows = rows_of(text)
    assert len(rows) <= height
    assert max(cell_len(row) for row in rows) <= width


def told(text: Text) -> str:
    """The words run together, whatever the lines they were broken over."""
    return " ".join(text.plain.split())


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("rings", LAYOUTS)
def test_every_zone_is_on_80_by_24_with_hint_live_share_and_speed(
    round_bed: Make, make_reading: Make, look: Look, rings: tuple[int, ...]
) -> None:
    bed: Bed = round_bed(*rings)
    reading = make_reading(bed)
    drawn = screen(reading, bed, look)
    fits(drawn, 80, 24)
    words = told(drawn)
    for row in (reading.bed, *reading.zones):
        error = row.speed_error_mm_s
        figures = f"{row.speed_mm_s:.0f}" if error >= 5 else f"{row.speed_mm_s:.1f}"
        assert figures in words
        assert f"{round(100 * row.live)} %" in words
    assert "Not a safety device" in words
    assert "blurred" in words


@pytest.mark.parametrize("state", list(State))
@pytest.mark.parametrize("outcome", list(Outcome))
@pytest.mark.parametrize("look", LOOKS)
def test_every_state_and_outcome_with_nothing_known(
    round_bed: Make, know_nothing: Make, state: State, outcome: Outcome, look: Look
) -> None:
    bed: Bed = round_bed()
    for size in ((80, 24), (200, 60)):
        drawn = screen(know_nothing(bed, state=state, outcome=outcome), bed, look, width=size[0], height=size[1])
        fits(drawn, *size)
        assert told(drawn).count("can't tell") >= 2 * len(bed.zones) + 4
        assert " 0 %" not in drawn.plain
        assert "0.0 " not in drawn.plain.partition("\n")[2]


@pytest.mark.parametrize("size", [(80, 24), (81, 25), (100, 30), (120, 40), (150, 36), (250, 70), (60, 18), (20, 5)])
@pytest.mark.parametrize("shape", ["round", "trough"])
def test_any_size_fits(round_bed: Make, trough: Make, make_reading: Make, size: tuple[int, int], shape: str) -> None:
    bed: Bed = round_bed(1, 6) if shape == "round" else trough(2, 3, 300.0, 900.0)
    for look in LOOKS:
        drawn = screen(make_reading(bed), bed, look, width=size[0], height=size[1], duration_s=30.0)
        fits(drawn, *size)


@pytest.mark.parametrize(
    ("size", "caution"), [((60, 18), "Dust can explode, hot parts burn."), ((40, 12), "No safety")]
)
def test_a_small_screen_keeps_the_zone_of_the_move_and_a_whole_caution(
    round_bed: Make, make_reading: Make, size: tuple[int, int], caution: str
) -> None:
    bed: Bed = round_bed()
    reading = make_reading(bed, next=Move(zone="6", do=HintWord.LESS_AIR, amount=0.5, because="It is the richest."))
    rows = rows_of(screen(reading, bed, Look(), width=size[0], height=size[1]))
    assert caution in rows[-1]
    assert "…" not in rows[-1]
    assert any(row.startswith("6 ") or "  6    " in row for row in rows)


def test_reasons_stand_whole_on_120_by_40(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed()
    why = "Only 12 % of its middle moves, which is less than half of it; at its border it is neighbours' air."
    reading = make_reading(bed)
    hints = [HintWord.HOLD] * 4 + [HintWord.MORE_AIR, HintWord.HOLD, HintWord.LESS_AIR]
    zones = tuple(replace(zone, because=why, hint=hint) for zone, hint in zip(reading.zones, hints, strict=True))
    rows = rows_of(screen(replace(reading, zones=zones), bed, Look(), width=120, height=40))
    (heading,) = (i for i, row in enumerate(rows) if "because" in row)
    column = rows[heading].index("because")
    for name in "57":
        (start,) = (i for i, row in enumerate(rows) if row[:column].rstrip().endswith(" air") and f" {name}  " in row)
        assert " ".join(row[column:].strip() for row in rows[start : start + 4]).startswith(why)


@pytest.mark.parametrize("look", LOOKS)
def test_the_maps_fill_is_explained(round_bed: Make, make_reading: Make, look: Look) -> None:
    bed: Bed = round_bed()
    words = told(screen(make_reading(bed), bed, look, width=120, height=40))
    assert ("bright moves" in words) == (look.colour and look.unicode)
    if not (look.colour and look.unicode):
        assert f"{look.fills[3] * 2} moves, {look.fills[0] * 2} still" in words


@pytest.mark.parametrize("look", LOOKS)
def test_waiting_shows_one_question_mark_a_zone_and_the_outline(
    round_bed: Make, know_nothing: Make, look: Look
) -> None:
    bed: Bed = round_bed()
    lines = bed_map(know_nothing(bed, state=State.SETTLING), bed, look, rows=12, columns=24)
    drawn = "".join(line.plain for line in lines)
    assert drawn.count("?") == len(bed.zones)
    assert sum(ch in "█▀▄o" for ch in drawn) > 30


def test_a_speed_over_range_has_its_key(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed()
    reading = make_reading(bed)
    wild = replace(reading.zones[0], speed_mm_s=114.0, speed_error_mm_s=43.0)
    words = told(screen(replace(reading, zones=(wild, *reading.zones[1:])), bed, Look()))
    assert "about 114" in words
    assert "about: over range" in words
    assert "about:" not in told(screen(reading, bed, Look()))


def test_before_the_first_reading_all_cautions_are_read(round_bed: Make) -> None:
    drawn = screen(None, round_bed(), Look())
    fits(drawn, 80, 24)
    for caution in CAUTIONS:
        assert caution in told(drawn)


def test_the_cautions_say_what_they_must() -> None:
    words = " ".join(CAUTIONS).lower()
    for must in (
        "explode",
        "breathed",
        "burn",
        "local codes",
        "safety data sheet",
        "licensed",
        "ignition",
        "grounding",
        "among other things",
    ):
        assert must in words
    assert "not a safety device" in words
    assert len(cautions(Look(), width=120)) <= 5


@pytest.mark.parametrize(
    "name", ["[bold]x[/bold]", "[red]", "a" * 90, "zinc\x1b[2Jred", "two\nlines", "北西の区画", "Ωmega·½", "\ud800"]
)
def test_any_name_is_shown_literally_and_keeps_the_frame(round_bed: Make, make_reading: Make, name: str) -> None:
    bed: Bed = round_bed(1, 1, names=(name, "7"), name=name)
    reading = make_reading(bed, next=Move(zone=name, do=HintWord.STIR, amount=None, because=name))
    reading = replace(reading, problems=(Problem(kind=ProblemKind.DARK, advice=name),))
    for look in LOOKS:
        drawn = screen(reading, bed, look, notes=(name,))
        fits(drawn, 80, 24)
        assert "\x1b" not in drawn.plain
        if len(name) < 20 and name.isascii() and name.isprintable():
            assert drawn.plain.count(name) >= 5
        if not look.unicode:
            drawn.plain.encode("ascii")
        out = io.StringIO()
        Console(file=out, force_terminal=True, width=80, color_system=None).print(drawn)
        assert [row.rstrip() for row in out.getvalue().split("\n")[: len(rows_of(drawn))]] == [
            row.rstrip() for row in rows_of(drawn)
        ]


@pytest.mark.parametrize("look", LOOKS)
def test_without_colour_the_map_still_tells_hints_and_live_shares_apart(
    round_bed: Make, make_reading: Make, look: Look
) -> None:
    bed: Bed = round_bed()
    seen = set()
    for hint in HintWord:
        reading = make_reading(bed, faults=())
        reading = replace(reading, zones=tuple(replace(zone, hint=hint, live=0.5) for zone in reading.zones))
        seen.add("\n".join(line.plain for line in bed_map(reading, bed, look, rows=12, columns=24)))
    assert len(seen) == len(HintWord)
    shown = set()
    for live in (None, 0.0, 0.3, 0.6, 1.0):
        reading = make_reading(bed, faults=())
        reading = replace(reading, zones=tuple(replace(zone, live=live) for zone in reading.zones))
        shown.add("\n".join(line.plain for line in bed_map(reading, bed, look, rows=12, columns=24)))
    assert len(shown) == 5


def test_a_mark_is_one_character_and_no_two_are_alike() -> None:
    for look in LOOKS:
        marks = [look.mark(hint) for hint in HintWord] + [look.fault_mark(kind) for kind in FaultKind]
        assert all(cell_len(mark) == 1 for mark in marks)
        assert len(set(marks)) == len(marks)
        words = "".join([*HINTS.values(), "0123456789%"])
        assert not any(look.fault_mark(kind) in words for kind in FaultKind)


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize(
    ("x_mm", "y_mm", "side"),
    [
        (120.0, 120.0, "upper right"),
        (-120.0, 120.0, "upper left"),
        (120.0, -120.0, "lower right"),
        (-120.0, -120.0, "lower left"),
    ],
)
def test_a_fault_is_drawn_at_its_place(
    round_bed: Make, make_reading: Make, look: Look, x_mm: float, y_mm: float, side: str
) -> None:
    bed: Bed = round_bed(1)
    fault = Fault(kind=FaultKind.DEAD_SPOT, zone="1", x_mm=x_mm, y_mm=y_mm, area_mm2=500.0, since_s=1.0)
    lines = [line.plain for line in bed_map(make_reading(bed, faults=(fault,)), bed, look, rows=20, columns=40)]
    places = [
        (row, line.index(look.fault_mark(fault.kind)))
        for row, line in enumerate(lines)
        if look.fault_mark(fault.kind) in line
    ]
    ((row, column),) = places
    assert ("upper" if row < len(lines) / 2 else "lower") + (" right" if column >= 20 else " left") == side


def test_a_fault_without_a_place_is_listed_but_not_drawn(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed(1)
    nan = float("nan")
    fault = Fault(kind=FaultKind.RIM_LEAK, zone="1", x_mm=nan, y_mm=nan, area_mm2=nan, since_s=nan)
    reading = make_reading(bed, faults=(fault,))
    assert not any("◆" in line.plain for line in bed_map(reading, bed, Look(), rows=20, columns=40))
    (line,) = faults_list(reading, Look(), width=100, rows=3)
    assert line.plain.count("can't tell") == 3


def test_zones_lie_where_they_are(trough: Make, make_reading: Make) -> None:
    bed: Bed = trough(2, 2)
    lines = [line.plain for line in bed_map(make_reading(bed), bed, Look(unicode=False), rows=12, columns=48)]
    at = {
        name: next((r, line.index(f"{name} ")) for r, line in enumerate(lines) if f" {name} " in line)
        for name in "1234"
    }
    assert at["1"][0] == at["2"][0] < at["3"][0] == at["4"][0]
    assert at["1"][1] == at["3"][1] < at["2"][1] == at["4"][1]


def test_a_wide_table_says_why(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed()
    lines = zone_table(make_reading(bed), bed, Look(), width=110, rows=20)
    for i, line in enumerate(lines[1:]):
        assert f"Evidence of zone number {i}." in line.plain


def test_a_table_with_too_few_rows_keeps_the_zones_that_want_something(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed(1, 5, 10)
    reading = make_reading(bed)
    zones = tuple(
        replace(zone, hint=HintWord.MORE_AIR if zone.zone == "13" else HintWord.HOLD) for zone in reading.zones
    )
    lines = zone_table(replace(reading, zones=zones), bed, Look(), width=54, rows=5)
    assert len(lines) == 5
    assert any(line.plain.startswith("13") and "▲" in line.plain for line in lines)
    assert lines[-1].plain == "and 13 more zones"


def test_long_names_get_letters_that_stand_in_map_and_table(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed(1, 2, names=("centre disc", "west crescent", "east crescent"))
    drawn = screen(make_reading(bed), bed, Look(colour=False), width=120, height=30)
    for tag, zone in zip("abc", bed.zones, strict=True):
        assert f"{tag} {zone.name}" in drawn.plain
        assert any(f"{tag} {mark}" in drawn.plain for mark in "=▲▼")


def test_problems_and_notes_that_do_not_fit_are_counted(round_bed: Make, make_reading: Make) -> None:
    problems = tuple(Problem(kind=kind, advice="Do something.") for kind in ProblemKind)
    reading = make_reading(round_bed(), problems=problems)
    lines = problems_list(reading, Look(), width=80, rows=4, notes=("packet 3 is damaged",))
    assert len(lines) == 4
    assert lines[-1].plain == f"+ {len(problems) + 1 - 3} more lines: X tells them"
    assert problems_list(reading, Look(), width=80, rows=0) == []


def test_what_a_key_came_to_is_read_whole_before_what_ails_the_picture(round_bed: Make, make_reading: Make) -> None:
    problems = tuple(Problem(kind=kind, advice="Do something.") for kind in ProblemKind)
    reading = make_reading(round_bed(), problems=problems)
    answer = (
        "The aim is kept in a.file.with.a.long.name.toml, and holds the next time too; look at the picture beside it."
    )
    drawn = screen(reading, round_bed(), Look(), width=80, height=24, notes=("older", answer)).plain
    assert answer in " ".join(drawn.replace("! ", "").split())
    assert problems_list(reading, Look(), width=80, rows=0, answer=answer) == []


def test_the_bed_line_has_units_and_error(round_bed: Make, make_reading: Make) -> None:
    line = bed_line(make_reading(round_bed()), Look(), width=80).plain
    assert line == "Bed: uneven · evenness 0.71 · live 86 % · 63.0 ± 1.9 mm/s"
    reading = make_reading(round_bed())
    reading = replace(reading, bed=replace(reading.bed, speed_error_mm_s=None, verdict=Verdict.STILL))
    assert bed_line(reading, Look(unicode=False), width=80).plain.endswith("63.0 +/- ? mm/s")


def test_progress_of_a_file_and_none_of_a_camera(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed()
    reading = make_reading(bed, time_s=15.0)
    assert header(reading, bed, Look(), width=80, duration_s=60.0).plain.endswith("25 %")
    assert header(reading, bed, Look(), width=80).plain.endswith("15.0 s")
    assert header(reading, bed, Look(), width=80, duration_s=float("nan")).plain.endswith("15.0 s")


def test_the_live_scale_grows_lighter_all_the_way_and_ink_reads_on_it() -> None:
    def luminance(colour: tuple[int, int, int]) -> float:
        # relative luminance of sRGB, IEC 61966-2-1 and ITU-R BT.709
        r, g, b = (c / 3294.6 if c <= 10 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in colour)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    colours = [live_colour(i / 50) for i in range(51)]
    bright = [luminance(colour) for colour in colours]
    assert all(b > a for a, b in itertools.pairwise(bright))
    for colour, light in zip(colours, bright, strict=True):
        low, high = sorted((light, luminance(ink_on(colour))))
        assert (high + 0.05) / (low + 0.05) >= 4.5  # WCAG 2.1, contrast (minimum) for text
    assert live_colour(-1.0) == live_colour(0.0)
    assert live_colour(7.0) == live_colour(1.0)


def test_importing_the_room_loads_no_picture_library() -> None:
    code = (
        "import sys, bedwatch.show;"
        "print([m for m in ('cv2', 'skimage', 'scipy', 'matplotlib', 'textual') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
