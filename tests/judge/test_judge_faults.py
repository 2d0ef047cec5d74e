"""Places where the bed misbehaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.judge.types import FaultKind, State

if TYPE_CHECKING:
    from conftest import Table

PLACE = (60.0, 130.0)  # in zone 2 of the round bed, well inside it
# Cells are 20 mm wide, so that a patch's middle is known to about half of one each way; 20 mm is what is asked.
NEAR_MM = 20.0


BIG = pytest.param(35.0, marks=pytest.mark.xfail(reason="a patch over all of a zone's middle reads as a starved zone"))


@pytest.mark.parametrize("radius_mm", [22.0, 28.0, BIG])
def test_a_dead_patch_in_a_fed_zone(seven: Table, radius_mm: float) -> None:
    dead = seven.patched(seven.field("gentle"), PLACE, radius_mm, seven.looks["still"])
    (fault,) = seven.judge().read(12.0, dead).faults
    assert fault.kind is FaultKind.DEAD_SPOT
    assert fault.zone == "2"
    assert np.hypot(fault.x_mm - PLACE[0], fault.y_mm - PLACE[1]) < NEAR_MM
    # Whole cells: those whose centre lies within, so the area is right to about half a cell all round.
    assert np.pi * (radius_mm - 12) ** 2 < fault.area_mm2 < np.pi * (radius_mm + 12) ** 2
    assert fault.since_s == pytest.approx(2.0)  # still through the whole window of ten seconds


def test_two_patches_are_two_faults(six: Table) -> None:
    field = six.patched(six.field("gentle"), (-140.0, 70.0), 25.0, six.looks["still"])
    field = six.patched(field, (140.0, -70.0), 25.0, six.looks["still"])
    faults = six.judge().read(10.0, field).faults
    assert sorted(fault.zone for fault in faults) == ["1", "6"]


@pytest.mark.parametrize("look", ["still", "poor"])
def test_a_starved_zone_has_no_dead_patches(seven: Table, look: str) -> None:
    """Stillness there is the zone's air."""
    field = seven.field("gentle", look, "gentle", "gentle", "gentle", "gentle", "gentle")
    dead = seven.patched(field, PLACE, 25.0, seven.looks["still"])
    assert seven.judge().read(10.0, dead).faults == ()


def test_a_healthy_bed_has_no_faults(seven: Table, six: Table) -> None:
    for table in (seven, six):
        for look in ("still", "poor", "gentle", "violent"):
            judge = table.judge()
            assert all(judge.read(10.0 + n, table.field(look)).faults == () for n in range(8)), look


def test_cells_that_cannot_be_seen_are_not_dead(seven: Table) -> None:
    hidden = seven.patched(seven.field("gentle"), PLACE, 30.0, seven.looks["unknown"])
    assert seven.judge().read(10.0, hidden).faults == ()


def test_a_patch_is_forgotten_when_it_wakes_and_counts_anew(seven: Table) -> None:
    judge, gentle = seven.judge(), seven.field("gentle")
    dead = seven.patched(gentle, PLACE, 25.0, seven.looks["still"])
    since = [judge.read(time_s, dead).faults[0].since_s for time_s in (10.0, 11.0, 12.0, 15.0)]
    assert since == [since[0]] * 4  # the same fault keeps its beginning
    assert judge.read(16.0, gentle).faults == ()
    (again,) = judge.read(40.0, dead).faults
    assert again.since_s == pytest.approx(30.0)


def test_a_patch_at_a_slightly_other_place_is_the_same_one(seven: Table) -> None:
    judge, gentle = seven.judge(), seven.field("gentle")
    first = judge.read(10.0, seven.patched(gentle, PLACE, 25.0, seven.looks["still"])).faults
    moved = (PLACE[0] + 10, PLACE[1] - 8)
    then = judge.read(14.0, seven.patched(gentle, moved, 25.0, seven.looks["still"])).faults
    assert len(first) == len(then) == 1
    assert then[0].since_s == first[0].since_s


def test_a_plume_that_stays_is_a_spout(six: Table) -> None:
    """Ten times the typical change, without a pause, at one place; told once it has stayed, at its place."""
    place = (140.0, 70.0)
    plume = six.Look(live=1.0, duty=0.9, narrow=600.0, wide=400.0, speed_mm_s=200.0)
    judge = six.judge()
    field = six.patched(six.field("gentle"), place, 12.0, plume)
    assert judge.read(10.0, field).faults == ()  # one look is not staying
    told = [judge.read(10.0 + n, field).faults for n in range(1, 9)]
    (fault,) = told[-1]
    assert fault.kind is FaultKind.SPOUT
    assert fault.zone == "3"
    assert np.hypot(fault.x_mm - place[0], fault.y_mm - place[1]) < NEAR_MM
    assert fault.since_s == pytest.approx(10.0)


def test_bubbles_here_and_there_are_no_spout(six: Table) -> None:
    """As strong as a plume, but elsewhere next time."""
    plume = six.Look(live=1.0, duty=0.9, narrow=600.0, wide=400.0, speed_mm_s=200.0)
    judge = six.judge()
    for number, place in enumerate([(140, 70), (-140, 70), (0, -70), (140, -70), (-140, -70), (0, 70)] * 2):
        field = six.patched(six.field("gentle"), place, 12.0, plume)
        assert judge.read(10.0 + number, field).faults == ()


def test_a_violent_zone_is_not_full_of_spouts(six: Table) -> None:
    plume = six.Look(live=1.0, duty=0.95, narrow=2000.0, wide=1500.0, speed_mm_s=300.0)
    judge = six.judge()
    field = six.patched(six.field("violent"), (140.0, 70.0), 12.0, plume)
    assert all(judge.read(10.0 + n, field).faults == () for n in range(8))


def test_no_fault_is_raised_while_settling(seven: Table) -> None:
    dead = seven.patched(seven.field("gentle", seconds=3.0), PLACE, 25.0, seven.looks["still"])
    reading = seven.judge().read(3.0, dead)
    assert reading.state is State.SETTLING
    assert reading.faults == ()


def test_a_break_forgets_faults(seven: Table) -> None:
    judge = seven.judge()
    dead = seven.patched(seven.field("gentle"), PLACE, 25.0, seven.looks["still"])
    assert judge.read(10.0, dead).faults
    assert judge.nothing(11.0, State.NO_PICTURE).faults == ()
    (fault,) = judge.read(40.0, dead).faults
    assert fault.since_s == pytest.approx(30.0)
