"""Live sources, with stand-ins for the camera; events, not clocks, decide the order."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from itertools import islice, pairwise

import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Outcome, Tick
from bedwatch.frames.live import LiveSource


class Camera:
    """Gives the pictures it is handed, when it is told to; notes which thread touches it."""

    def __init__(self, count: int, gate: threading.Semaphore | None = None) -> None:
        self.left = count
        self.gate = gate
        self.given = threading.Semaphore(0)
        self.threads: set[str] = set()
        self.released = threading.Event()

    def isOpened(self) -> bool:  # noqa: N802
        self.threads.add(threading.current_thread().name)
        return True

    def read(self) -> tuple[bool, object]:
        self.threads.add(threading.current_thread().name)
        if self.gate is not None:
            self.gate.acquire(timeout=5)
        self.given.release()
        self.left -= 1
        return self.left >= 0, np.full((30, 40, 3), max(self.left, 0) * 9 % 251, np.uint8)

    def release(self) -> None:
        self.threads.add(threading.current_thread().name)
        self.released.set()


def dead() -> Iterator[Camera]:
    while True:
        yield Camera(0)


def test_a_slow_reader_gets_the_newest_and_is_told_how_many_it_missed() -> None:
    gate = threading.Semaphore(1)
    camera = Camera(100, gate)
    source = LiveSource("camera 3", lambda: camera, give_up_s=0.0)
    frames = iter(source)
    first = next(frames)
    for _ in range(6):
        gate.release()
    for _ in range(7):
        camera.given.acquire(timeout=5)
    # The seventh read has begun, so the sixth picture, at least, lies in the slot.
    gate.release()
    camera.given.acquire(timeout=5)
    second = next(frames)
    assert first.dropped_before == 0
    assert second.dropped_before >= 5
    assert second.time_s > first.time_s == 0.0
    assert second.number == 1
    for _ in range(100):
        gate.release()
    source.close()
    assert camera.released.is_set()


def test_one_thread_alone_opens_reads_and_releases() -> None:
    camera = Camera(5)
    later = dead()
    cameras = iter([camera])
    source = LiveSource("camera 3", lambda: next(cameras, None) or next(later), give_up_s=0.0)
    assert len(list(source)) >= 1
    source.close()
    assert camera.threads == {"capture camera 3"}


def test_a_camera_that_comes_back_goes_on_in_time() -> None:
    gate = threading.Semaphore(0)
    second = Camera(1, gate)
    cameras: Iterator[Camera] = iter([Camera(1), second])
    later = dead()
    source = LiveSource("camera 3", lambda: next(cameras, None) or next(later), give_up_s=0.5)
    frames = iter(source)
    a = next(frames)
    for _ in range(20):
        gate.release()
    b = next(frames)
    assert b.time_s > a.time_s
    assert list(frames) == []
    assert source.outcome is Outcome.LOST
    assert source.notes == ("camera 3: lost, and did not come back within 0.5 s",)
    source.close()


class Takes:
    """A camera that gives what it is handed, None for a read that fails; then it waits until it is let go."""

    def __init__(self, sizes: Sequence[tuple[int, int] | None], pause_s: float = 0.0) -> None:
        self.sizes = list(sizes)
        self.pause_s = pause_s
        self.let_go = threading.Event()
        self.opened = 0

    def isOpened(self) -> bool:  # noqa: N802
        return True

    def open(self) -> Takes:
        self.opened += 1
        return self

    def read(self) -> tuple[bool, object]:
        if not self.sizes:
            self.let_go.wait(5)
            return False, None
        size = self.sizes.pop(0)
        time.sleep(self.pause_s)
        return size is not None, None if size is None else np.zeros((size[1], size[0], 3), np.uint8)

    def release(self) -> None:
        pass


def test_ticks_tell_that_nothing_comes_and_never_run_ahead_of_a_picture() -> None:
    gate = threading.Semaphore(1)
    source = LiveSource("camera 3", lambda: Camera(100, gate), give_up_s=5.0)
    moments = source.moments()
    first = next(moments)
    assert isinstance(first, Frame)
    quiet = [next(moments) for _ in range(3)]
    assert all(isinstance(moment, Tick) for moment in quiet)
    gate.release()
    back = next(moment for moment in moments if isinstance(moment, Frame))
    times = [first.time_s, *(moment.time_s for moment in quiet), back.time_s]
    assert all(a < b for a, b in pairwise(times))
    for _ in range(100):
        gate.release()
    source.close()


def test_reads_that_fail_now_and_then_are_damage_and_no_loss() -> None:
    camera = Takes([(40, 30), None, None, (40, 30), *[None] * 5, (40, 30)], pause_s=0.01)
    source = LiveSource("camera 3", camera.open)
    frames = iter(source)
    assert [next(frames).number for _ in range(3)] == [0, 1, 2]
    assert camera.opened == 1
    assert source.notes == ()
    camera.let_go.set()
    source.close()


def test_a_picture_of_another_size_now_and_then_is_left_out_and_counted() -> None:
    camera = Takes([(40, 30), (20, 10), (20, 10), (40, 30)], pause_s=0.1)
    source = LiveSource("camera 3", camera.open)
    frames = list(islice(source, 1))
    for frame in source:
        frames.append(frame)
        if sum(one.dropped_before for one in frames) + len(frames) >= 4:
            break
    assert {frame.picture.shape for frame in frames} == {(30, 40, 3)}
    assert sum(one.dropped_before for one in frames) >= 2
    camera.let_go.set()
    source.close()


def test_pictures_of_another_size_that_go_on_are_a_mistake() -> None:
    camera = Takes([(40, 30), *[(20, 10)] * 50], pause_s=0.1)
    source = LiveSource("camera 3", camera.open)
    with pytest.raises(
        UserError, match="camera 3: found pictures of 20 x 10 px now, expected 40 x 30 px as at the start"
    ):
        list(source)
    camera.let_go.set()
    source.close()


def test_nothing_at_the_start_is_a_mistake() -> None:
    with pytest.raises(UserError, match="camera 3: found no picture coming from it, expected a plug; put it in"):
        LiveSource("camera 3", lambda: Camera(0), wanted="expected a plug; put it in")
