"""Slow gliding of a smooth surface, read from pictures averaged over some frames and half a second apart."""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.middle import middle
from bedwatch.motion.blocks import Lattice, compare
from bedwatch.motion.gradients import Image, Slopes, slopes

Array = NDArray[np.floating[Any]]

# Averaging takes out noise, the distance gives a slow surface time to move by a good part of a pixel; both are short enough that
# 10 mm/s stay within a pixel or two.
_MEAN_S, _APART_S, _EVERY_S = 0.16, 0.5, 0.45
# A displacement of its own explains this share of a block's change where the surface glides; on still ones, compressed pictures
# too, chance reaches 0.1 to 0.2, seldom 0.4.
GLIDES, SURELY_GLIDES = 0.42, 0.5
_GOES_ON = 0.3  # product of successive displacements over their sizes': 1 for a glide, 0.2 at most for encoders, -0.6 for noise
ENOUGH_LOOKS = 8  # fewer comparisons leave too much to chance


class Gliding:
    """Looks at every frame's contrast, compares now and then. lattice: blocks of the fine scale."""

    def __init__(self, lattice: Lattice) -> None:
        self._lattice = lattice
        self.forget()

    def forget(self) -> None:
        """Begin anew after a hole or another view."""
        self._sum: Image | None = None
        self._count = 0
        self._start_s = 0.0
        self._means: deque[tuple[float, Slopes]] = deque(maxlen=6)
        self._compared_s = -np.inf
        self._before: tuple[float, Array, Array] | None = None

    def add(self, time_s: float, contrast: Image) -> tuple[NDArray[np.float32], float] | None:
        """Rows for `glide`, (4, rows, cols), and the time between; None mostly.

        They are what displacements explain of the change, what they leave, the product of this displacement and the one before
        it, and the size of that product if both had the same direction. A displacement that all blocks share is the camera's
        and does not count.
        """
        if self._sum is None:
            self._sum, self._count, self._start_s = contrast.copy(), 1, time_s
            return None
        cv2.add(self._sum, contrast, dst=self._sum)
        self._count += 1
        if time_s - self._start_s < _MEAN_S:
            return None
        due = time_s - self._compared_s >= _EVERY_S
        now = (time_s, slopes(self._sum / np.float32(self._count)))
        self._means.append(now)
        self._sum = None
        old = [mean for mean in self._means if time_s - mean[0] >= _APART_S - 0.02]
        if not due or not old:
            return None
        self._compared_s = time_s
        return self._compare(old[-1], now), time_s - old[-1][0]

    def _compare(self, before: tuple[float, Slopes], after: tuple[float, Slopes]) -> NDArray[np.float32]:
        (then_s, then), (now_s, now) = before, after
        pair = compare(then, now, self._lattice)
        sure = self._lattice.window > 0.9
        common = [middle(shift[sure]) if sure.any() else 0.0 for shift in (pair.shift_x, pair.shift_y)]
        own_x, own_y = pair.shift_x - common[0], pair.shift_y - common[1]
        own2 = own_x**2 + own_y**2
        share = own2 / (own2 + common[0] ** 2 + common[1] ** 2 + 1e-9)
        rest = np.maximum(pair.change - pair.explained, 0.0)
        along, most = np.zeros_like(own2), np.zeros_like(own2)
        if self._before is not None and abs(self._before[0] - then_s) < _MEAN_S:
            _, old_x, old_y = self._before
            along = own_x * old_x + own_y * old_y
            most = np.sqrt(own2 * (old_x**2 + old_y**2))
        self._before = (now_s, own_x, own_y)
        return np.stack([np.maximum(pair.explained, 0.0) * share, rest, along, most]).astype(np.float32)


def glide(sums: Array | None, shape: tuple[int, int]) -> Array:
    """(rows, cols) share of the change that own displacements explain: 0 still or torn up, 1 gliding. sums: means of `add`.

    What glides goes on the way it went: one displacement and the next agree. Two that share a noisy picture are opposed, and
    the steps in which a video encoder follows a change of light have nothing to do with each other.
    """
    if sums is None:
        return np.zeros(shape)
    agree = np.clip(sums[2] / np.maximum(sums[3], 1e-9) / _GOES_ON, 0.0, 1.0)
    return np.asarray(agree * sums[0] / np.maximum(sums[0] + sums[1], 1e-6), np.float64)
