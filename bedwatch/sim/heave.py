"""The heaving of a violent bed as a whole."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.sim.feed import Grid

Image = NDArray[np.float32]
_NOTHING: Image = np.empty((0, 0), dtype=np.float32)


class Heave:
    """Slow heaving of a violent bed: a few surface waves of 60 to 160 mm at 1.1 to 3 Hz.

    Sideways and upward motion are equal in a deep-water wave (Airy), taken over for fluidised powder.
    """

    def __init__(self, grid: Grid, violence: Image, seed: int) -> None:
        rng = np.random.default_rng([seed, 5])
        rows, columns = (np.flatnonzero((violence > 0.01).any(axis=axis)) for axis in (1, 0))
        self._active = rows.size > 0
        if not self._active:
            return
        self._window = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
        self._violence = np.ascontiguousarray(violence[self._window])
        x, y = grid.x[self._window][0], grid.y[self._window][:, 0]
        angle, length = rng.uniform(0, 2 * math.pi, 7), rng.uniform(60, 160, 7)
        self._k = (np.cos(angle), np.sin(angle))
        per_mm = 2 * math.pi / length
        turn = np.exp(1j * rng.uniform(0, 2 * math.pi, 7))
        self._along_y = np.exp(1j * np.outer(y, per_mm * self._k[1]))
        along_x = np.exp(1j * np.outer(per_mm * self._k[0], x)) * turn[:, None]
        self._along_x = np.concatenate([along_x.imag, along_x.real]).astype(np.float32)
        self._omega = 2 * math.pi * rng.uniform(1.1, 3.0, 7)
        self._amplitude = 2.2 * rng.uniform(0.7, 1.3, 7)

    def _sum(self, waves: NDArray[np.complex128]) -> Image:
        """Imaginary part of the sum of the plane waves with these complex amplitudes, over the window."""
        along_y = self._along_y * waves
        parts = np.hstack([along_y.real, along_y.imag]).astype(np.float32)
        field = cv2.gemm(parts, self._along_x, 1.0, _NOTHING, 0.0)  # one thread; numpy's would spin on two
        return np.asarray(cv2.multiply(field, self._violence), dtype=np.float32)

    def add(self, time_s: float, dt_s: float, height: Image, columns: Image, rows: Image) -> None:
        """Add the height (mm) at a time and the sideways displacement (mm) of the step before it."""
        if not self._active:
            return
        now = self._amplitude * np.exp(-1j * self._omega * time_s)
        then = self._amplitude * np.exp(-1j * self._omega * (time_s - dt_s))
        height[self._window] += self._sum(now)
        slip = 1j * (now - then)
        columns[self._window] += self._sum(slip * self._k[0])
        rows[self._window] -= self._sum(slip * self._k[1])
