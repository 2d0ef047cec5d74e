"""Places where the bed misbehaves."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.judge.types import Fault, FaultKind, HintWord, Reading, State

if TYPE_CHECKING:
    from conftest import Table

    from bedwatch.judge.judge import Judge
    from bedwatch.motion.field import MotionField

PLACE = (60.0, 130.0)  # in zone 2 of the round bed, well inside it
# The middle of a patch of 5 mm places is known to a place or so; 6 mm is what is asked in the median.
NEAR_MM = 6.0
STEP_S = 0.8


def follow(judge: Judge, field: MotionField, until_s: float, seconds: float = 4.0) -> Reading:
    """The last of the readings every 0.8 s of a field that stays as it is."""
    times = np.arange(until_s - seconds, until_s + 1e-6, STEP_S)
    return [judge.read(float(time_s), field) for time_s in times][-1]


def found(table: Table, field: MotionField, until_s: float = 10.0) -> tuple[Fault, ...]:
    return follow(table.judge(), field, until_s).faults


def off_mm(fault: Fault, place: tuple[float, float]) -> float:
    return float(np.hypot(fault.x_mm - place[0], fault.y_mm - place[1]))


def plume(table: Table, times: float = 8.0) -> object:
    """Busier than a gentle place by so many times, without a pause."""
    gentle = table.looks["gentle"]
    return table.Look(live=1.0, duty=0.9, narrow=times * gentle.narrow, wide=times * gentle.wide, speed_mm_s=200.0)


@pytest.mark.parametrize("radius_mm", [13.0, 22.0, 28.0, 35.0])
def test_a_dead_patch_in_a_fed_zone(seven: Table, radius_mm: float) -> None:
    dead = seven.patched(seven.field("gentle", until_s=12.0), PLACE, radius_mm, seven.looks["still"])
    reading = follow(seven.judge(), dead, 12.0)
    (fault,) = reading.faults
    assert fault.kind is FaultKind.DEAD_SPOT
    assert fault.zone == "2"
    assert off_mm(fault, PLACE) < NEAR_MM
    # Whole places of 5 mm: the area is right to about a place all round.
    assert np.pi * (radius_mm - 6) ** 2 < fault.area_mm2 < np.pi * (radius_mm + 6) ** 2
    assert fault.since_s == pytest.approx(2.0)  # still through the whole window of ten seconds
    assert [zone.hint for zone in reading.zones] == [HintWord.HOLD, HintWord.STIR, *[HintWord.HOLD] * 5]
    assert reading.next is not None
    assert (reading.next.zone, reading.next.do, reading.next.amount) == ("2", HintWord.STIR, None)


@pytest.mark.parametrize(
    "place", [(0.0, 186.0), (118.0, 105.0), (0.0, 79.0)], ids=["at the wall", "across two zones", "across three"]
)
def test_a_dead_patch_need_not_lie_within_a_zone(seven: Table, place: tuple[float, float]) -> None:
    dead = seven.patched(seven.field("gentle"), place, 26.0, seven.looks["still"])
    (fault,) = found(seven, dead)
    assert fault.kind is FaultKind.DEAD_SPOT
    assert off_mm(fault, place) < NEAR_MM


def test_two_patches_are_two_faults(six: Table) -> None:
    field = six.patched(six.field("gentle"), (-140.0, 70.0), 25.0, six.looks["still"])
    field = six.patched(field, (140.0, -70.0), 25.0, six.looks["still"])
    assert sorted(fault.zone for fault in found(six, field)) == ["1", "6"]


def test_a_starved_zone_has_no_dead_patches(seven: Table) -> None:
    """Stillness there is the zone's air, also where its neighbours' air keeps its border alive."""
    field = seven.field("gentle", "still", *["gentle"] * 5)
    reading = follow(seven.judge(), field, 10.0)
    assert reading.faults == ()
    assert [zone.hint for zone in reading.zones] == [HintWord.HOLD, HintWord.MORE_AIR, *[HintWord.HOLD] * 5]


def test_a_healthy_bed_has_no_faults(seven: Table, six: Table) -> None:
    for table in (seven, six):
        for look in ("still", "poor", "gentle", "violent"):
            for seed in range(2):
                assert found(table, table.field(look, seed=seed, seconds=30.0)) == (), (look, seed)


def test_a_settled_bed_with_a_channel_has_that_fault_only(seven: Table) -> None:
    """What does not move there is not dead: nothing around it moves."""
    field = seven.patched(seven.field("still", seconds=20.0), PLACE, 14.0, plume(seven))
    (fault,) = found(seven, field)
    assert fault.kind is FaultKind.SPOUT
    assert off_mm(fault, PLACE) < NEAR_MM


@pytest.mark.parametrize("times", [3.0, 6.0])
def test_a_settled_zone_that_stirs_at_one_place_has_no_channel(seven: Table, times: float) -> None:
    """On the brink of moving some places do first; a channel outdoes the powder around it by far more."""
    still = seven.looks["still"]
    stirs = replace(still, live=1.0, narrow=times * (still.narrow + 0.5), wide=times * still.wide, speed_mm_s=4.0)
    assert found(seven, seven.patched(seven.field("still", seconds=20.0), PLACE, 24.0, stirs)) == ()


def test_a_zone_on_the_brink_has_no_dead_patches(seven: Table) -> None:
    """Zone 2 moves a quarter as much as its neighbours, and at two places not at all: it gets too little air."""
    gentle = seven.looks["gentle"]
    brink = replace(gentle, live=0.45, narrow=0.25 * gentle.narrow, wide=0.25 * gentle.wide)
    field = seven.field("gentle", brink, *["gentle"] * 5)
    for place in (PLACE, (110.0, 75.0)):
        field = seven.patched(field, place, 16.0, seven.looks["still"])
    assert found(seven, field) == ()


def test_a_lively_neighbour_is_no_spout(seven: Table) -> None:
    """Zones side by side that are unlike in every way: their borders are no faults."""
    for seed in range(4):
        field = seven.field("gentle", "violent", "still", "gentle", "violent", "violent", "still", seed=seed)
        assert found(seven, field) == ()


def test_cells_that_cannot_be_seen_are_not_dead(seven: Table) -> None:
    hidden = seven.patched(seven.field("gentle"), PLACE, 30.0, seven.looks["unknown"])
    assert found(seven, hidden) == ()


@pytest.mark.parametrize("grey", [35.0, 252.0, 230.0], ids=["a bolt", "clipped glare", "a sheet of paper"])
def test_what_does_not_look_like_powder_is_not_dead_powder(seven: Table, grey: float) -> None:
    field = seven.patched(seven.field("gentle"), PLACE, 25.0, seven.looks["still"])
    ground = field.ground
    assert ground is not None
    here = np.hypot(ground.x_mm[None] - PLACE[0], ground.y_mm[:, None] - PLACE[1]) <= 25.0
    lying = replace(field, ground=replace(ground, grey=np.where(here, grey, ground.grey)))
    reading = follow(seven.judge(), lying, 10.0)
    assert reading.faults == ()
    assert reading.zones[1].hint is HintWord.HOLD


def test_a_patch_is_over_when_it_wakes_and_counts_anew(seven: Table) -> None:
    judge, gentle = seven.judge(), seven.field("gentle")
    dead = seven.patched(gentle, PLACE, 25.0, seven.looks["still"])
    first = follow(judge, dead, 10.0, 2.4).faults[0].since_s
    assert follow(judge, dead, 15.0, 4.0).faults[0].since_s == first  # the same fault keeps its beginning
    assert follow(judge, gentle, 20.0, 4.0).faults == ()
    later = seven.patched(seven.field("gentle", until_s=40.0), PLACE, 25.0, seven.looks["still"])
    (again,) = follow(judge, later, 40.0).faults
    assert again.since_s == pytest.approx(30.0)


def test_a_patch_at_a_slightly_other_place_is_the_same_one(seven: Table) -> None:
    judge = seven.judge()
    first = follow(judge, seven.patched(seven.field("gentle"), PLACE, 25.0, seven.looks["still"]), 10.0).faults
    moved = (PLACE[0] + 10, PLACE[1] - 8)
    dead = seven.patched(seven.field("gentle", until_s=14.0), moved, 25.0, seven.looks["still"])
    then = judge.read(10.8, dead).faults
    assert len(first) == len(then) == 1
    assert then[0].since_s == first[0].since_s


def test_a_plume_that_stays_is_a_spout(six: Table) -> None:
    """Eight times the typical change, without a pause, at one place; told once it has stayed, at its place."""
    place = (140.0, 70.0)
    judge = six.judge()
    field = six.patched(six.field("gentle"), place, 16.0, plume(six))
    assert judge.read(6.0, field).faults == ()  # one look is not staying
    reading = follow(judge, field, 10.0, 3.2)
    (fault,) = reading.faults
    assert fault.kind is FaultKind.SPOUT
    assert fault.zone == "3"
    assert off_mm(fault, place) < NEAR_MM
    assert fault.since_s == pytest.approx(0.0)
    assert reading.zones[2].hint is HintWord.STIR


def test_a_channel_in_a_settled_bed(seven: Table) -> None:
    place = (-70.0, 95.0)
    field = seven.patched(seven.field("still"), place, 14.0, plume(seven))
    reading = follow(seven.judge(), field, 10.0)
    (fault,) = reading.faults
    assert fault.kind is FaultKind.SPOUT
    assert off_mm(fault, place) < NEAR_MM
    zone = next(zone for zone in reading.zones if zone.zone == fault.zone)
    assert zone.hint is HintWord.STIR
    assert "settled powder" in zone.because
    assert reading.next is not None
    assert reading.next.do is HintWord.STIR  # before more air, which it would take


def test_a_channel_at_the_border_belongs_to_the_zone_that_stands_still(six: Table) -> None:
    """Most of it lies on the side of the zone that moves, yet air blows through powder that does not."""
    looks = ["gentle"] * 6
    looks[2] = "still"
    border_mm = 70.0  # of zones 2 and 3
    place = (border_mm - 4.0, 70.0)
    field = six.patched(six.field(*looks), place, 16.0, plume(six))
    reading = follow(six.judge(), field, 10.0)
    (fault,) = (one for one in reading.faults if one.kind is FaultKind.SPOUT)
    assert off_mm(fault, place) < NEAR_MM
    assert fault.zone == "3"
    assert [zone.hint for zone in reading.zones][1:3] == [HintWord.HOLD, HintWord.STIR]


def test_a_spout_that_begins_while_it_is_watched(seven: Table) -> None:
    field = seven.field("gentle", seconds=20.0, until_s=20.0)
    ground = seven.lay(field.ground, PLACE, 15.0, plume(seven), since_s=12.0)
    (fault,) = found(seven, replace(field, ground=ground), 20.0)
    assert fault.since_s == pytest.approx(12.0, abs=1.0)


def test_a_spout_that_has_stopped_is_over(seven: Table) -> None:
    judge, field = seven.judge(), seven.field("gentle", seconds=20.0, until_s=20.0)
    assert field.ground is not None
    going = replace(field, ground=seven.lay(field.ground, PLACE, 15.0, plume(seven)))
    assert follow(judge, going, 20.0).faults
    gone = going.ground
    assert gone is not None
    energy, busy, quick = gone.energy.copy(), gone.busy.copy(), gone.quick.copy()
    energy[-5:], busy[-5:], quick[-5:] = field.ground.energy[-5:], field.ground.busy[-5:], field.ground.quick[-5:]
    assert follow(judge, replace(field, ground=replace(gone, energy=energy, busy=busy, quick=quick)), 24.0).faults == ()


def _quicker(table: Table, place: tuple[float, float], *, also: float) -> MotionField:
    """A bed that is busier at a place by some sigmas of its scatter over the longer time, and plainly so frame by frame."""
    field = table.field("gentle", seconds=20.0, until_s=20.0)
    ground = field.ground
    assert ground is not None
    far = np.hypot(ground.x_mm[None] - place[0], ground.y_mm[:, None] - place[1])
    bump = np.exp(-((far / 14.0) ** 2)).astype(np.float32)
    return replace(field, ground=replace(ground, quick=ground.quick + 1.2 * bump, busy=ground.busy + also * bump))


def test_a_plume_that_shows_frame_by_frame(seven: Table) -> None:
    """In a lively bed all powder is another one after a tenth of a second, and a plume does little more."""
    (fault,) = found(seven, _quicker(seven, PLACE, also=0.5), 20.0)
    assert fault.kind is FaultKind.SPOUT
    assert off_mm(fault, PLACE) < NEAR_MM


def test_what_only_changes_sooner_is_no_spout(seven: Table) -> None:
    """Lamps and glints do, without more change than elsewhere; at the wall it is a leak's business."""
    assert found(seven, _quicker(seven, PLACE, also=0.0), 20.0) == ()
    assert all(
        fault.kind is not FaultKind.SPOUT for fault in found(seven, _quicker(seven, (196.0, 0.0), also=0.5), 20.0)
    )


