"""Live sources, with stand-ins for the camera; events, not clocks, decide the order."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.frame import Outcome
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
    source = LiveSource("camera 3", lambda: next(cameras, None) or next(later), give_up_s=1.0)
    frames = iter(source)
    a = next(frames)
    gate.release()
    b = next(frames)
    gate.release()
    assert b.time_s > a.time_s
    assert list(frames) == []
    assert source.outcome is Outcome.LOST
    assert source.notes[0].startswith("camera 3: lost for ")
    assert source.notes[1] == "camera 3: lost, and did not come back within 1 s"
    source.close()


def test_nothing_at_the_start_is_a_mistake() -> None:
    with pytest.raises(UserError, match="camera 3: found no picture coming from it, expected a plug; put it in"):
        LiveSource("camera 3", lambda: Camera(0), wanted="expected a plug; put it in")
