"""A hand, a frozen picture, mains light: which state is said, and when."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.judge.types import HintWord, Reading, State

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Room

    from bedwatch.frames.frame import Frame

BEGIN_S, END_S = 8.0, 10.0


def with_hand(frames: Iterator[Frame]) -> Iterator[Frame]:
    """Something 90 mm wide over the middle of the bed between BEGIN_S and END_S."""
    for frame in frames:
        if not BEGIN_S <= frame.time_s < END_S:
            yield frame
            continue
        picture = frame.picture.copy()
        picture[:90, 70:130] = 205
        picture.setflags(write=False)
        yield replace(frame, picture=picture)


@pytest.fixture(scope="module")
def handled(room: Room) -> list[Reading]:
    return room.readings(room.watch(), with_hand(room.Clip().frames(19.5)))


def test_a_hand_blocks_within_half_a_second_and_for_as_long_as_it_is_there(handled: list[Reading]) -> None:
    within = [reading for reading in handled if BEGIN_S + 0.5 <= reading.time_s < END_S]
    assert {reading.state for reading in within} == {State.BLOCKED}
    first = next(reading.time_s for reading in handled if reading.state is State.BLOCKED)
    assert BEGIN_S <= first <= BEGIN_S + 0.5  # said at once, not when the next reading is due
    for reading in within:
        assert {zone.hint for zone in reading.zones} == {HintWord.WAIT}
        assert reading.next is None
        assert reading.faults == ()


def test_it_is_over_within_three_seconds_and_read_again_within_eight(handled: list[Reading]) -> None:
    after = [reading for reading in handled if reading.time_s >= END_S]
    over = next(reading.time_s for reading in after if reading.state is not State.BLOCKED)
    assert over <= END_S + 3.0
    again = next(reading.time_s for reading in after if reading.state is State.READING)
    assert again <= END_S + 8.5  # eight seconds of undisturbed picture, and half a second until that is sure


def test_before_the_hand_all_was_read(handled: list[Reading]) -> None:
    assert [reading.state for reading in handled if 7.0 < reading.time_s < BEGIN_S] == [State.READING]


def with_shadow(frames: Iterator[Frame]) -> Iterator[Frame]:
    """A shadow some 90 mm wide that passes over bed and bench between BEGIN_S and END_S."""
    for frame in frames:
        if not BEGIN_S <= frame.time_s < END_S:
            yield frame
            continue
        width = frame.picture.shape[1]
        at = -60 + (width + 120) * (frame.time_s - BEGIN_S) / (END_S - BEGIN_S)
        shade = 1 - 0.5 * np.exp(-(((np.arange(width) - at) / 30) ** 4))
        picture = np.rint(frame.picture * shade.reshape(1, -1, *[1] * (frame.picture.ndim - 2))).astype(np.uint8)
        picture.setflags(write=False)
        yield replace(frame, picture=picture)


def test_a_shadow_that_passes_over_everything_hides_nothing(room: Room) -> None:
    readings = room.readings(room.watch(), with_shadow(room.Clip().frames(19.5)))
    before = [reading for reading in readings if reading.state is State.READING and reading.time_s < BEGIN_S][-1]
    said = {zone.zone: {zone.hint, HintWord.WAIT} for zone in before.zones}
    for reading in readings:
        assert reading.state is not State.BLOCKED, reading.time_s
        if reading.time_s >= BEGIN_S:
            assert all(zone.hint in said[zone.zone] for zone in reading.zones), reading.time_s
            assert reading.faults == ()
    assert readings[-1].state is State.READING


def test_frames_that_only_repeat_are_no_picture_before_two_seconds(room: Room) -> None:
    """Marked as repeats, as a source does that is handed the same picture over and over."""
    watch = room.watch()
    live = list(room.Clip().frames(8.0))
    room.readings(watch, iter(live))
    stuck = (replace(live[-1], time_s=8.0 + n / 15, number=120 + n, repeated=True) for n in range(60))
    states = [(reading.time_s, reading.state) for reading in room.readings(watch, stuck)]
    assert all(state is State.NO_PICTURE for time_s, state in states if time_s > 9.9)
    assert all(state is State.READING for time_s, state in states if time_s < 9.5)


def test_mains_bands_do_not_move_the_still_half(room: Room) -> None:
    """50 Hz light through a rolling shutter at 15 frames a second would make bands that roll; the bench beside shows them."""

    def banded() -> Iterator[Frame]:
        rows = np.arange(150)[:, None] / 150 * 0.03
        for frame in room.Clip().frames(9.0):
            light = frame.picture * (1 + 0.05 * np.sin(2 * np.pi * 97.3 * (frame.time_s + rows)))
            picture = np.clip(np.rint(light), 0, 255).astype(np.uint8)
            picture.setflags(write=False)
            yield replace(frame, picture=picture)

    reading = room.readings(room.watch(), banded())[-1]
    assert reading.state is State.READING
    assert reading.zones[1].live is not None
    assert reading.zones[1].live < 0.25  # as without bands: what lies at the border between the halves
    assert reading.zones[1].hint is HintWord.MORE_AIR