def mounded(field: MotionField, high: float = 6.0, lead: float = 1.35, wide: float = 12.0) -> MotionField:
    """The field with a mound that is dark on one side and bright on the other at PLACE, where powder moves a little sooner."""
    ground = field.ground
    assert ground is not None
    away = np.hypot(ground.x_mm[None] - PLACE[0], ground.y_mm[:, None] - PLACE[1])
    side = np.clip((ground.x_mm[None] - PLACE[0]) / wide, -1.0, 1.0)
    here = np.exp(-((away / wide) ** 2))
    quick = ground.quick + np.log(lead) * (away < 14.0)
    busy = ground.busy + 0.6 * np.log(lead) * (away < 14.0)
    return replace(field, ground=replace(ground, shade=ground.shade + high * side * here, quick=quick, busy=busy))


def test_a_plume_that_keeps_its_mound(seven: Table) -> None:
    """In powder that moves nothing else stays in the mean picture; it is no busier than a lively bed hides."""
    field = seven.field("gentle", seconds=12.0, until_s=12.0)
    assert found(seven, mounded(field, high=0.0), until_s=12.0) == ()
    (fault,) = found(seven, mounded(field), until_s=12.0)
    assert fault.kind is FaultKind.SPOUT
    assert off_mm(fault, PLACE) < NEAR_MM


