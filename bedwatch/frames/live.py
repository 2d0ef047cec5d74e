"""Cameras and network streams: the newest frame, on a clock that only rises, and an honest end when lost.

Releasing a capture while another thread reads from it ends the process, so one thread alone opens, reads and
releases. It keeps only the newest picture: a slow reader would otherwise fall behind by seconds.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from threading import Condition, Thread
from typing import Protocol

import numpy as np

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Outcome, Picture, Tick
from bedwatch.frames.repeats import RepeatWatch

OPEN_TIMEOUT_S = 5.0
READ_TIMEOUT_S = 2.0
# A plug put back, or a network camera that starts anew, takes up to half a minute: common experience, no source.
GIVE_UP_S = 40.0
TICK_S = 0.05
# Damage costs a connection too and is over at once; a loss that lasts is told, and tried less often.
_LOSS_S = 1.5
_RETRY_S, _AT_ONCE_S = 0.5, 0.1
# Damage makes read() fail as a loss does, but pictures follow at once; after a loss it fails again within microseconds.
_FAILS = 8
# So long, and so many of them, and another size is no damage: the camera was set anew.
_OTHER_SIZE_S, _OTHER_SIZE = 1.0, 5
_CLOSE_S = 1.0
# Some cameras take 20 s to open (reports on OpenCV's MSMF back end).
_FIRST_S = 30.0
WANTED = "expected one that runs; start it and try again"


class Capture(Protocol):
    """The part of `cv2.VideoCapture` that is used, so that a test can stand in for it."""

    def isOpened(self) -> bool: ...  # noqa: N802
    def read(self) -> tuple[bool, object]: ...
    def release(self) -> None: ...


class LiveSource:
    """A camera or stream as a `Source`.

    Frames are stamped when they arrive, by the monotonic clock, from the first. Frames that arrived while
    the reader was busy are counted in `dropped_before`, and so are pictures of another size than the first. When
    reading fails the capture is opened anew for up to give_up_s seconds; then the iterator ends with `Outcome.LOST`.
    `moments` also says when there is no picture. Raises UserError if no picture comes at the start, and where the
    frames are used if only pictures of another size come.
    """

    live = True
    duration_s: float | None = None

    def __init__(
        self,
        name: str,
        opener: Callable[[], Capture],
        give_up_s: float = GIVE_UP_S,
        *,
        wanted: str = WANTED,
        told: Callable[[], tuple[str, ...]] = tuple,
    ) -> None:
        """name: how the user knows it; wanted: "expected ...; what to do", for when no picture comes at the start; told: what
        the opener has to say."""
        self._told = told
        self._name = name
        self._wanted = wanted
        self._opener = opener
        self._give_up_s = give_up_s
        self._news = Condition()
        self._slot: tuple[Picture, float, int] | None = None  # with how many were missed before it
        self._missed = 0  # since then
        self._stop = False
        self._ended = False
        self._mistake: UserError | None = None
        self._notes: list[str] = []
        self._size: tuple[int, int] | None = None
        self._first_s = 0.0  # both by the monotonic clock, of the pictures that came
        self._last_s: float | None = None
        self._waiting = False
        self._other: list[float] = []
        self._number = 0
        self._repeats = RepeatWatch()
        self.outcome = Outcome.OPEN
        self._thread = Thread(target=self._run, name=f"capture {name}", daemon=True)
        self._thread.start()
        self.size_px: tuple[int, int] = self._first_size()

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should be told, one line each."""
        with self._news:
            return (*self._told(), *self._notes)

    def __iter__(self) -> Iterator[Frame]:
        return (moment for moment in self.moments() if isinstance(moment, Frame))

    def moments(self) -> Iterator[Frame | Tick]:
        """The frames, and a tick for every TICK_S without one, in order of time."""
        while True:
            with self._news:
                self._news.wait_for(lambda: self._slot is not None or self._ended or self._stop, TICK_S)
                if self._stop:
                    return
                if self._mistake is not None:
                    raise self._mistake
                now_s = time.monotonic() - self._first_s
                taken, self._slot = self._slot, None
                if taken is None and self._ended:
                    self.outcome = Outcome.LOST
                    return
            yield Tick(time_s=now_s) if taken is None else self._frame(*taken)

    def close(self) -> None:
        """Ask the capture thread to end and wait a moment; one that is stuck in a read ends after it, or with the process."""
        with self._news:
            self._stop = True
            self._news.notify_all()
        self._thread.join(_CLOSE_S)

    def _frame(self, picture: Picture, at_s: float, missed: int) -> Frame:
        picture.flags.writeable = False
        number, self._number = self._number, self._number + 1
        return Frame(
            picture=picture,
            time_s=at_s - self._first_s if number else 0.0,
            number=number,
            dropped_before=missed if number else 0,
            repeated=self._repeats.repeated(picture),
        )

    def _first_size(self) -> tuple[int, int]:
        with self._news:
            self._news.wait_for(lambda: self._size is not None or self._ended, timeout=_FIRST_S)
            if self._size is not None:
                return self._size
            self._stop = True
        raise UserError(f"{self._name}: found no picture coming from it, {self._wanted}")

    def _run(self) -> None:
        try:
            while not self._stop:
                self._drain()
                with self._news:
                    if not self._wait_on():
                        break
                    self._news.wait_for(lambda: self._stop, _RETRY_S if self._waiting else _AT_ONCE_S)
        finally:
            with self._news:
                self._ended = True
                self._news.notify_all()

    def _drain(self) -> None:
        """Open, read until it fails, release."""
        try:
            capture = self._opener()
        except cv2.error:
            return
        failed = 0
        try:
            while not self._stop and self._mistake is None and capture.isOpened():
                began_s = time.monotonic()
                ok, picture = capture.read()
                if ok:
                    failed = 0
                    self._put(np.asarray(picture, np.uint8))
                    continue
                failed += 1
                if failed >= _FAILS or time.monotonic() - began_s > READ_TIMEOUT_S / 2:
                    return
        except cv2.error:
            return
        finally:
            capture.release()

    def _put(self, picture: Picture) -> None:
        """Into the slot, over what lies there."""
        size = (picture.shape[1], picture.shape[0])
        with self._news:
            # Read under the lock: no tick that was given out can then be later.
            at_s = time.monotonic()
            if self._size not in (None, size):
                self._leave_out(size, at_s)
                return
            self._other.clear()
            if self._last_s is None:
                self._size, self._first_s = size, at_s
            elif self._waiting:
                self._waiting = False
                self._notes.append(
                    f"{self._name}: back at {at_s - self._first_s:.1f} s, was lost for {at_s - self._last_s:.1f} s"
                )
            missed = self._missed if self._slot is None else self._missed + 1 + self._slot[2]
            self._slot, self._last_s, self._missed = (picture, at_s, missed), at_s, 0
            self._news.notify_all()

    def _leave_out(self, size: tuple[int, int], at_s: float) -> None:
        """A picture of another size: damage, unless they go on."""
        self._missed += 1
        self._other.append(at_s)
        if len(self._other) >= _OTHER_SIZE and at_s - self._other[0] >= _OTHER_SIZE_S and self._size is not None:
            self._mistake = UserError(
                f"{self._name}: found pictures of {size[0]} x {size[1]} px now, expected {self._size[0]} x {self._size[1]} px "
                "as at the start; set the camera back, or start again and aim anew"
            )
            self._news.notify_all()

    def _wait_on(self) -> bool:
        """Whether to try again, after a loss; says so once, if it lasts."""
        if self._last_s is None or self._mistake is not None or self._stop:
            return False
        gone_s = time.monotonic() - self._last_s
        if gone_s > self._give_up_s:
            self._notes.append(f"{self._name}: lost, and did not come back within {self._give_up_s:g} s")
            return False
        if gone_s > _LOSS_S and not self._waiting:
            self._waiting = True
            lost_s = self._last_s - self._first_s
            self._notes.append(f"{self._name}: lost at {lost_s:.1f} s, waiting up to {self._give_up_s:g} s for it")
        return True


def open_stream(url: str, give_up_s: float = GIVE_UP_S) -> LiveSource:
    """A network stream; `http(s)://` and `rtsp(s)://`, with time limits on opening and reading."""
    limits = [
        int(cv2.CAP_PROP_OPEN_TIMEOUT_MSEC),
        int(OPEN_TIMEOUT_S * 1000),
        int(cv2.CAP_PROP_READ_TIMEOUT_MSEC),
        int(READ_TIMEOUT_S * 1000),
    ]
    wanted = "expected a stream that runs; check the address, the network, and that the camera is on"
    return LiveSource(url, lambda: cv2.VideoCapture(url, cv2.CAP_FFMPEG, limits), give_up_s, wanted=wanted)
