"""The way back to a saved setting, on zones whose speed follows a made-up law of the valves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from bedwatch.judge.apart import Apart, How
from bedwatch.judge.setting import BedSetting, Circumstances, Measured, Setting, ZoneSetting
from bedwatch.judge.steady import mean_of
from bedwatch.judge.together import compared
from bedwatch.judge.types import (
    BedReading,
    Did,
    Done,
    HintWord,
    Reading,
    Signs,
    State,
    Verdict,
    ZoneReading,
)
from bedwatch.judge.way_back import Step, WayBack

SAVED = (80.0, 90.0, 91.0, 89.0, 92.0, 90.0, 88.0)


def speed(value: float) -> Measured:
    return Measured(value=value, error=0.35 * value, repeat=0.015 * value)


def setting(speeds: Sequence[float] = SAVED, live: float = 1.0) -> Setting:
    return Setting(
        name="winter",
        saved=datetime(2026, 1, 31, tzinfo=UTC),
        version="0.1.0",
        source="clip.mp4",
        seen_s=60.0,
        bed=BedSetting(name="b", shape="round", width_mm=420.0, length_mm=420.0),
        zones=tuple(
            ZoneSetting(
                zone=str(number),
                speed_mm_s=speed(value),
                live=Measured(value=live, error=0.01, repeat=0.01),
                restless=Measured(value=4 * math.log(value / 200), error=0.07, repeat=0.07),
                length_mm=Measured(value=value**0.45, error=0.01 * value**0.45, repeat=0.01 * value**0.45),
            )
            for number, value in enumerate(speeds, 1)
        ),
    )


def signs(value: float) -> Signs:
    """Of a zone whose speed is wholly that of what moves there."""
    return Signs(live=1.0, duty=0.15, restless=4 * math.log(value / 200), glides=0.0, length_mm=value**0.45)


def look(speeds: Sequence[float | None], seconds: float = 14.0, live: float = 1.0) -> list[Reading]:
    """Readings of a look at zones of these speeds; None: not known."""
    found = []
    for step in range(1, int(seconds / 0.8) + 1):
        time_s = 0.8 * step
        state = State.READING if time_s > 6 else State.SETTLING
        zones = tuple(
            ZoneReading(
                zone=str(number),
                live=None if value is None else live,
                speed_mm_s=value,
                speed_error_mm_s=None if value is None else 0.35 * value,
                hint=HintWord.HOLD,
                because="",
                signs=None if not value else signs(value),
            )
            for number, value in enumerate(speeds, 1)
        )
        bed = BedReading(evenness=0.9, live=live, speed_mm_s=90.0, speed_error_mm_s=30.0, verdict=Verdict.EVEN)
        found.append(Reading(time_s=time_s, state=state, bed=bed, zones=zones))
    return found


def given(back: WayBack, speeds: Sequence[float | None], **changes: float) -> WayBack:
    for reading in look(speeds, **changes):
        back.add(reading)
    return back


def times(*factors: float) -> list[float]:
    return [value * factor for value, factor in zip(SAVED, factors, strict=True)]


def test_the_same_bed_is_back_and_says_how_surely() -> None:
    found = given(WayBack(setting()), SAVED).against()
    assert found.step is Step.BACK
    assert found.next is None
    assert found.sure is not None
    assert 0.6 < found.sure < 1.0
    assert found.causes == ()


def test_nothing_is_said_before_there_is_something_to_say() -> None:
    back = WayBack(setting())
    assert back.against().step is Step.WAIT
    assert given(back, SAVED, seconds=7.5).against().step is Step.WAIT


def test_what_still_looks_back_at_the_time_before_a_move_does_not_count() -> None:
    """Live, time goes on after a move: readings of the next ten seconds mix old and new."""
    back = given(WayBack(setting()), times(1, 1, 1, 1.5, 1, 1, 1))
    back.add(Did(do=Done.LESS_AIR, zone="4", amount=0.2))
    later = [replace(one, time_s=one.time_s + 14) for one in look(SAVED, seconds=30)]
    steps = []
    for reading in later:
        back.add(reading)
        steps.append((reading.time_s - 14, back.against().step))
    assert {step for time_s, step in steps if time_s < 9} == {Step.WAIT}
    assert steps[-1][1] is Step.BACK


def test_the_route_stir_a_little_over_then_down() -> None:
    back = given(WayBack(setting()), times(*[0.8] * 7))
    first = back.against()
    assert first.step is Step.STIR
    assert first.next is not None
    assert (first.next.do, first.next.zone, first.next.amount) == (HintWord.STIR, "all", None)
    back.add(Did(do=Done.STIRRED))
    assert back.against().step is Step.WAIT  # what was seen before the stir counts no more
    second = given(back, times(*[0.8] * 7)).against()
    assert second.step is Step.OVER
    assert second.next is not None
    assert (second.next.do, second.next.zone) == (HintWord.MORE_AIR, "all")
    assert "damp" in second.causes[0]
    back.add(Did(do=Done.MORE_AIR, zone="all", amount=second.next.amount))
    third = given(back, times(*[1.13] * 7)).against()
    assert third.step is Step.DOWN
    assert third.next is not None
    assert (third.next.do, third.next.zone) == (HintWord.LESS_AIR, "all")


def test_the_richest_zone_goes_first_and_feeds_the_others() -> None:
    found = given(WayBack(setting()), times(0.9, 0.9, 0.9, 1.4, 0.9, 1.2, 0.9)).against()
    assert found.step is Step.TRIM
    assert found.next is not None
    assert (found.next.zone, found.next.do) == ("4", HintWord.LESS_AIR)


def test_the_poorest_is_opened_only_when_none_is_over() -> None:
    found = given(WayBack(setting()), times(1, 1, 0.7, 1, 1, 1, 1)).against()
    assert found.next is not None
    assert (found.next.zone, found.next.do) == ("3", HintWord.MORE_AIR)


def test_a_turn_that_did_more_than_thought_makes_the_next_one_smaller() -> None:
    def second(after: float) -> float:
        back = given(WayBack(setting()), times(1, 1, 1, 1.6, 1, 1, 1))
        back.add(Did(do=Done.LESS_AIR, zone="4", amount=0.15))
        move = given(back, times(1, 1, 1, after, 1, 1, 1)).against().next
        assert move is not None
        assert move.zone == "4"
        assert move.amount is not None
        return move.amount / abs(math.log(after))

    assert second(1.2) < second(1.5)


def test_more_supply_for_the_same_look_is_named() -> None:
    back = given(WayBack(setting()), times(*[0.8] * 7))
    back.add(Did(do=Done.STIRRED))
    given(back, times(*[0.8] * 7))
    back.add(Did(do=Done.MORE_AIR, zone="all", amount=0.2))
    found = given(back, SAVED).against()
    assert found.step is Step.BACK
    assert "20 % of its travel above its mark" in found.causes[0]
    assert "oil" in found.causes[0]


def test_a_livelier_bed_at_the_same_marks_wants_topping_up() -> None:
    found = given(WayBack(setting()), times(*[1.25] * 7)).against()
    assert "top up" in found.causes[0]


def test_a_level_that_fell_is_named_beyond_its_error() -> None:
    marked = replace(setting(), around=Circumstances(level_mm=80.0, level_error_mm=1.0))
    assert "15 ± 2 mm lower" in given(WayBack(marked, (95.0, 1.5)), SAVED).against().causes[0]
    assert given(WayBack(marked, (83.0, 1.5)), SAVED).against().causes == ()
    assert given(WayBack(setting(), (95.0, 1.5)), SAVED).against().causes == ()


def test_smaller_domes_of_a_lower_bed_are_no_lack_of_air() -> None:
    """15 mm of 150 mm: domes are 7 % narrower (Darton et al. 1977), their light and shadow half as much slower."""
    domes = 0.8 * math.log(165 / 180)

    def given_lower(back: WayBack) -> Apart:
        for reading in look(SAVED):
            zones = []
            for zone in reading.zones:
                assert zone.signs is not None
                assert zone.speed_mm_s is not None
                assert zone.signs.length_mm is not None
                length = zone.signs.length_mm * math.exp(0.5 * domes)
                speed = zone.speed_mm_s * math.exp(0.25 * domes)
                zones.append(replace(zone, speed_mm_s=speed, signs=replace(zone.signs, length_mm=length)))
            back.add(replace(reading, zones=tuple(zones)))
        found = back.against().apart
        assert found is not None
        return found

    marked = replace(setting(), around=Circumstances(level_mm=80.0, level_error_mm=1.0))
    back = WayBack(marked)
    back.stands_at((95.0, 1.0))
    told, untold = given_lower(back), given_lower(WayBack(marked))
    assert abs(told.livelier) < 0.01
    assert untold.livelier < told.livelier - 0.02
    assert told.speed < -0.015  # what is seen is told as it is


def test_one_zone_far_off_alone_is_its_own_matter() -> None:
    found = given(WayBack(setting()), times(1, 1, 0.5, 1, 1, 1, 1)).against()
    assert "Zone 3 alone" in found.causes[0]


def test_a_zone_that_cannot_be_told_keeps_it_from_being_back() -> None:
    found = given(WayBack(setting()), [*SAVED[:-1], None]).against()
    assert found.step is not Step.BACK
    assert found.sure is None


def test_a_zone_of_which_less_is_live_is_poorer_however_fast() -> None:
    back = WayBack(setting())
    for reading in look(SAVED):
        zones = (*reading.zones[:-1], replace(reading.zones[-1], live=0.5))
        back.add(replace(reading, zones=zones))
    found = back.against()
    assert found.apart is not None
    assert found.apart.zones[-1].how is How.QUIETER
    assert found.next is not None
    assert (found.next.zone, found.next.do) == ("7", HintWord.MORE_AIR)


@pytest.mark.parametrize("seed", range(12))
def test_following_it_leads_back(seed: int) -> None:
    """Zones in parallel on one supply, speed with the power 0.6 of the air, 2 % of scatter a look, valves whose travel does
    up to three times more or less than thought, a bed that needs up to 10 % more or less air than when saved."""
    rng = np.random.default_rng(seed)
    exponent = rng.uniform(0.7, 2.0, 7)
    supply_gain = rng.uniform(1.0, 3.0)
    need = rng.uniform(0.9, 1.1)
    valves = 0.6 * np.exp(rng.normal(0, 0.25, 7))
    supply = float(np.exp(rng.normal(0, 0.2)))

    def air() -> list[float]:
        open_ = (np.clip(valves, 0.02, 1.0) / 0.6) ** exponent
        return list(supply**supply_gain * open_ * (7 / open_.sum()) ** 0.6 / need)

    back = WayBack(setting())
    for _ in range(40):
        speeds = [
            value * one**0.6 * math.exp(0.02 * rng.standard_normal()) for value, one in zip(SAVED, air(), strict=True)
        ]
        found = given(back, speeds).against()
        if found.step is Step.BACK:
            break
        if found.step is Step.LOOK:
            continue
        move = found.next
        assert move is not None
        if move.do is HintWord.STIR:
            back.add(Did(do=Done.STIRRED))
            continue
        assert move.amount is not None
        signed = move.amount if move.do is HintWord.MORE_AIR else -move.amount
        if move.zone == "all":
            supply *= math.exp(signed)
        else:
            valves[int(move.zone) - 1] += signed * 0.6
        back.add(Did(do=Done(move.do.value), zone=move.zone, amount=move.amount))
    assert found.step is Step.BACK
    np.testing.assert_allclose(np.array(air()) ** 0.6, 1.0, atol=0.13)  # a tenth, and what 2 % of scatter adds


def test_zones_must_be_the_same() -> None:
    steady = mean_of(look(SAVED[:3]))
    assert steady is not None
    with pytest.raises(ValueError, match="different zones"):
        compared(steady.zones, setting().zones)


def test_a_zone_without_a_valve_is_not_turned_on_the_way_back() -> None:
    """The others are trimmed; when these stand as they were, what is left is told as no valve's matter."""
    speeds = times(1, 1, 1, 1.5, 1.2, 1, 1)
    found = given(WayBack(setting(), valves=["1", "2", "3", "5", "6", "7"]), speeds).against()
    assert found.next is not None
    assert found.next.zone == "5"
    found = given(WayBack(setting(), valves=["1", "2", "3", "5", "6", "7"]), times(1, 1, 1, 1.5, 1, 1, 1)).against()
    assert found.step is Step.TRIM
    assert found.next is None
    assert any("no valve" in cause.casefold() for cause in found.causes)


def test_a_bed_with_one_supply_only_goes_back_by_the_supply() -> None:
    found = given(WayBack(setting(), valves=[]), times(1.4, 1.2, 1.4, 1.5, 1.2, 1.3, 1.5)).against()
    assert found.next is not None
    assert (found.next.zone, found.next.do) == ("all", HintWord.LESS_AIR)