def test_what_stands_in_the_picture_alone_is_no_spout(seven: Table) -> None:
    """A speck on the lens, a glint: the powder there moves as it does elsewhere."""
    field = seven.field("gentle", seconds=12.0, until_s=12.0)
    assert found(seven, mounded(field, high=20.0, lead=1.0), until_s=12.0) == ()


def test_the_edge_of_a_shadow_is_no_spout(seven: Table) -> None:
    """It stands as well, but it is long."""
    field = mounded(seven.field("gentle", seconds=12.0, until_s=12.0), high=0.0)
    assert field.ground is not None
    edge = np.where(np.abs(field.ground.x_mm - PLACE[0]) < 6.0, 12.0, 0.0)[None]
    shaded = replace(field, ground=replace(field.ground, shade=field.ground.shade + edge))
    assert found(seven, shaded, until_s=12.0) == ()


def test_bubbles_here_and_there_are_no_spout(six: Table) -> None:
    """As strong as a plume, but elsewhere next time."""
    field = six.field("gentle", seconds=12.0, until_s=12.0)
    ground = field.ground
    assert ground is not None
    energy = ground.energy.copy()
    for number, place in enumerate([(140, 70), (-140, 70), (0, -70), (140, -70), (-140, -70), (0, 70)] * 2):
        there = six.lay(ground, place, 12.0, plume(six))
        energy[number] = there.energy[number]
    bubbles = six.lay(replace(ground, energy=energy), (0.0, 0.0), 0.0, six.looks["gentle"])
    assert found(six, replace(field, ground=bubbles), 12.0) == ()


