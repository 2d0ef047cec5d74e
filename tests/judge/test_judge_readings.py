"""What a reading holds: states, figures, and nothing that JSON cannot carry."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.judge.types import HintWord, Outcome, Reading, State
from bedwatch.judge.uniformity import uniformity_index

if TYPE_CHECKING:
    from conftest import Table


def plain(reading: Reading) -> str:
    """As strict JSON: raises on NaN, infinity and NumPy's own numbers."""
    return json.dumps(asdict(reading), allow_nan=False)


@pytest.mark.parametrize("look", ["still", "poor", "gentle", "violent", "unknown"])
@pytest.mark.parametrize("seconds", [0.0, 3.0, 10.0])
def test_everything_in_a_reading_is_json(seven: Table, look: str, seconds: float) -> None:
    dead = seven.patched(seven.field(look, seconds=seconds), (60.0, 130.0), 25.0, seven.looks["still"])
    reading = seven.judge().read(10.0, dead)
    assert [zone["zone"] for zone in json.loads(plain(reading))["zones"]] == [zone.name for zone in seven.bed.zones]


@pytest.mark.parametrize("state", list(State))
def test_nothing_known_is_none_everywhere(seven: Table, state: State) -> None:
    judge = seven.judge()
    unseen = seven.field("unknown")
    reading = judge.read(10.0, unseen) if state is State.READING else judge.nothing(10.0, state)
    plain(reading)
    bed = reading.bed
    assert (bed.evenness, bed.live, bed.speed_mm_s, bed.speed_error_mm_s, bed.verdict) == (None,) * 5
    for zone in reading.zones:
        assert (zone.live, zone.speed_mm_s, zone.speed_error_mm_s, zone.hint) == (None, None, None, HintWord.WAIT)


def test_one_unknown_zone_does_not_hide_the_others(seven: Table) -> None:
    reading = seven.read("unknown", *["gentle"] * 6)
    plain(reading)
    assert reading.zones[0].speed_mm_s is None
    assert all(zone.speed_mm_s is not None and zone.hint is HintWord.HOLD for zone in reading.zones[1:])
    assert reading.bed.evenness is not None


def test_figures_are_those_of_the_field(seven: Table) -> None:
    field = seven.field("gentle", "poor", "violent", "gentle", "gentle", "gentle", "gentle")
    reading = seven.judge().read(10.0, field)
    assert [zone.speed_mm_s for zone in reading.zones] == field.zones.speed_mm_s.tolist()
    assert [zone.speed_error_mm_s for zone in reading.zones] == field.zones.speed_error_mm_s.tolist()
    assert [zone.live for zone in reading.zones] == field.zones.live.tolist()
    assert reading.bed.live == field.bed.live[0]
    assert reading.bed.evenness == uniformity_index(field.cells.speed_mm_s, seven.cells.area_mm2)


def test_evenness_of_equal_and_of_dead_beds(seven: Table) -> None:
    assert seven.read("gentle").bed.evenness == pytest.approx(1.0)
    assert seven.read("still").bed.evenness == 0.0
    # One of seven equal zones dead: 1 - 1/7 (Weltens et al. 1993); equal numbers of cells to one in twenty.
    one_dead = seven.read("still", *["gentle"] * 6).bed.evenness
    assert one_dead == pytest.approx(6 / 7, abs=0.01)


def test_too_short_a_look_is_settling_with_what_was_seen(seven: Table) -> None:
    reading = seven.judge().read(3.0, seven.field("violent", seconds=3.0))
    assert reading.state is State.SETTLING
    assert {zone.hint for zone in reading.zones} == {HintWord.WAIT}
    assert reading.next is None
    assert reading.outcome is Outcome.LOOKING
    assert reading.bed.verdict is None
    assert reading.zones[0].speed_mm_s == 160.0


def test_of_less_than_a_second_no_figure_is_given(seven: Table) -> None:
    """A zone has hardly had an eruption by then."""
    reading = seven.judge().read(0.8, seven.field("violent", seconds=0.7))
    assert reading.state is State.SETTLING
    assert {zone.speed_mm_s for zone in reading.zones} == {None}
    assert {zone.live for zone in reading.zones} == {None}
    assert reading.bed.evenness is None


def test_eight_seconds_are_enough(seven: Table) -> None:
    """What other programs may rely on: eight seconds of undisturbed picture must give a reading."""
    assert seven.judge().read(8.0, seven.field("gentle", seconds=7.8)).state is State.READING


def test_before_anything_was_compared(seven: Table) -> None:
    reading = seven.judge().read(0.5, None)
    assert reading.state is State.SETTLING
    assert reading.bed.speed_mm_s is None
    plain(reading)


def test_problems_are_passed_on_in_every_state(seven: Table) -> None:
    """Haze, noise or flicker alone are no reason to wait: hints go on beside them."""
    problem = Problem(kind=ProblemKind.FLICKER, advice="The light flickers by 3.0 %.")
    judge = seven.judge()
    assert judge.nothing(1.0, State.NO_PICTURE, [problem]).problems == (problem,)
    assert judge.read(2.0, None, [problem]).problems == (problem,)
    reading = judge.read(10.0, seven.field("gentle"), [problem])
    assert reading.problems == (problem,)
    assert reading.zones[0].hint is HintWord.HOLD


def test_the_same_fields_give_the_same_readings(six: Table) -> None:
    def run() -> list[Reading]:
        rng = np.random.default_rng(3)
        judge = six.judge()
        looks = ["still", "poor", "gentle", "violent", "boiling", "unknown"]
        return [judge.read(10.0 + n, six.field(*rng.permutation(looks).tolist())) for n in range(12)]

    assert run() == run()
