"""The one move to make now, and where the tuning stands."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from bedwatch.judge.types import ALL_ZONES, HintWord, Outcome, Verdict

if TYPE_CHECKING:
    from conftest import Table


def looks(**at: str) -> list[str]:
    """Seven gentle zones but for those named z1 ... z7."""
    return [at.get(f"z{number}", "gentle") for number in range(1, 8)]


def test_all_alike_is_a_matter_of_the_supply(seven: Table) -> None:
    for look, do in (("still", HintWord.MORE_AIR), ("poor", HintWord.MORE_AIR), ("violent", HintWord.LESS_AIR)):
        move = seven.read(look).next
        assert move is not None
        assert (move.zone, move.do) == (ALL_ZONES, do)


def test_a_dead_bed_asks_for_a_bigger_step_than_a_poor_one(seven: Table) -> None:
    still, poor = (seven.read(look).next for look in ("still", "poor"))
    assert still is not None
    assert poor is not None
    assert still.amount is not None
    assert poor.amount is not None
    assert still.amount > poor.amount


def test_the_richest_zone_comes_first(seven: Table) -> None:
    """On a shared supply closing the richest feeds the poor ones (common practice of air balancing)."""
    move = seven.read(*looks(z2="still", z4="violent", z6="boiling")).next
    assert move is not None
    assert (move.zone, move.do) == ("6", HintWord.LESS_AIR)
    move = seven.read(*looks(z2="still", z4="violent")).next
    assert move is not None
    assert (move.zone, move.do) == ("4", HintWord.LESS_AIR)


def test_without_a_rich_zone_the_poorest_gets_air(seven: Table) -> None:
    move = seven.read(*looks(z3="poor", z5="still")).next
    assert move is not None
    assert (move.zone, move.do) == ("5", HintWord.MORE_AIR)


def test_most_zones_alike_are_a_matter_of_the_supply(seven: Table) -> None:
    """One move for all and one for the odd zone are fewer than one for each of six."""
    move = seven.read(*["violent"] * 6, "gentle").next
    assert move is not None
    assert (move.zone, move.do) == (ALL_ZONES, HintWord.LESS_AIR)
    move = seven.read("violent", "violent", *["gentle"] * 5).next
    assert move is not None
    assert move.zone != ALL_ZONES


def test_a_single_zone_has_a_name_not_all(one: Table) -> None:
    """With one zone its valve and the supply are one and the same; the move names the zone, which exists for sure."""
    for look, do in (("still", HintWord.MORE_AIR), ("violent", HintWord.LESS_AIR)):
        move = one.read(look).next
        assert move is not None
        assert (move.zone, move.do) == ("1", do)
    assert one.read("gentle").next is None
    assert one.read("gentle").outcome is Outcome.EVEN


def test_zones_that_cannot_be_judged_are_left_alone(seven: Table) -> None:
    move = seven.read(*looks(z1="unknown", z4="violent")).next
    assert move is not None
    assert move.zone == "4"
    assert seven.read("unknown").next is None
    # Six of seven starved and one not known: those that are known want the same.
    move = seven.read("unknown", *["still"] * 6).next
    assert move is not None
    assert (move.zone, move.do) == (ALL_ZONES, HintWord.MORE_AIR)


@pytest.mark.parametrize(
    "zones", [looks(z4="violent"), looks(z5="still"), ["still"] * 7, ["violent"] * 7, looks(z2="poor", z3="boiling")]
)
def test_a_move_is_complete(seven: Table, zones: list[str]) -> None:
    move = seven.read(*zones).next
    assert move is not None
    assert move.amount is not None
    assert 0 < move.amount <= 1  # a share of the valve's travel
    assert move.do not in (HintWord.HOLD, HintWord.WAIT)
    assert move.because.endswith(".")
    assert "\n" not in move.because
    assert re.search(r"\d", move.because), move.because  # the zone or the figure it rests on


@pytest.mark.parametrize(
    ("zones", "verdict"),
    [
        (["gentle"] * 7, Verdict.EVEN),
        (["still"] * 7, Verdict.STILL),
        (["violent"] * 7, Verdict.VIOLENT),
        (looks(z4="violent"), Verdict.UNEVEN),
        (looks(z4="still"), Verdict.UNEVEN),
        (looks(z2="violent", z4="still"), Verdict.UNEVEN),
        (["unknown"] * 7, None),
    ],
)
def test_verdicts(seven: Table, zones: list[str], verdict: Verdict | None) -> None:
    assert seven.read(*zones).bed.verdict is verdict


def test_a_bed_with_an_unknown_zone_is_not_called_even(seven: Table) -> None:
    assert seven.read(*looks(z4="unknown")).bed.verdict is not Verdict.EVEN


@pytest.mark.parametrize(
    ("zones", "outcome"),
    [
        (["gentle"] * 7, Outcome.EVEN),
        (looks(z4="violent"), Outcome.MOVING),
        (["still"] * 7, Outcome.MOVING),
        (["unknown"] * 7, Outcome.LOOKING),
        (looks(z4="unknown"), Outcome.LOOKING),
    ],
)
def test_outcomes(seven: Table, zones: list[str], outcome: Outcome) -> None:
    reading = seven.read(*zones)
    assert reading.outcome is outcome
    assert (reading.next is not None) == (outcome is Outcome.MOVING)


def test_what_is_left_is_broken_by_hand(seven: Table) -> None:
    """All zones fed and a patch that stays dead: no valve to move, and not done."""
    dead = seven.patched(seven.field("gentle"), (60.0, 130.0), 30.0, seven.looks["still"])
    judge = seven.judge()
    reading = [judge.read(time_s, dead) for time_s in (7.0, 8.0, 9.0, 10.0)][-1]
    assert reading.bed.verdict is Verdict.UNEVEN
    assert reading.next is not None
    assert (reading.next.zone, reading.next.do, reading.next.amount) == ("2", HintWord.STIR, None)
    assert reading.outcome is Outcome.MOVING