def test_a_shadow_that_lingers_is_no_spout(six: Table) -> None:
    """Strong change at one place for four seconds of ten."""
    field = six.field("gentle")
    ground = six.lay(field.ground, (140.0, 70.0), 20.0, plume(six, 20.0), since_s=6.0)
    assert found(six, replace(field, ground=ground)) == ()


def _along_the_wall(table: Table, field: MotionField, clock_deg: float, length_mm: float) -> MotionField:
    ground = field.ground
    for way in np.radians(clock_deg) + np.arange(-length_mm / 2, length_mm / 2 + 1, 6.0) / 210.0:
        ground = table.lay(ground, (203 * np.sin(way), 203 * np.cos(way)), 7.0, plume(table))
    return replace(field, ground=ground)


@pytest.mark.parametrize("clock_deg", [0.0, 100.0, 215.0])
def test_powder_running_up_the_wall_is_a_rim_leak(seven: Table, clock_deg: float) -> None:
    reading = follow(seven.judge(), _along_the_wall(seven, seven.field("gentle"), clock_deg, 90.0), 10.0)
    (fault,) = reading.faults
    assert fault.kind is FaultKind.RIM_LEAK
    way = np.degrees(np.arctan2(fault.x_mm, fault.y_mm))
    assert abs((way - clock_deg + 180) % 360 - 180) < 6
    assert np.hypot(fault.x_mm, fault.y_mm) > 190
    zone = next(zone for zone in reading.zones if zone.zone == fault.zone)
    assert zone.hint is HintWord.CHECK_PLATE


