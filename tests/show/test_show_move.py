"""The one move to make now: its large letters and its words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Valves
from bedwatch.judge.types import Fault, FaultKind, HintWord, Move, Outcome, State, Verdict
from bedwatch.show.letters import big
from bedwatch.show.look import Look
from bedwatch.show.next_move import headlines, next_move, told
from bedwatch.show.plain import plain_line
from bedwatch.show.screen import screen
from bedwatch.show.standing import Standing
from bedwatch.show.why import why_page
from bedwatch.show.words import instruction, share, speed, travel

Make = Callable[..., Any]


def move(do: HintWord, zone: str = "4", amount: float | None = 0.5) -> Move:
    return Move(zone=zone, do=do, amount=amount, because="Because.")


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        (0.5, "about half of its travel"),
        (0.26, "about a quarter of its travel"),
        (0.33, "about a third of its travel"),
        (0.1, "about a tenth of its travel"),
        (0.42, "about 42 % of its travel"),
        (0.0, "about 1 % of its travel"),
        (1.0, "its whole travel"),
        (None, None),
        (float("nan"), None),
    ],
)
def test_amounts_are_shares_of_the_valves_travel(amount: float | None, words: str | None) -> None:
    assert travel(amount) == words


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (move(HintWord.LESS_AIR), "Close zone 4's valve by about half of its travel, wait a minute, look again."),
        (
            move(HintWord.MORE_AIR, "all", 0.25),
            "Open the supply's valve by about a quarter of its travel, wait a minute, look again.",
        ),
        (move(HintWord.MORE_AIR, amount=None), "Open zone 4's valve a little; by how much can't be told."),
    ],
)
def test_the_move_is_told_in_plain_words(what: Move, words: str) -> None:
    assert instruction(what) == words


MARKS = Valves(labels=(("3", "3"), ("4", "red tap")), reversed=frozenset({"4"}))


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (
            move(HintWord.LESS_AIR),
            "Close zone 4's valve (red tap) by about half of its travel, by its marks the opening way, wait a minute, "
            "look again.",
        ),
        (move(HintWord.LESS_AIR, "3"), "Close zone 3's valve by about half of its travel, wait a minute, look again."),
        (
            move(HintWord.MORE_AIR, "all"),
            "Open the supply's valve by about half of its travel, wait a minute, look again.",
        ),
        (
            move(HintWord.MORE_AIR, amount=None),
            "Open zone 4's valve (red tap) a little, by its marks the closing way; by how much can't be told.",
        ),
    ],
)
def test_a_valve_is_told_by_what_is_written_on_it(what: Move, words: str) -> None:
    """A label that is the zone's name says nothing more; one that turns the other way is said to."""
    assert instruction(what, MARKS) == words


def test_labels_stand_wherever_a_move_is_told(round_bed: Make, make_reading: Make) -> None:
    bed = replace(round_bed(), valves=MARKS)
    reading = replace(make_reading(bed), next=move(HintWord.LESS_AIR), outcome=Outcome.MOVING)
    line = plain_line(reading, valves=MARKS)
    assert line is not None
    assert "NEXT zone 4 (valve red tap) less air, about half of its travel, by its marks the opening way" in line
    drawn = screen(reading, bed, Look(), width=100, height=36, standing=Standing(told=reading.next, keys=True)).plain
    assert "Close zone 4's valve (red tap) by about half of its travel, by its marks the opening way" in " ".join(
        drawn.split()
    )
    assert "done as told: zone 4 (valve red tap) less air, about half of its travel" in drawn
    assert "red tap" in why_page(reading, Look(), MARKS).plain


@pytest.mark.parametrize("do", list(HintWord))
@pytest.mark.parametrize("zone", ["4", "16", "all"])
@pytest.mark.parametrize("look", [Look(), Look(unicode=False)])
def test_every_move_fits_80_cells_in_large_letters(
    round_bed: Make, make_reading: Make, do: HintWord, zone: str, look: Look
) -> None:
    reading = make_reading(round_bed(), next=move(do, zone))
    lines = [line.plain for line in next_move(reading, look, width=80)]
    letters = lines[: 4 if look.unicode else 7]
    ink = "█▀▄" if look.unicode else "#"
    assert all(set(row) <= set(ink + " ") for row in letters)
    assert sum(ch != " " for row in letters for ch in row) > 50
    assert max(len(line) for line in lines) <= 80


def test_no_two_moves_look_alike(round_bed: Make, make_reading: Make) -> None:
    seen = set()
    for do in HintWord:
        for zone in ("1", "2", "3", "4", "5", "6", "7", "8", "9", "all"):
            reading = make_reading(round_bed(), next=move(do, zone))
            seen.add("\n".join(line.plain for line in next_move(reading, Look(colour=False), width=80)[:4]))
    assert len(seen) == len(HintWord) * 10


@pytest.mark.parametrize("width", [20, 40, 80, 120, 200])
@pytest.mark.parametrize("double", [False, True])
def test_the_block_keeps_its_height_whatever_it_says(
    round_bed: Make, make_reading: Make, know_nothing: Make, width: int, double: bool
) -> None:
    bed = round_bed()
    said = [make_reading(bed, next=move(do, zone)) for do in HintWord for zone in ("4", "all", "north-west corner")]
    said += [know_nothing(bed, state=state, outcome=outcome) for state in State for outcome in Outcome]
    heights = {len(next_move(reading, Look(), width=width, double=double)) for reading in [None, *said]}
    assert len(heights) == 1


def test_a_name_too_long_for_large_letters_stands_there_in_plain_ones(round_bed: Make, make_reading: Make) -> None:
    reading = make_reading(round_bed(), next=move(HintWord.LESS_AIR, "north-west corner by the door"))
    text = "\n".join(line.plain for line in next_move(reading, Look(), width=80))
    assert "ZONE NORTH-WEST CORNER BY THE DOOR LESS AIR" in text.upper()


