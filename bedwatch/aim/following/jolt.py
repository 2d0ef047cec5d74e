"""A camera that is struck where nothing still is in sight: the whole picture jumps at once, which powder never does."""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

_SMALL_PX = 160.0
_LEARN, _MEMORY = 12, 60
_LEAST_PX = 2.5
_TIMES = 4.0  # what the powder's own stirring looks like, 19 times in 20
_CLEAR = 0.7  # of the usual likeness of two pictures in a row
_LEAST_ALIKE = 0.3  # of 1: less is what a boiling surface has in common with itself by chance


class Jolt:
    """Compares each picture with the one before it by phase correlation (Kuglin & Hines 1975).

    Slow moves cannot be told so: they look like a surface that drifts.
    """

    def __init__(self) -> None:
        self._before: NDArray[np.floating[Any]] | None = None
        self._window: NDArray[np.floating[Any]] | None = None
        self._moves: deque[tuple[float, float]] = deque(maxlen=_MEMORY)
        self._alike: deque[float] = deque(maxlen=_MEMORY)

    def add(self, picture: Picture) -> tuple[float, float] | None:
        """(right, down) in pixels by which this picture jumped against the one before; None when it did not."""
        plane = picture if picture.ndim == 2 else np.asarray(cv2.extractChannel(picture, 1))
        shrink = max(1, round(max(plane.shape) / _SMALL_PX))
        size = (plane.shape[1] // shrink, plane.shape[0] // shrink)
        small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        small = np.asarray(cv2.subtract(small, cv2.blur(small, (15, 15))), np.float32)
        before, self._before = self._before, small
        if before is None or before.shape != small.shape or self._window is None:
            self._window = np.asarray(cv2.createHanningWindow(size, cv2.CV_32F))
            return None
        (right, down), alike = cv2.phaseCorrelate(before, small, self._window)
        move = (float(right * shrink), float(down * shrink))
        if len(self._moves) >= _LEARN:
            moves = np.array(self._moves)
            usual = np.median(moves, axis=0)  # the estimate has a bias of its own
            spread = float(np.percentile(np.hypot(*(moves - usual).T), 95))
            jump = np.subtract(move, usual)
            if np.hypot(*jump) > max(_LEAST_PX, _TIMES * spread) and alike > max(
                _LEAST_ALIKE, _CLEAR * float(np.median(self._alike))
            ):
                return float(jump[0]), float(jump[1])
        self._moves.append(move)
        self._alike.append(float(alike))
        return None


__all__ = ["Jolt"]
