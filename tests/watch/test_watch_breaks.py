"""No bed, no picture, no source: what is said then, and how it goes on afterwards."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.frames.frame import Frame, Tick
from bedwatch.judge.types import HintWord, Reading, State
from bedwatch.watch import End, Lost, Watch

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Room


def says_nothing(reading: Reading) -> bool:
    """No figure, no move, no fault, every hint `wait`."""
    zones = all(
        (zone.live, zone.speed_mm_s, zone.speed_error_mm_s, zone.hint) == (None, None, None, HintWord.WAIT)
        for zone in reading.zones
    )
    return zones and reading.bed.speed_mm_s is None and reading.next is None and reading.faults == ()


def noise(seconds: float, fps: float = 5.0) -> Iterator[Frame]:
    """Pictures with no bed in them, nor anything else."""
    rng = np.random.default_rng(2)
    for number in range(round(seconds * fps)):
        picture = np.clip(rng.normal(110, 20, (150, 200)), 0, 255).astype(np.uint8)
        yield Frame(picture=picture, time_s=number / fps, number=number)


def kinds(reading: Reading) -> list[str]:
    return [problem.kind.value for problem in reading.problems]


def test_a_bed_that_is_not_there(room: Room) -> None:
    """One reading in the state `no_picture` that names it, within some seconds; settling before."""
    watch = Watch(room.bed)
    for frame in noise(20.0):
        reading = watch.step(frame)
        if watch.not_found is not None:
            break
        assert reading is None or reading.state is State.SETTLING
    assert watch.not_found is not None
    assert not watch.not_found
    assert watch.not_found.reason
    assert watch.not_found.advice
    assert frame.time_s < 8.0
    assert reading is not None
    assert reading.state is State.NO_PICTURE
    assert says_nothing(reading)
    (told,) = (problem for problem in reading.problems if problem.kind.value == "bed_not_found")
    assert watch.not_found.reason in told.advice
    assert watch.step(End()) is None


def test_frames_after_the_search_was_given_up_do_no_harm(room: Room) -> None:
    watch = Watch(room.bed)
    states = [reading.state for reading in room.readings(watch, noise(6.0))]
    assert watch.not_found is not None
    assert states.count(State.NO_PICTURE) == 1  # said once
    assert states[-1] is State.NO_PICTURE


@pytest.mark.parametrize("seconds", [0.2, 0.6, 2.0])
def test_a_short_clip_without_a_bed(room: Room, seconds: float) -> None:
    """Ends before the search would have been given up: it is decided on what there is."""
    watch = Watch(room.bed)
    room.readings(watch, noise(seconds))
    last = watch.step(End())
    assert last is not None
    assert last.state is State.NO_PICTURE
    assert "bed_not_found" in kinds(last)
    assert watch.not_found is not None


def test_no_frame_at_all_and_no_aim(room: Room) -> None:
    watch = Watch(room.bed)
    last = watch.step(End())
    assert last is not None
    assert last.state is State.NO_PICTURE
    assert watch.not_found is not None


def test_a_lost_source(room: Room) -> None:
    watch = room.watch()
    room.readings(watch, room.Clip().frames(8.0))
    reading = watch.step(Lost(time_s=8.5))
    assert reading is not None
    assert reading.state is State.NO_PICTURE
    assert reading.time_s == 8.5
    assert says_nothing(reading)


def test_after_a_loss_it_settles_anew(room: Room) -> None:
    """What was seen before tells nothing of a bed that nobody watched for half a minute."""
    watch = room.watch()
    room.readings(watch, room.Clip().frames(9.0))
    watch.step(Lost(time_s=9.5))
    back = room.readings(watch, room.Clip(drift_mm_s=0.0).frames(9.0, start_s=40.0))
    assert back[0].state is State.SETTLING
    first = next(reading for reading in back if reading.state is State.READING)
    assert 43.0 < first.time_s <= 48.0
    assert first.zones[0].speed_mm_s is not None
    assert first.zones[0].speed_mm_s < 0.5  # the drift of before is gone, not averaged in


def test_a_short_loss_counts_as_one_too(room: Room) -> None:
    """A camera unplugged for a second may have been moved."""
    watch = room.watch()
    room.readings(watch, room.Clip().frames(9.0))
    watch.step(Lost(time_s=9.2))
    back = room.readings(watch, room.Clip().frames(3.0, start_s=10.0))
    assert {reading.state for reading in back} == {State.SETTLING}


def ticks(start_s: float, end_s: float) -> Iterator[Tick]:
    """What a live source says while no picture comes."""
    return (Tick(time_s=float(time_s)) for time_s in np.arange(start_s, end_s, 0.05))


def test_while_a_live_source_is_silent_it_says_so_at_least_once_a_second(room: Room) -> None:
    watch = room.watch()
    before = room.readings(watch, room.Clip().frames(9.0))
    silent = room.readings(watch, ticks(9.0, 14.0))
    dark = [reading for reading in silent if reading.state is State.NO_PICTURE]
    assert silent[-len(dark) :] == dark  # at most the window then in view goes before
    assert all(says_nothing(reading) for reading in dark)
    assert dark[0].time_s < 10.0
    times = [before[-1].time_s, *(reading.time_s for reading in silent), 14.0]
    steps = np.diff(times)
    assert steps.min() > 0.0
    assert steps.max() <= 1.0


def test_after_a_silence_it_settles_anew(room: Room) -> None:
    watch = room.watch()
    room.readings(watch, [*room.Clip().frames(9.0), *ticks(9.0, 14.0)])
    back = room.readings(watch, room.Clip(drift_mm_s=0.0).frames(8.0, start_s=14.0))
    assert back[0].state is State.SETTLING
    assert back[0].time_s < 15.0
    first = next(reading for reading in back if reading.state is State.READING)
    assert first.zones[0].speed_mm_s is not None
    assert first.zones[0].speed_mm_s < 0.5  # the drift of before is gone, not averaged in


def test_a_hiccup_costs_no_settling(room: Room) -> None:
    """A network that hiccups for a second tells nothing of the bed."""
    watch = room.watch()
    room.readings(watch, room.Clip().frames(9.0))
    states = [reading.state for reading in room.readings(watch, ticks(9.0, 10.4))]
    assert State.NO_PICTURE in states
    back = room.readings(watch, room.Clip().frames(3.0, start_s=10.4))
    assert {reading.state for reading in back} == {State.READING}


def test_a_slow_camera_is_not_silent_between_its_pictures(room: Room) -> None:
    watch = room.watch()
    states = set()
    for frame in room.Clip(fps=1.0).frames(12.0):
        found = room.readings(watch, [frame, *ticks(frame.time_s + 0.05, frame.time_s + 1.0)])
        if frame.number > 6:  # by then its rate is known
            states |= {reading.state for reading in found}
    assert states
    assert State.NO_PICTURE not in states


def test_a_silence_while_the_bed_is_looked_for_begins_the_search_anew(room: Room) -> None:
    watch = Watch(room.bed)
    pictures = list(noise(20.0))
    room.readings(watch, [*pictures[:3], *ticks(0.6, 30.0)])
    for frame in pictures:
        room.readings(watch, [replace(frame, time_s=30.0 + frame.time_s)])
        if watch.not_found is not None:
            break
    assert watch.not_found is not None
    assert 32.0 < 30.0 + frame.time_s < 38.0  # as long as at the start of any source


@pytest.mark.parametrize("level", [0, 128, 255])
def test_blank_pictures_are_no_picture(room: Room, level: int) -> None:
    """Lens cap, white-out, or a cable that gives one grey: within a second or so, and no figure with it."""
    watch = room.watch()
    room.readings(watch, room.Clip().frames(8.0))
    dark = room.readings(watch, room.flat(level, 4.0, start_s=8.0))
    # A reading that falls due in the first frames may still be of what was seen before.
    assert {reading.state for reading in dark[1:]} == {State.NO_PICTURE}
    assert all(says_nothing(reading) for reading in dark[1:])


def test_a_frozen_picture_is_no_picture(room: Room) -> None:
    """A living camera's noise never repeats."""
    watch = room.watch()
    live = list(room.Clip().frames(4.0))
    room.readings(watch, live)
    frozen = [replace(live[-1], time_s=4.0 + number / 15, number=60 + number) for number in range(90)]
    readings = room.readings(watch, frozen)
    assert readings[-1].state is State.NO_PICTURE
    assert says_nothing(readings[-1])


def test_after_blank_pictures_it_settles_anew(room: Room) -> None:
    watch = room.watch()
    room.readings(watch, room.Clip().frames(8.0))
    room.readings(watch, room.flat(0, 2.0, start_s=8.0))
    back = room.readings(watch, room.Clip().frames(9.0, start_s=10.0))
    seen = [reading for reading in back if reading.state is not State.NO_PICTURE]
    assert seen[0].state is State.SETTLING
    first = next(reading for reading in seen if reading.state is State.READING)
    assert 13.0 < first.time_s <= 18.5  # eight seconds, and the blank window's own half second


def test_blank_from_the_start_to_the_end(room: Room) -> None:
    watch = room.watch()
    readings = room.readings(watch, room.flat(3, 10.0, start_s=0.0))
    last = watch.step(End())
    assert last is None or last.state is State.NO_PICTURE
    assert {reading.state for reading in readings} == {State.NO_PICTURE}
