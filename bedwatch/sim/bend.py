"""How the make-believe lens bends: the radial model of Brown (1971), as OpenCV defines k1 and k2."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 8192
_WIDEST = 4.0  # radius (tangent of the angle off the axis) up to which a lens that never folds over is tabled


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """A direction x, y (of z = 1) with r² = x² + y² is seen at focal_px (x, y) (1 + k1 r² + k2 r⁴) from centre_px."""

    k1: float
    k2: float
    focal_px: float
    centre_px: tuple[float, float] = field(default=(0.0, 0.0))

    @property
    def widest(self) -> float:
        """Radius beyond which the model folds over; infinite where it never does."""
        return fold_radius(self.k1, self.k2)

    def bend(self, straight: Array) -> Array:
        """(n, 2) pixels of a straight picture (same focal length and centre) to pixels of the bent one.

        NaN beyond the fold.
        """
        x = (straight - np.array(self.centre_px)) / self.focal_px
        r2 = (x * x).sum(axis=-1, keepdims=True)
        bent = x * (1 + self.k1 * r2 + self.k2 * r2 * r2) * self.focal_px + np.array(self.centre_px)
        return np.asarray(np.where(r2 <= self.widest**2, bent, np.nan), np.float64)

    def straighten(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Pixels of the bent picture to those of the straight one, by a table; the fold's edge stands for all beyond."""
        x, y = (u - self.centre_px[0]) / self.focal_px, (v - self.centre_px[1]) / self.focal_px
        seen = np.hypot(x, y)
        straight, bent = _table(self.k1, self.k2)
        times = np.interp(seen, bent, straight) / np.maximum(seen, 1e-12)
        times = np.where(seen < 1e-9, 1.0, times) * self.focal_px
        return x * times + self.centre_px[0], y * times + self.centre_px[1]


def fold_radius(k1: float, k2: float) -> float:
    """Smallest r at which d(r + k1 r³ + k2 r⁵)/dr = 0, infinity where there is none."""
    roots = np.roots([5 * k2, 3 * k1, 1.0]) if k2 else np.array([-1 / (3 * k1)] if k1 else [])
    real = [float(root.real) for root in roots if abs(root.imag) < 1e-12 and root.real > 0]
    return math.sqrt(min(real)) if real else math.inf


def widest_seen(k1: float, k2: float) -> float:
    """Radius in the bent picture, over the focal length, up to which every pixel has a direction."""
    r = min(fold_radius(k1, k2), _WIDEST)
    return r * (1 + k1 * r**2 + k2 * r**4)


@lru_cache(maxsize=32)
def _table(k1: float, k2: float) -> tuple[Array, Array]:
    straight = np.linspace(0, min(fold_radius(k1, k2), _WIDEST), _STEPS)
    return straight, straight * (1 + k1 * straight**2 + k2 * straight**4)
