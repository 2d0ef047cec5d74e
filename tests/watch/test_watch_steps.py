"""Frames in, readings out: the joiner as a step function."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame
from bedwatch.judge.types import Did, Done, HintWord, Reading, State
from bedwatch.watch import End, Lost, Watch

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import Room


def test_settling_then_reading_by_eight_seconds(twelve_seconds: list[Reading]) -> None:
    """Eight seconds of undisturbed picture must give a reading; before the first it is settling throughout."""
    states = [reading.state for reading in twelve_seconds]
    first = states.index(State.READING)
    assert set(states[:first]) == {State.SETTLING}
    assert set(states[first:]) == {State.READING}
    assert 3.0 < twelve_seconds[first].time_s <= 8.0


def test_readings_come_one_to_five_times_a_second(twelve_seconds: list[Reading]) -> None:
    times = [0.0, *(reading.time_s for reading in twelve_seconds)]
    steps = np.diff(times)
    assert steps[:-1].min() >= 0.2 - 1e-9
    assert steps.max() <= 1.0 + 1e-9
    assert steps[-1] > 0  # the last one is for whatever is left


def test_what_is_seen_is_what_is_there(twelve_seconds: list[Reading]) -> None:
    """The left zone drifts at 12 mm/s, the right one is still; whole-picture drift is nobody's eruption, so only motion and
    live are checked here. 8 %: 6 % of the meter, 1 mm in 120 of aim, bilinear resampling twice."""
    left, right = twelve_seconds[-1].zones
    assert left.speed_mm_s == pytest.approx(12.0, rel=0.08)
    assert left.live is not None
    assert left.live > 0.95
    assert right.live is not None
    # The window of the blocks at the border between halves, 15 mm of 120, sees both.
    assert right.live < 0.2
    assert right.hint is HintWord.MORE_AIR


def test_the_same_clip_gives_the_same_readings(room: Room, twelve_seconds: list[Reading]) -> None:
    again = room.readings(room.watch(), [*room.Clip().frames(12.0), End()])
    assert again == twelve_seconds


def test_colour_pictures_read_as_grey_ones(room: Room) -> None:
    """The three channels alike: grey by any weights that add up to one, to one level of rounding."""
    watch, grey = room.watch(), room.watch()
    for frame in room.Clip().frames(2.0):
        grey.step(frame)
        watch.step(replace(frame, picture=np.repeat(frame.picture[..., None], 3, axis=2)))
    one, two = watch.step(End()), grey.step(End())
    assert one is not None
    assert two is not None
    assert one.zones[0].speed_mm_s == pytest.approx(two.zones[0].speed_mm_s, rel=0.01)


def test_no_clock_is_looked_at(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """Replay, live and simulation are one path: time is what the frames say, and nothing waits."""

    here = threading.get_ident()  # servers of other tests may run on in threads of their own

    def refusing(clock: Callable[..., object]) -> Callable[..., object]:
        def refuse(*arguments: object) -> object:
            assert threading.get_ident() != here, "the joiner looked at the clock"
            return clock(*arguments)

        return refuse

    watch = room.watch()
    for name in ("time", "monotonic", "perf_counter", "sleep", "time_ns", "monotonic_ns", "perf_counter_ns"):
        monkeypatch.setattr(time, name, refusing(getattr(time, name)))
    readings = room.readings(watch, [*room.Clip().frames(1.5), Lost(time_s=3.0), End()])
    monkeypatch.undo()
    assert len(readings) >= 2


def test_readings_do_not_depend_on_how_fast_frames_are_handed_over(room: Room) -> None:
    """Half the frame rate, same times of reading to within a frame."""
    fast, slow = (room.readings(room.watch(), room.Clip(fps=fps).frames(5.0)) for fps in (15.0, 7.5))
    assert len(fast) == len(slow)
    assert np.abs(np.array([r.time_s for r in fast]) - [r.time_s for r in slow]).max() <= 1 / 7.5 + 1e-9


def test_the_end_gives_the_last_reading_for_the_window_then_in_view(room: Room) -> None:
    watch = room.watch()
    readings = room.readings(watch, room.Clip().frames(9.6))
    last = watch.step(End())
    assert last is not None
    assert last.time_s == pytest.approx(9.6 - 1 / 15)  # that of the newest frame
    assert last.time_s > readings[-1].time_s
    assert last.state is State.READING


def test_the_end_does_not_say_the_same_twice(room: Room) -> None:
    watch = room.watch()
    for frame in room.Clip().frames(20.0):
        if watch.step(frame) is not None and frame.time_s > 1.0:
            break
    assert watch.step(End()) is None


def test_a_source_cut_short_is_told(room: Room) -> None:
    watch = room.watch()
    room.readings(watch, room.Clip().frames(3.0))
    last = watch.step(End(cut_short=True))
    assert last is not None
    assert "dropped_frames" in [problem.kind.value for problem in last.problems]


def test_a_short_clip_ends_settling(room: Room) -> None:
    watch = room.watch()
    room.readings(watch, room.Clip().frames(2.0))
    last = watch.step(End())
    assert last is not None
    assert last.state is State.SETTLING
    assert {zone.hint for zone in last.zones} == {HintWord.WAIT}


def test_one_frame_and_no_frame(room: Room) -> None:
    watch = room.watch()
    assert room.readings(watch, room.Clip().frames(1 / 15)) == []
    last = watch.step(End())
    assert last is None or last.state is not State.READING
    empty = room.watch()
    last = empty.step(End())
    assert last is None or last.state is not State.READING


def test_repeated_frames_do_not_slow_the_surface_down(room: Room) -> None:
    """A recorder that fills gaps gives every third picture twice, marked; the repeats tell nothing of the powder."""
    watch = room.watch()
    frames = list(room.Clip(fps=30.0).frames(4.0))
    for before, frame in zip([frames[0], *frames], frames, strict=False):
        again = frame.number % 3 == 2
        watch.step(replace(frame, picture=before.picture, repeated=True) if again else frame)
    last = watch.step(End())
    assert last is not None
    # Steps of one and two frame times mixed: a little more than the meter's own 6 %.
    assert last.zones[0].speed_mm_s == pytest.approx(12.0, rel=0.1)
    assert "dropped_frames" in [problem.kind.value for problem in last.problems]


def test_a_picture_of_another_size_than_the_aims(room: Room) -> None:
    watch = room.watch()
    picture = np.zeros((240, 320), np.uint8)
    with pytest.raises(UserError) as caught:
        watch.step(Frame(picture=picture, time_s=0.0, number=0))
    (line,) = caught.value.lines
    assert "200 x 150" in line  # what the aim is for
    assert "320 x 240" in line  # what was found


def test_an_aim_without_a_size_takes_any_picture(room: Room) -> None:
    watch = Watch(room.bed, replace(room.aim, size_px=None))
    assert room.readings(watch, room.Clip().frames(1.0))


def test_a_move_that_was_made_starts_the_window_anew(room: Room) -> None:
    """What was seen before tells nothing of the air now: settling, then a reading within eight seconds."""
    watch = room.watch()
    before = room.readings(watch, list(room.Clip().frames(9.0)))
    assert before[-1].state is State.READING
    assert watch.step(Did(do=Done.LESS_AIR, zone="1", amount=0.2)) is None
    after = room.readings(watch, list(room.Clip().frames(9.0, start_s=9.0)))
    assert after[0].state is State.SETTLING
    assert after[0].next is None
    assert next(one.time_s for one in after if one.state is State.READING) <= 17.0