def test_in_a_state_without_readings_no_move_is_shown(round_bed: Make, make_reading: Make) -> None:
    bed = round_bed()
    for state in (State.SETTLING, State.BLOCKED, State.NO_PICTURE):
        reading = make_reading(bed, state=state, next=move(HintWord.LESS_AIR))
        assert "ZONE" not in headlines(reading)[0]
        assert "Close" not in told(reading)[0]


def test_no_picture_says_what_would_help(round_bed: Make, know_nothing: Make) -> None:
    dark = Problem(kind=ProblemKind.DARK, advice="Turn the lamp on.")
    reading = know_nothing(round_bed(), problems=(dark,))
    assert told(reading) == ("No picture of the bed to go by.", "Turn the lamp on.")
    assert headlines(reading)[0] == "NO PICTURE"


@pytest.mark.parametrize(
    ("kind", "large"), [(ProblemKind.BED_NOT_FOUND, "BED NOT FOUND"), (ProblemKind.BED_LOST, "BED LOST")]
)
def test_a_picture_without_the_bed_is_not_called_no_picture(
    round_bed: Make, know_nothing: Make, kind: ProblemKind, large: str
) -> None:
    advice = " ".join(["Point the camera at the bed so that all of the rim is seen, and light it from the side."] * 3)
    problems = (Problem(kind=ProblemKind.DARK, advice="Turn the lamp on."), Problem(kind=kind, advice=advice))
    reading = know_nothing(round_bed(), problems=problems)
    assert headlines(reading)[0] == large
    for width, height in ((80, 24), (120, 40), (60, 18)):
        words = " ".join(screen(reading, round_bed(), Look(), width=width, height=height).plain.split())
        assert words.count(advice) == 1
        assert words.count("Point the camera") == 3
        assert "Turn the lamp on." in words


def test_a_blocked_view_may_be_a_camera_that_moved(round_bed: Make, know_nothing: Make) -> None:
    assert "aim again" in told(know_nothing(round_bed(), state=State.BLOCKED))[1]


def test_waiting_says_how_long(round_bed: Make, know_nothing: Make) -> None:
    for reading in (None, know_nothing(round_bed(), state=State.SETTLING)):
        assert "about 8 s of picture" in " ".join(told(reading))


@pytest.mark.parametrize(
    ("kind", "large", "act"),
    [
        (FaultKind.SPOUT, "SPOUT ZONE 4", "then look again"),
        (FaultKind.DEAD_SPOT, "DEAD SPOT ZONE 4", "if it stays, check the plate"),
        (FaultKind.RIM_LEAK, "RIM LEAK ZONE 4", "plate and wall"),
    ],
)
def test_a_fault_that_is_left_is_named_with_its_act(
    round_bed: Make, make_reading: Make, kind: FaultKind, large: str, act: str
) -> None:
    bed = round_bed()
    fault = Fault(kind=kind, zone="4", x_mm=60.0, y_mm=-80.0, area_mm2=500.0, since_s=1.0)
    reading = make_reading(bed, next=None, outcome=Outcome.NOT_VALVES, faults=(fault,))
    reading = replace(reading, zones=tuple(replace(zone, hint=HintWord.HOLD) for zone in reading.zones))
    assert headlines(reading)[0] == large
    assert act in told(reading)[0]
    assert "zone 4, 5 o'clock, 100 mm out" in told(reading)[0]


def test_a_still_bed_is_asked_for_its_air_first(round_bed: Make, make_reading: Make) -> None:
    reading = make_reading(round_bed(), next=move(HintWord.MORE_AIR, "all", 0.25))
    reading = replace(reading, bed=replace(reading.bed, verdict=Verdict.STILL))
    first, then = told(reading)
    assert first.startswith("Is the air on? Try an earthed rod")
    assert "open the supply's valve by about a quarter" in then
    assert headlines(reading)[0] == "▲ SUPPLY MORE AIR"


def test_stirring_is_told_with_its_cautions() -> None:
    words = instruction(move(HintWord.STIR, amount=None))
    for must in ("earthed metal rod", "mask on", "no hot part near"):
        assert must in words


def test_when_valves_do_not_help_the_zone_says_what_does(round_bed: Make, make_reading: Make) -> None:
    reading = make_reading(round_bed(), next=None, outcome=Outcome.NOT_VALVES)
    assert told(reading)[1] == "Zone 2: Evidence of zone number 1."


def test_large_letters_are_all_different_and_refuse_what_they_have_not() -> None:
    drawn = ["\n".join(big(ch, 20, Look()) or []) for ch in "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789▲▼!=~?-_."]
    assert len(set(drawn)) == len(drawn)
    assert big("ZONE é", 200, Look()) is None
    assert big("", 200, Look()) is None
    assert big("ZONE", 10, Look()) is None


def test_figures_keep_their_error_and_never_round_to_none_or_all() -> None:
    assert speed(66.14, 2.41) == "66.1 ± 2.4"
    assert speed(180.2, 7.2) == "180 ± 7"
    assert speed(0.312, 0.051) == "0.31 ± 0.05"
    assert speed(66.1, None) == "66.1 ± ?"
    assert speed(114.0, 43.0) == "about 114"
    assert speed(114.0, 37.0) == "114 ± 37"
    assert speed(0.4, 0.3) == "0.4 ± 0.3"
    assert speed(None, 2.0) is None
    assert speed(float("nan"), 2.0) is None
    assert share(0.001) == "<1 %"
    assert share(0.9999) == ">99 %"
    assert share(0.0) == "0 %"
    assert share(float("inf")) is None