def test_a_wall_that_is_busy_all_round_is_no_leak(seven: Table) -> None:
    """The edge of the powder moves up and down against the wall in a normal bed too."""
    assert found(seven, _along_the_wall(seven, seven.field("gentle"), 0.0, 1300.0)) == ()


def test_a_spout_near_the_wall_is_no_leak(seven: Table) -> None:
    place = (0.0, 184.0)
    (fault,) = found(seven, seven.patched(seven.field("gentle"), place, 14.0, plume(seven)))
    assert fault.kind is FaultKind.SPOUT
    assert off_mm(fault, place) < NEAR_MM


def test_a_dead_patch_near_the_wall_makes_no_leak_beside_it(seven: Table) -> None:
    dead = seven.patched(seven.field("gentle"), (0.0, 165.0), 24.0, seven.looks["still"])
    assert [fault.kind for fault in found(seven, dead)] == [FaultKind.DEAD_SPOT]


def test_no_fault_is_raised_while_settling(seven: Table) -> None:
    dead = seven.patched(seven.field("gentle", seconds=3.0), PLACE, 25.0, seven.looks["still"])
    reading = follow(seven.judge(), dead, 3.0, 2.4)
    assert reading.state is State.SETTLING
    assert reading.faults == ()


def test_a_break_forgets_faults(seven: Table) -> None:
    judge = seven.judge()
    dead = seven.patched(seven.field("gentle"), PLACE, 25.0, seven.looks["still"])
    assert follow(judge, dead, 10.0).faults
    assert judge.nothing(11.0, State.NO_PICTURE).faults == ()
    later = seven.patched(seven.field("gentle", until_s=40.0), PLACE, 25.0, seven.looks["still"])
    (fault,) = follow(judge, later, 40.0).faults
    assert fault.since_s == pytest.approx(30.0)


def test_a_dead_patch_under_noise_that_is_a_quarter_of_all_change(seven: Table) -> None:
    """Noise changes a still place as much after one frame as after eight, so that the growth of the change shows it."""
    field = seven.patched(seven.field("gentle"), PLACE, 26.0, seven.looks["still"])
    ground = field.ground
    assert ground is not None
    noisy = replace(ground, energy=ground.energy + 30.0, noise=30.0)
    (fault,) = found(seven, replace(field, ground=noisy))
    assert fault.kind is FaultKind.DEAD_SPOT
    assert off_mm(fault, PLACE) < NEAR_MM


def test_what_ended_behind_a_hand_is_not_told(seven: Table) -> None:
    """Ten seconds of a plume, four of a hand that stirs it shut, then six without it."""
    before = seven.patched(seven.field("gentle", seconds=10.0, until_s=10.0), PLACE, 14.0, plume(seven))
    after = seven.field("gentle", seconds=6.0, until_s=20.0, seed=5)
    assert before.ground is not None
    assert after.ground is not None
    joined = {
        name: np.concatenate([getattr(before.ground, name), getattr(after.ground, name)])
        for name in ("start_s", "end_s", "energy", "busy", "growth", "quick", "shade")
    }
    assert found(seven, replace(after, ground=replace(after.ground, **joined)), 20.0) == ()
    assert replace(after.ground, **joined).seen_s == pytest.approx(16.0, abs=1.0)
