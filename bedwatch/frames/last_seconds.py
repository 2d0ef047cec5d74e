"""The last seconds of a live source, kept so that they can be written down when something was worth seeing."""

from __future__ import annotations

from collections import deque
from pathlib import Path

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.frames.mjpeg_avi import Shot, write_mjpeg_avi

KEPT_S = 30.0
# The powder's grain is what is measured: at lower qualities the coder takes it for noise.
QUALITY = 92
MOST_BYTES = 400_000_000


class LastSeconds:
    """The newest KEPT_S of one part of the picture, each picture coded by itself as JPEG. part: rows and columns.

    Never more than MOST_BYTES: with very large pictures the seconds kept are fewer.
    """

    def __init__(self, part: tuple[slice, slice]) -> None:
        self._part = part
        self._shots: deque[Shot] = deque()
        self._bytes = 0
        self._size_px = (part[1].stop - part[1].start, part[0].stop - part[0].start)

    def add(self, frame: Frame) -> None:
        """The next picture; a repeated one tells nothing new and is left out."""
        if frame.repeated:
            return
        done, data = cv2.imencode(".jpg", frame.coloured()[self._part], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        if not done:
            return
        self._shots.append((frame.time_s, data.tobytes()))
        self._bytes += len(self._shots[-1][1])
        while frame.time_s - self._shots[0][0] > KEPT_S or self._bytes > MOST_BYTES:
            self._bytes -= len(self._shots.popleft()[1])

    def write(self, path: Path) -> float:
        """Writes what is kept as an AVI; how many seconds it is. Raises UserError when there is nothing to keep yet."""
        if len(self._shots) < 2:
            raise UserError(f"{path}: found no pictures yet, expected some; try again in a moment")
        write_mjpeg_avi(path, self._size_px, tuple(self._shots))
        return self._shots[-1][0] - self._shots[0][0]


__all__ = ["KEPT_S", "LastSeconds"]
