"""Cameras and network streams: the newest frame, on a clock that only rises, and an honest end when lost.

Releasing a capture while another thread reads from it ends the process, so one thread alone opens, reads and
releases. It keeps only the newest picture: a slow reader would otherwise fall behind by seconds.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from threading import Condition, Thread
from typing import Protocol

import numpy as np

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Outcome, Picture
from bedwatch.frames.repeats import RepeatWatch

OPEN_TIMEOUT_S = 5.0
READ_TIMEOUT_S = 2.0
GIVE_UP_S = 10.0
_RETRY_S = 0.5
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
    the reader was busy are counted in `dropped_before`. When reading fails the capture is opened anew for
    up to give_up_s seconds; then the iterator ends with `Outcome.LOST`. Raises UserError if no picture comes
    at the start.
    """

    live = True
    duration_s: float | None = None

    def __init__(
        self, name: str, opener: Callable[[], Capture], give_up_s: float = GIVE_UP_S, *, wanted: str = WANTED
    ) -> None:
        """name: how the user knows it; wanted: "expected ...; what to do", for when no picture comes at the start."""
        self._name = name
        self._wanted = wanted
        self._opener = opener
        self._give_up_s = give_up_s
        self._news = Condition()
        self._slot: tuple[Picture, float] | None = None
        self._overwritten = 0
        self._stop = False
        self._ended = False
        self._notes: list[str] = []
        self._first_s: float | None = None
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
            return tuple(self._notes)

    def __iter__(self) -> Iterator[Frame]:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._slot is not None or self._ended or self._stop)
                if self._stop:
                    return
                if self._slot is None:
                    self.outcome = Outcome.LOST
                    return
                (picture, at_s), dropped = self._slot, self._overwritten
                self._slot, self._overwritten = None, 0
            yield self._frame(picture, at_s, dropped)

    def close(self) -> None:
        """Ask the capture thread to end and wait for it, at most a little longer than a read may take."""
        with self._news:
            self._stop = True
            self._news.notify_all()
        self._thread.join(READ_TIMEOUT_S + OPEN_TIMEOUT_S + 1.0)

    def _frame(self, picture: Picture, at_s: float, dropped: int) -> Frame:
        if self._first_s is None:
            self._first_s = at_s
        picture.flags.writeable = False
        frame = Frame(
            picture=picture,
            time_s=at_s - self._first_s,
            number=self._number,
            dropped_before=dropped if self._number else 0,
            repeated=self._repeats.repeated(picture),
        )
        self._number += 1
        return frame

    def _first_size(self) -> tuple[int, int]:
        with self._news:
            self._news.wait_for(lambda: self._slot is not None or self._ended, timeout=_FIRST_S)
            if self._slot is not None:
                height, width = self._slot[0].shape[:2]
                return width, height
            self._stop = True
        raise UserError(f"{self._name}: found no picture coming from it, {self._wanted}")

    def _run(self) -> None:
        last_at_s: float | None = None
        try:
            while not self._stop:
                last_at_s = self._drain(last_at_s)
                if last_at_s is None or time.monotonic() - last_at_s > self._give_up_s:
                    break
                time.sleep(_RETRY_S)
        finally:
            with self._news:
                if last_at_s is not None and not self._stop:
                    self._notes.append(f"{self._name}: lost, and did not come back within {self._give_up_s:g} s")
                self._ended = True
                self._news.notify_all()

    def _drain(self, last_at_s: float | None) -> float | None:
        """Open, read until it fails, release. When the last picture came, ever."""
        try:
            capture = self._opener()
        except cv2.error:
            return last_at_s
        sent = False
        try:
            while capture.isOpened() and not self._stop:
                ok, picture = capture.read()
                at_s = time.monotonic()
                if not ok:
                    break
                with self._news:
                    if last_at_s is not None and not sent:
                        self._notes.append(f"{self._name}: lost for {at_s - last_at_s:.1f} s")
                    self._overwritten += self._slot is not None
                    self._slot = (np.asarray(picture, np.uint8), at_s)
                    self._news.notify_all()
                sent, last_at_s = True, at_s
        finally:
            capture.release()
        return last_at_s


def open_camera(number: int) -> LiveSource:
    """The camera of that number, asked for 1280 x 720 at 30/s as MJPEG; what it gives is what counts."""
    backend = {"linux": cv2.CAP_V4L2, "darwin": cv2.CAP_AVFOUNDATION, "win32": cv2.CAP_DSHOW}

    def opener() -> Capture:
        capture = cv2.VideoCapture(number, backend.get(sys.platform, cv2.CAP_ANY))
        if capture.isOpened():
            # The pixel format first: raw 720p over USB 2 is 10 frames a second at best.
            capture.set(cv2.CAP_PROP_FOURCC, float(cv2.VideoWriter.fourcc(*"MJPG")))
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, 1280.0)
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, 720.0)
            capture.set(cv2.CAP_PROP_FPS, 30.0)
        return capture

    wanted = (
        "expected a camera that is there and not in use; check its plug and number, and that no other program holds it"
    )
    return LiveSource(f"camera {number}", opener, wanted=wanted)


def open_stream(url: str) -> LiveSource:
    """A network stream; `http(s)://` and `rtsp(s)://`, with time limits on opening and reading."""
    limits = [
        int(cv2.CAP_PROP_OPEN_TIMEOUT_MSEC),
        int(OPEN_TIMEOUT_S * 1000),
        int(cv2.CAP_PROP_READ_TIMEOUT_MSEC),
        int(READ_TIMEOUT_S * 1000),
    ]
    wanted = "expected a stream that runs; check the address, the network, and that the camera is on"
    return LiveSource(url, lambda: cv2.VideoCapture(url, cv2.CAP_FFMPEG, limits), wanted=wanted)
