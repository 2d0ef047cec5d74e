"""How a lens bends the picture: the radial model of Brown (1971) with two terms, as OpenCV defines it.

With x = (u - cu) / f of the straightened direction and r its length, the lens shows it at x * (1 + k1 r^2 + k2 r^4).
The straightened picture has a focal length of its own, so that it can be laid as near as possible to the real one where
the bed is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.float64]
_STEPS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A lens that bends. centre_px: where it does not, in both pictures. focal_px: of the real picture, for k1 and k2.

    straight_focal_px: of the straightened picture, which bed_to_picture draws on.
    """

    k1: float
    k2: float = 0.0
    focal_px: float
    centre_px: tuple[float, float]
    straight_focal_px: float

    def bend(self, straight: Pixels) -> Pixels:
        """Pixels (n, 2) of the real picture from those of the straightened one; NaN beyond where the lens folds over."""
        x = (straight - self.centre_px) / self.straight_focal_px
        r2 = (x * x).sum(axis=-1, keepdims=True)
        slope = 1 + 3 * self.k1 * r2 + 5 * self.k2 * r2 * r2
        out = x * (1 + self.k1 * r2 + self.k2 * r2 * r2) * self.focal_px + self.centre_px
        return np.asarray(np.where(slope > 0.05, out, np.nan), np.float64)

    def straighten(self, pixels: Pixels) -> Pixels:
        """Pixels (n, 2) of the straightened picture from those of the real one, by Newton's method; NaN where none is."""
        seen = (pixels - self.centre_px) / self.focal_px
        radius = np.sqrt((seen * seen).sum(axis=-1, keepdims=True))
        r = radius.copy()
        for _ in range(_STEPS):
            r2 = r * r
            slope = 1 + 3 * self.k1 * r2 + 5 * self.k2 * r2 * r2
            step = (r * (1 + self.k1 * r2 + self.k2 * r2 * r2) - radius) / np.maximum(slope, 0.05)
            r = np.clip(r - step, 0.0, 4.0 * radius + 1.0)  # beyond where the lens folds over it would run away
        r2 = r * r
        off = np.abs(r * (1 + self.k1 * r2 + self.k2 * r2 * r2) - radius)
        times = np.where(radius > 1e-9, r / np.maximum(radius, 1e-9), 1.0)
        out = seen * times * self.straight_focal_px + self.centre_px
        return np.asarray(np.where(off < 1e-6, out, np.nan), np.float64)
