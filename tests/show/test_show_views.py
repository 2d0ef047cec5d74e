"""Where readings go: a terminal that moves, or plain lines one per change."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.judge.types import HintWord, Move, Outcome, State
from bedwatch.show.look import Look, has_keys_and_screen, look_for
from bedwatch.show.plain import PlainView, plain_line

Make = Callable[..., Any]


class Stream(io.StringIO):
    """A text stream that says of itself what it is told to."""

    def __init__(self, *, terminal: bool, encoding: str = "utf-8") -> None:
        super().__init__()
        self._terminal = terminal
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return self._terminal


@pytest.mark.parametrize(
    ("kinds", "term", "sits"),
    [
        ((True, True, True), "xterm-256color", True),
        ((True, True, True), "dumb", False),
        ((False, True, True), "xterm-256color", False),
        ((True, False, True), "xterm-256color", False),
        ((True, True, False), "xterm-256color", False),
        ((True, None, True), "xterm-256color", False),
    ],
)
def test_a_screen_takes_a_terminal_for_keys_and_picture(kinds: tuple[bool | None, ...], term: str, sits: bool) -> None:
    first, *others = [None if kind is None else Stream(terminal=kind) for kind in kinds]
    assert has_keys_and_screen(first, *others, environ={"TERM": term}) is sits


@pytest.mark.parametrize(
    ("encoding", "environ", "look"),
    [
        ("utf-8", {}, Look()),
        ("utf-8", {"NO_COLOR": "1"}, Look(colour=False)),
        ("utf-8", {"NO_COLOR": ""}, Look()),
        ("cp1252", {}, Look(unicode=False)),
        ("ascii", {"NO_COLOR": "yes"}, Look(unicode=False, colour=False)),
        ("no-such-code", {}, Look(unicode=False)),
    ],
)
def test_the_look_follows_encoding_and_no_color(encoding: str, environ: dict[str, str], look: Look) -> None:
    assert look_for(Stream(terminal=True, encoding=encoding), environ) == look


def test_plain_lines_come_only_with_a_change(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed()
    first = make_reading(bed)
    line = plain_line(first)
    assert line is not None
    for part in ("12.4 s", "uneven", "63.0 ± 1.9 mm/s", "zone 3 less air", "spout", "NEXT zone 7 less air", "blurred"):
        assert part in line
    later = replace(first, time_s=20.0, bed=replace(first.bed, speed_mm_s=64.0, live=0.9))
    assert plain_line(later, first) is None
    hint = replace(first.zones[0], hint=HintWord.STIR)
    changed = plain_line(replace(later, zones=(hint, *first.zones[1:])), first)
    assert changed is not None
    assert "zones 1 4 stir" in changed
    assert "zone 3 less air" in changed
    back = plain_line(first, replace(first, zones=(hint, *first.zones[1:])))
    assert back is not None
    assert "zones 2 7 more air, zone 3 less air, zone 4 stir, zone 5 check plate, others hold" in back
    calm = plain_line(replace(first, zones=tuple(replace(zone, hint=HintWord.HOLD) for zone in first.zones)))
    assert calm is not None
    assert "all zones hold" in calm


def test_a_plain_line_says_why_there_is_no_bed_and_what_helps(round_bed: Make, know_nothing: Make) -> None:
    problem = Problem(kind=ProblemKind.BED_NOT_FOUND, advice="The bed was not found: no rim. Light the rim.")
    line = plain_line(know_nothing(round_bed(), problems=(problem,)))
    assert line is not None
    assert line.count("The bed was not found: no rim. Light the rim.") == 1


def test_speeds_over_range_are_explained_once_in_plain_lines(round_bed: Make, make_reading: Make) -> None:
    stream = Stream(terminal=False)
    reading = make_reading(round_bed())
    wild = replace(reading, bed=replace(reading.bed, speed_mm_s=114.0, speed_error_mm_s=43.0))
    with PlainView(stream, {}) as view:
        view.show(wild)
        view.show(replace(wild, problems=()))
    assert stream.getvalue().count("about 114 mm/s") == 2
    assert stream.getvalue().count("about: over range") == 1


def test_reasons_stand_under_a_line_when_asked_for(round_bed: Make, make_reading: Make, know_nothing: Make) -> None:
    stream = Stream(terminal=False)
    reading = make_reading(round_bed())
    with PlainView(stream, {}, reasons=True) as view:
        view.show(reading)
        view.show(replace(reading, time_s=99.0))  # nothing new: no line, no reasons
    said = stream.getvalue()
    for zone in reading.zones:
        assert said.count(f"Zone {zone.zone}: ") == 2, "once under the first line, once under the last reading"
        assert zone.because in said
    waiting = Stream(terminal=False)
    with PlainView(waiting, {}, reasons=True) as view:
        view.show(know_nothing(round_bed(), state=State.BLOCKED))
    assert "Zone 1" not in waiting.getvalue()  # of every zone only that nothing is known


def test_each_part_of_the_gist_is_a_change(round_bed: Make, make_reading: Make) -> None:
    first = make_reading(round_bed())
    for other in (
        replace(first, state=State.BLOCKED),
        replace(first, bed=replace(first.bed, verdict=None)),
        replace(first, faults=()),
        replace(first, next=None, outcome=Outcome.EVEN),
        replace(first, next=Move(zone="7", do=HintWord.LESS_AIR, amount=0.25, because="")),
        replace(first, problems=()),
    ):
        line = plain_line(other, first)
        assert line is not None
        assert "\n" not in line


@pytest.mark.parametrize("state", list(State))
def test_a_plain_line_with_nothing_known(round_bed: Make, know_nothing: Make, state: State) -> None:
    line = plain_line(know_nothing(round_bed(), state=state))
    assert line is not None
    assert ("can't tell" in line) == (state is State.READING)
    assert " 0 %" not in line


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "ascii"])
def test_plain_lines_go_through_any_encoding(round_bed: Make, make_reading: Make, encoding: str) -> None:
    bed: Bed = round_bed(1, names=("Süd\x1b[2J\n北",))
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    with PlainView(stream, {}) as view:
        view.show(make_reading(bed, next=Move(zone=bed.zones[0].name, do=HintWord.STIR, amount=None, because="")))
        view.note("packet 3 is damaged")
    stream.flush()
    written = stream.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]
    assert "\x1b" not in written
    assert len(written.splitlines()) == 3


def test_plain_lines_end_with_the_last_reading(round_bed: Make, make_reading: Make) -> None:
    stream = Stream(terminal=False)
    reading = make_reading(round_bed())
    with PlainView(stream, {}) as view:
        for time_s in (1.0, 2.0, 3.0):
            view.show(replace(reading, time_s=time_s))
    lines = stream.getvalue().splitlines()
    assert [line.split()[0] for line in lines[1:]] == ["1.0", "3.0"]
