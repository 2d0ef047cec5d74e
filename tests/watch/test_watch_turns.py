"""While all is calm some frames of a fast camera are passed over; what is read stays the same, and nothing is missed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.frames.frame import Frame, Passed
from bedwatch.judge.types import Reading, State
from bedwatch.watch import Watch

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from conftest import Room

FPS = 30.0


def in_turn(watch: Watch, frames: Iterable[Frame], asked: list[int]) -> Iterator[Frame | Passed]:
    """As a file gives them; `asked` gets the numbers of those that were wanted."""
    for frame in frames:
        if watch.wants(frame.number):
            asked.append(frame.number)
            yield frame
        else:
            yield Passed(time_s=frame.time_s, number=frame.number, repeated=frame.repeated)


def followed(room: Room, frames: Iterable[Frame]) -> tuple[list[Reading], list[int]]:
    watch, asked = room.watch(), list[int]()
    return room.readings(watch, in_turn(watch, frames, asked)), asked


def share(asked: list[int], from_s: float, until_s: float) -> float:
    return sum(from_s <= number / FPS < until_s for number in asked) / round((until_s - from_s) * FPS)


@pytest.fixture(scope="module")
def plain(room: Room) -> list[Frame]:
    return list(room.Clip(fps=FPS).frames(10.0))


def test_the_reading_is_that_of_all_frames_but_for_chance(room: Room, plain: list[Frame]) -> None:
    some, asked = followed(room, plain)
    assert share(asked, 3.0, 10.0) == pytest.approx(0.6, abs=0.02)
    watch = room.watch()
    watch.wants = lambda _: True  # type: ignore[method-assign]
    every = room.readings(watch, plain)
    assert [reading.time_s for reading in some] == pytest.approx([reading.time_s for reading in every], abs=1e-6)
    assert [reading.state for reading in some] == [reading.state for reading in every]
    moving, before = some[-1].zones[0], every[-1].zones[0]
    assert moving.speed_mm_s == pytest.approx(before.speed_mm_s, abs=2 * before.speed_error_mm_s)
    assert [zone.hint for zone in some[-1].zones] == [zone.hint for zone in every[-1].zones]


def test_frames_that_are_given_all_the_same_change_nothing(room: Room, plain: list[Frame]) -> None:
    """A camera gives all of them: those whose turn it is not are not looked at either."""
    some, _ = followed(room, plain)
    assert room.readings(room.watch(), plain) == some


def test_a_hand_is_told_as_soon_and_all_are_looked_at_while_it_is_there(room: Room) -> None:
    handled = []
    for frame in room.Clip(fps=FPS).frames(9.0):
        if frame.time_s >= 6.0:
            picture = frame.picture.copy()
            picture[:90, 70:130] = 205
            frame = replace(frame, picture=picture)
        handled.append(frame)
    readings, asked = followed(room, handled)
    told = next(reading.time_s for reading in readings if reading.state is State.BLOCKED)
    assert 6.0 <= told <= 6.5
    assert share(asked, 4.0, 6.0) < 0.65
    assert share(asked, 6.3, 9.0) == 1.0


def test_flicker_asks_for_all(room: Room) -> None:
    """A lamp at 100 Hz beats ten times a second at 30 frames a second; it is switched on at three seconds."""
    lit = []
    for frame in room.Clip(fps=FPS).frames(12.0):
        swing = 1.0 + 0.04 * np.sin(2 * np.pi * 10.0 * frame.time_s) * (frame.time_s > 3.0)
        lit.append(replace(frame, picture=np.clip(frame.picture * swing + 0.5, 0, 255).astype(np.uint8)))
    readings, asked = followed(room, lit)
    assert "flicker" in {problem.kind for problem in readings[-1].problems}
    assert share(asked, 2.0, 3.0) < 0.65
    assert share(asked, 11.5, 12.0) == 1.0


def test_a_picture_again_asks_for_all(room: Room, plain: list[Frame]) -> None:
    again = [replace(frame, repeated=frame.number == 150) for frame in plain]
    _, asked = followed(room, again)
    assert share(asked, 3.0, 5.0) < 0.65
    assert share(asked, 5.1, 9.9) == 1.0


def test_a_slow_camera_has_none_to_spare(room: Room) -> None:
    _, asked = followed(room, room.Clip(fps=20.0).frames(6.0))
    assert asked == list(range(120))
