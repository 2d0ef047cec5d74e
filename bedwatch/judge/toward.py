"""How far each zone is believed to be off a saved setting, and what turning a valve does to it: learned from looks and moves.

One normal distribution (Kalman 1960, J. Basic Eng. 82, 35-45). Unlike `judge.belief` it needs no law of how the surface answers
to air: what counts is how far a zone is from what it was, and a valve's gain is learned in the same measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Before anything was seen: offsets that all zones share and each zone's own, as logarithms.
_START = (0.5, 0.4)
# ln of what a whole travel does to the logarithm of a zone's liveliness: mean, spread common to a bed's valves, each one's own.
# Catalogue and installed curves differ (valve makers' pages agree on that much).
_GAIN = (math.log(1.5), 0.4, 0.4)
_SUPPLY_GAIN = (math.log(1.5), 0.6)
# Share of what a zone loses that the others gain together: 0 for a supply that holds its pressure, 1 for one that holds its flow.
_CROSS = (0.45, 0.3)
# Errors of one move: share of its effect, travel that play and reading a scale leave open, and what else changes meanwhile.
_STEP_SHARE, _STEP_TRAVEL, _DRIFT = 0.12, 0.01, 0.01
_GAIN_DRIFT = 0.12  # a valve's gain is another one elsewhere on its travel


@dataclass(frozen=True, slots=True, kw_only=True)
class Toward:
    """mean (d,), cov (d, d); d: offset of each of n zones, ln gain of each valve, of the supply, crossing."""

    zones: int
    mean: Array
    cov: Array

    @property
    def offset(self) -> Array:
        """(n,) logarithm of how much livelier each zone is than saved."""
        return self.mean[: self.zones]

    @property
    def spread(self) -> Array:
        """(n,) standard errors of `offset`."""
        return np.sqrt(np.diag(self.cov)[: self.zones])

    def gain(self, valve: int | None) -> float:
        """Change of a zone's offset per whole travel of its valve; None: of the supply."""
        return math.exp(float(self.mean[self._gain(valve)]))

    def _gain(self, valve: int | None) -> int:
        return self.zones + (self.zones if valve is None else valve)

    def seen(self, offsets: Sequence[float] | Array, chance: Array) -> Toward:
        """After a look; NaN: not known. chance: (n, n) covariance of what another look would draw anew."""
        known = [k for k, value in enumerate(offsets) if math.isfinite(value)]
        if not known:
            return self
        noise = chance[np.ix_(known, known)]
        off = np.array([offsets[k] for k in known]) - self.mean[known]
        weight = np.linalg.solve(self.cov[np.ix_(known, known)] + noise, self.cov[known])
        cov = self.cov - self.cov[:, known] @ weight
        return replace(self, mean=self.mean + off @ weight, cov=(cov + cov.T) / 2)

    def moved(self, valve: int | None, travel: float) -> Toward:
        """After a valve was opened by a share of its travel (less than 0: closed); None: the supply."""
        n, at = self.zones, self._gain(valve)
        gain = self.gain(valve)
        own = np.ones(n, np.bool_) if valve is None else np.arange(n) == valve
        cross = float(np.clip(self.mean[-1], 0.0, 1.0)) / max(n - 1, 1)
        shift = np.where(own, travel * gain, -cross * travel * gain)
        step = np.eye(len(self.mean))
        step[:n, at] += shift
        step[:n, -1] += np.where(own, 0.0, -travel * gain / max(n - 1, 1))
        noise = np.zeros(len(self.mean))
        noise[:n] = (_STEP_SHARE * shift) ** 2 + _DRIFT**2 + np.where(own, (_STEP_TRAVEL * gain) ** 2, 0.0)
        noise[at] = _GAIN_DRIFT**2
        mean = self.mean.copy()
        mean[:n] += shift
        return replace(self, mean=mean, cov=step @ self.cov @ step.T + np.diag(noise))

    def loosened(self, each: float, together: float = 0.0) -> Toward:
        """After something that may have changed every zone by so much, each by itself and all of them alike."""
        cov = self.cov.copy()
        cov[: self.zones, : self.zones] += np.eye(self.zones) * each**2 + together**2
        return replace(self, cov=cov)


def first_toward(zones: int) -> Toward:
    """Before anything was seen."""
    size = 2 * zones + 2
    mean, spread = np.zeros(size), np.zeros(size)
    spread[:zones] = _START[1]
    mean[zones : 2 * zones], spread[zones : 2 * zones] = _GAIN[0], _GAIN[2]
    mean[-2], spread[-2] = _SUPPLY_GAIN
    mean[-1], spread[-1] = _CROSS
    cov = np.diag(spread**2)
    cov[:zones, :zones] += _START[0] ** 2
    cov[zones : 2 * zones, zones : 2 * zones] += _GAIN[1] ** 2
    return Toward(zones=zones, mean=mean, cov=cov)


__all__ = ["Toward", "first_toward"]
