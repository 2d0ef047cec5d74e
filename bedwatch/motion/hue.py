"""Colour of blocks of the bed, read from a few pixels each: what is not powder is seldom of its colour."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame

Array = NDArray[np.floating[Any]]

PER_BLOCK = 3  # pixels looked at each way
_LOG = np.log(np.maximum(np.arange(256), 6)).astype(np.float32)


class Hue:
    """Reads the colour of blocks. at_px: (PER_BLOCK rows, PER_BLOCK cols, 2) whole pixels (u, v) that are looked at."""

    def __init__(self, at_px: NDArray[np.intp]) -> None:
        self._at_px = np.ascontiguousarray(at_px, np.int16)
        self._size = (at_px.shape[1] // PER_BLOCK, at_px.shape[0] // PER_BLOCK)

    def of(self, frame: Frame) -> list[Array]:
        """Two (rows, cols) logarithms of colour ratios, red and blue to green; none for a grey picture. Light and shade, which
        touch all three alike, do not show in them."""
        colours = frame.colours(self._at_px)
        if colours.ndim == 2:
            return []
        logs = cv2.LUT(colours, _LOG)
        ratios = (logs[..., 2] - logs[..., 1], logs[..., 0] - logs[..., 1])
        return [np.asarray(cv2.resize(ratio, self._size, interpolation=cv2.INTER_AREA), np.float64) for ratio in ratios]
