"""What the whole bed does at once, and air that is changed while it is watched."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.judge.types import ALL_ZONES, HintWord, Verdict

if TYPE_CHECKING:
    from conftest import Table

    from bedwatch.motion.field import MotionField

LOOKS_PER_S = 6.0


def pulsing(field: MotionField, swing: float, together: float, beat_hz: float = 1.3, seed: int = 1) -> MotionField:
    """Energies of the four quarters that swing with a beat, in common by this share, and scatter each for itself."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(60) / LOOKS_PER_S
    common = np.sin(2 * np.pi * beat_hz * time_s)[:, None]
    own = np.stack([np.sin(2 * np.pi * beat_hz * time_s + turn) for turn in rng.uniform(0, 6.28, 4)], axis=1)
    pulse = 4.0 + swing * (together * common + (1 - together) * own) + 0.15 * rng.standard_normal((60, 4))
    assert field.ground is not None
    return replace(field, ground=replace(field.ground, pulse=pulse))


def test_a_bed_that_heaves_as_one_wants_less_air_for_all(seven: Table) -> None:
    reading = seven.judge().read(10.0, pulsing(seven.field("gentle"), 0.9, 1.0))
    assert {zone.hint for zone in reading.zones} == {HintWord.LESS_AIR}
    assert all("as one" in zone.because for zone in reading.zones)
    assert reading.bed.verdict is Verdict.VIOLENT
    assert reading.next is not None
    assert (reading.next.zone, reading.next.do) == (ALL_ZONES, HintWord.LESS_AIR)


def test_haze_that_pales_all_of_it_together_is_no_heaving(seven: Table) -> None:
    haze = Problem(kind=ProblemKind.DUST_CLOUD, advice="")
    reading = seven.judge().read(10.0, pulsing(seven.field("gentle"), 0.9, 1.0), (haze,))
    assert {zone.hint for zone in reading.zones} == {HintWord.HOLD}


def test_what_beats_while_a_zone_sleeps_is_not_too_much_air(seven: Table) -> None:
    """Less air would put to rest what still moves, and raising it again bring back the beat, without end."""
    looks = ["gentle"] * 5 + ["still", "still"]
    reading = seven.judge().read(10.0, pulsing(seven.field(*looks), 0.9, 1.0))
    assert [zone.hint for zone in reading.zones] == [HintWord.HOLD] * 5 + [HintWord.MORE_AIR] * 2
    assert reading.next is not None
    assert reading.next.do is HintWord.MORE_AIR


def test_what_beats_in_a_calm_bed_is_not_too_much_air(seven: Table) -> None:
    calm = seven.replace(seven.looks["gentle"], duty=0.08, renewed=0.2)
    reading = seven.judge().read(10.0, pulsing(seven.field(calm), 0.9, 1.0))
    assert {zone.hint for zone in reading.zones} == {HintWord.HOLD}


@pytest.mark.parametrize(("swing", "together"), [(0.0, 1.0), (0.2, 1.0), (0.9, 0.0)])
def test_eruptions_each_for_themselves_are_no_heaving(seven: Table, swing: float, together: float) -> None:
    for seed in range(5):
        reading = seven.judge().read(10.0, pulsing(seven.field("gentle"), swing, together, seed=seed))
        assert {zone.hint for zone in reading.zones} == {HintWord.HOLD}


def _stepped(table: Table, before: str, after: str, at_s: float, seconds: float = 14.0) -> MotionField:
    """Zone 2 changes from one look to another at a time."""
    looks = {
        name: table.field("gentle", name, *["gentle"] * 5, seconds=seconds, until_s=seconds) for name in (before, after)
    }
    grounds = [looks[name].ground for name in (before, after)]
    assert grounds[0] is not None
    assert grounds[1] is not None
    late = (grounds[0].end_s > at_s)[:, None, None]
    ground = replace(
        grounds[0],
        energy=np.where(late, grounds[1].energy, grounds[0].energy),
        busy=np.where(late, grounds[1].busy, grounds[0].busy),
    )
    return replace(looks[after], ground=ground)


@pytest.mark.parametrize(("before", "after"), [("still", "gentle"), ("gentle", "still"), ("gentle", "violent")])
def test_air_that_was_changed_is_noticed_after_three_seconds(seven: Table, before: str, after: str) -> None:
    since = seven.judge().changed_s(_stepped(seven, before, after, 11.0))
    assert since == pytest.approx(11.0, abs=1.0)


def test_air_that_stays_is_not_said_to_have_changed(seven: Table) -> None:
    for look in ("still", "poor", "gentle", "violent"):
        for seed in range(6):
            field = seven.field(look, seconds=14.0, until_s=14.0, seed=seed)
            assert seven.judge().changed_s(field) is None, (look, seed)
    assert seven.judge().changed_s(None) is None
