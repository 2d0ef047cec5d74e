"""Local contrast and its space derivatives, at two scales, from a rectified picture."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Image = NDArray[np.floating[Any]]

# Farid & Simoncelli 2004, "Differentiation of discrete multidimensional signals", IEEE Trans. Image Process. 13(4),
# 496-508, the five-tap first-order pair: a smoother and the derivative that matches it.
SMOOTH_TAPS = np.array(
    [0.0376593171958126, 0.249153396177344, 0.426374573253687, 0.249153396177344, 0.0376593171958126],
    np.float32,
)
SLOPE_TAPS = np.array([-0.109603762960254, -0.276690988455557, 0.0, 0.276690988455557, 0.109603762960254], np.float32)
# Contrast is taken against the mean over this width: wide enough to keep the relief of a large eruption, narrow
# enough to take out lamp flicker, exposure steps and the slope of the light.
BACKGROUND_MM = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """One scale of one frame: smoothed contrast in per cent, and its slopes in per cent per pixel of this scale.

    tensors: what is worked out of them once for all the comparisons they go into, by who asks for it.
    """

    value: Image
    along_x: Image
    along_y: Image
    tensors: dict[object, Image] = field(default_factory=dict, compare=False, repr=False)


class Contrast:
    """Turns rectified grey pictures into local contrast in per cent: 100 (I / mean of I around - 1), 0 off the bed.

    visible: (rows, cols) true where the powder surface is seen. The picture is halved first; the result is padded with
    0 to whole multiples of 32, so that it can be halved further. grey: the grey levels last seen, on the same grid.
    """

    def __init__(self, visible: NDArray[np.bool_], step_mm: float) -> None:
        rows, cols = visible.shape[0] // 2 * 2, visible.shape[1] // 2 * 2
        self._crop = (slice(0, rows), slice(0, cols))
        self._inside = (slice(0, rows // 2), slice(0, cols // 2))
        whole = visible[self._crop].reshape(rows // 2, 2, cols // 2, 2).all(axis=(1, 3))
        self.visible: NDArray[np.bool_] = np.zeros((_up32(rows // 2), _up32(cols // 2)), np.bool_)
        self.visible[self._inside] = whole
        self.grey: Image = np.zeros(self.visible.shape, np.float32)
        self.step_mm = 2 * step_mm
        width = max(3, round(BACKGROUND_MM / self.step_mm) | 1)
        self._size = (width, width)
        self._mask: Image = np.asarray(whole, np.float32)
        share = cv2.boxFilter(self._mask, cv2.CV_32F, self._size, borderType=cv2.BORDER_CONSTANT)
        self._whole = 100.0 * self._mask
        self._per_share = (self._mask / np.maximum(share, 1e-3)).astype(np.float32)

    def of(self, rectified: NDArray[np.uint8]) -> Image:
        """Contrast in per cent on the padded half-size grid. rectified: (rows, cols) grey."""
        half = cv2.resize(rectified[self._crop].astype(np.float32), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        seen = cv2.multiply(half, self._mask)
        around = cv2.boxFilter(np.asarray(seen), cv2.CV_32F, self._size, borderType=cv2.BORDER_CONSTANT)
        around = np.maximum(cv2.multiply(around, self._per_share), 1.0)
        self.grey[self._inside] = seen
        out = np.zeros(self.visible.shape, np.float32)
        out[self._inside] = cv2.subtract(cv2.divide(seen, around, scale=100.0), self._whole)
        return out


def _up32(count: int) -> int:
    return -(-count // 32) * 32


def slopes(contrast: Image) -> Slopes:
    """Smoothed contrast and its slopes, all with the same smoother so that they belong to one surface."""
    return Slopes(
        value=np.asarray(cv2.sepFilter2D(contrast, cv2.CV_32F, SMOOTH_TAPS, SMOOTH_TAPS), np.float32),
        along_x=np.asarray(cv2.sepFilter2D(contrast, cv2.CV_32F, SLOPE_TAPS, SMOOTH_TAPS), np.float32),
        along_y=np.asarray(cv2.sepFilter2D(contrast, cv2.CV_32F, SMOOTH_TAPS, SLOPE_TAPS), np.float32),
    )


def halve(contrast: Image) -> Image:
    """The next coarser scale: means over 2 by 2 pixels."""
    return np.asarray(cv2.resize(contrast, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32)
