"""How far a valve may still be turned, as far as one can know: nobody tells where it stood at the start."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 101
_PLACES = np.linspace(0.0, 1.0, _STEPS)
_FULLY_OPEN = 0.2  # chance that a valve is fully open at the start
_ROOM = 0.5  # chance of room from which a turn is taken for made in full
AT_ITS_END = 0.8  # chance from which a valve counts as at its end


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """chance: (101,) of standing at each hundredth of its travel, 0 shut to 1 open. last: what the last turn was, in travel;
    effect: (101,) what it moved the valve, had it come to stand there."""

    chance: Array
    effect: Array
    last: float = 0.0

    @property
    def open_share(self) -> float:
        """How far it stands open, 0 to 1: the mean."""
        return float(self.chance @ _PLACES)

    @property
    def fully_open(self) -> float:
        """Chance that it cannot be opened further."""
        return float(self.chance[-3:].sum())

    @property
    def shut(self) -> float:
        """Chance that it cannot be closed further."""
        return float(self.chance[:3].sum())

    def room(self, travel: float) -> float:
        """Chance that it can be turned by this much (less than 0: closed)."""
        return float(self.chance[(_PLACES + travel <= 1.02) & (_PLACES + travel >= -0.02)].sum())

    def turned(self, travel: float) -> tuple[Travel, float, float]:
        """After a turn; what it did, most likely, and its standard deviation: at the end of its travel a valve stops."""
        to = np.clip(_PLACES + travel, 0.0, 1.0)
        done = to - _PLACES
        mean = float(self.chance @ done)
        deviation = math.sqrt(max(float(self.chance @ (done - mean) ** 2), 0.0))
        if self.room(travel) >= _ROOM:
            mean = travel  # all of it or much less; the mean of both would be wrong either way
        at = np.rint(to * (_STEPS - 1)).astype(np.intp)
        chance = np.bincount(at, self.chance, _STEPS).astype(np.float64)
        effect = np.bincount(at, self.chance * done, _STEPS) / np.maximum(chance, 1e-12)
        return replace(self, chance=chance, effect=effect, last=travel), mean, deviation

    def answered(self, moved: float, error: float) -> Travel:
        """After a look that makes the last turn out to have moved it by so much of its travel."""
        if not self.last:
            return self
        likely = np.exp(-0.5 * ((self.effect - moved) / max(error, 0.02)) ** 2) + 0.02
        chance = self.chance * likely
        return replace(self, chance=chance / chance.sum(), last=0.0)


def unknown_travel() -> Travel:
    """A valve that stands anywhere but shut, fully open rather more often."""
    chance = np.where(_PLACES > 0.08, 1.0, 0.1)
    chance = (1 - _FULLY_OPEN) * chance / chance.sum()
    chance[-1] += _FULLY_OPEN
    return Travel(chance=chance, effect=np.zeros(_STEPS))
