"""How busy places are, second by second: over a tenth of a second, or from one frame to the next."""

from __future__ import annotations

import math

import numpy as np

from bedwatch.judge.places import Array, Mask, mean_over
from bedwatch.middle import middle
from bedwatch.motion.ground import Ground

_LEAST_ERROR = 0.02  # of a lead, logarithm of energy


class Busy:
    """One way to tell it: mean logarithms of energy, with some noise taken out.

    each: (n, rows, cols) of every slab. noise: (rows, cols) energy that is taken out; None for none.
    """

    def __init__(self, ground: Ground, each: Array, noise: Array | None = None) -> None:
        self._ground, self._each, self._noise = ground, each, noise

    def over(self, seconds: float) -> Array:
        """(rows, cols) over the last so many seconds."""
        mean = mean_over(self._ground, self._each, seconds)
        return mean if self._noise is None else _net(mean, self._noise)

    def series(self, group: Mask, seconds: float = math.inf) -> Array:
        """(n,) mean over a group of places, of the slabs of the last so many seconds."""
        each = self._each[:, group] if math.isinf(seconds) else self._each[self._ground.recent(seconds)][:, group]
        if self._noise is not None:
            each = _net(each, self._noise[group])
        return np.asarray(each.mean(axis=1), np.float64)

    def steadiness(self, here: Mask, there: Mask, seconds: float) -> float:
        """Student's t of what one group of places leads another by, second by second; 0 where one of them is empty."""
        if not here.any() or not there.any():
            return 0.0
        lead = self.series(here, seconds) - self.series(there, seconds)
        return float(lead.mean()) / (float(lead.std()) / math.sqrt(len(lead)) + _LEAST_ERROR)


def usually(ground: Ground) -> Busy:
    """Over a tenth of a second: what shows anywhere."""
    return Busy(ground, ground.busy)


def quickly(ground: Ground) -> Busy:
    """From one frame to the next: after some frames a lively bed's powder is another one everywhere, but plumes, and jets along
    the wall, change it sooner.

    Half of the noise is taken out (it is known to a factor of two); noise is more where it is darker.
    """
    inside = ground.seen > 0.5
    grey = np.maximum(ground.grey, 4.0)
    usual = middle(grey[inside]) if inside.any() else 1.0
    return Busy(ground, ground.quick, ground.noise * (usual / grey) ** 2)


def _net(usual: Array, noise: Array) -> Array:
    energy = np.maximum(np.exp(usual) - noise / 2, np.maximum(0.3 * noise, 1e-6))
    return np.asarray(np.log(energy), np.float64)
