"""Pictures that are the previous one again."""

from __future__ import annotations

from collections import deque

import numpy as np

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

# Few rows and many columns: each row touched costs memory traffic that the decoder needs.
_ROWS = 16
_COLUMNS = 128
_WINDOW = 30
_LEARN = 5
_MOVING = 0.5
_SHARE = 0.1
_NEAR_IN_A_ROW = 3


class RepeatWatch:
    """Compares about 2,000 scattered pixels with those of the picture before.

    A repeat differs by less than a tenth of what even the calmest tenth of the last 30 steps did, and
    only where the middle one of those differs by half a grey level or more: a codec that has smoothed a
    camera's noise away makes a still scene's pictures nearly equal, and that is no repeat. Codecs change
    a repeated picture a little, so equality is not asked for; but after three near ones in a row only
    pictures equal in every pixel go on as repeats, the others are a scene that has come to rest.
    The numbers are our own choice, from coded clips with known repeats; no source.
    """

    def __init__(self) -> None:
        self._usual: deque[float] = deque(maxlen=_WINDOW)
        self._sample: Picture | None = None
        # Held only during a run: a second whole picture in use slows decoding down.
        self._picture: Picture | None = None
        self._run = 0

    def repeated(self, picture: Picture) -> bool:
        """Whether picture, (h, w) or (h, w, 3), shows nothing that the one before did not."""
        sample = _scattered(picture)
        before, self._sample = self._sample, sample
        if before is None or before.shape != sample.shape:
            return False
        difference = float(cv2.norm(sample, before, cv2.NORM_L1)) / sample.size
        near = self._near(difference)
        picture_before, self._picture = self._picture, picture if near else None
        if near and (self._run <= _NEAR_IN_A_ROW or _equal(picture, picture_before)):
            return True
        self._usual.append(difference)
        return False

    def skipped(self, *, again: bool) -> bool:
        """A picture that is not to be seen. again: its data are those of the one before. The next has none to be held against."""
        self._sample = self._picture = None
        return again

    def _near(self, difference: float) -> bool:
        if len(self._usual) < _LEARN:
            return False
        ordered = sorted(self._usual)
        middle = ordered[len(ordered) // 2]
        if middle >= _MOVING and difference < _SHARE * ordered[len(ordered) // 10]:
            self._run += 1
            return True
        if difference >= _SHARE * middle:
            self._run = 0
        return False


def _scattered(picture: Picture) -> Picture:
    height, width = picture.shape[:2]
    down, across = max(height // _ROWS, 1), max(width // _COLUMNS, 1)
    plane = picture if picture.ndim == 2 else picture[:, :, 1]
    return np.ascontiguousarray(plane[down // 2 :: down, across // 2 :: across])


def _equal(a: Picture, b: Picture | None) -> bool:
    return b is not None and a.shape == b.shape and cv2.norm(a, b, cv2.NORM_INF) == 0
