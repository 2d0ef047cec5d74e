"""What a surface shows of its air, without pictures: the signs the judge reads, drawn about laws that were fitted to pictures.

Fits over clips of renderers that share no code: within one bed the logarithm of the speed follows that of the air beyond the
minimum with a power of 0.2 to 0.85 and scatters by 0.03 to 0.08; restlessness has a slope of 1 to 9 by ln air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.advisor import Look
from bedwatch.judge.belief import Seen
from bedwatch.judge.types import HintWord

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Eye:
    """How one bed's surface answers to air, and how well it is seen."""

    lively: float
    power: float
    scatter: float
    own: Array
    restless_at: float
    slope: float
    lift_at: float
    lift_width: float

    @classmethod
    def of(cls, seed: int, zones: int) -> Eye:
        rng = np.random.default_rng([seed, 91])
        dull = rng.random() < 0.15
        return cls(
            lively=math.exp(rng.normal(math.log(55), 0.65)),
            power=float(rng.uniform(0.25, 0.8)),
            scatter=float(rng.uniform(0.03, 0.07)),
            own=rng.normal(0, 0.04, zones),
            restless_at=float(rng.normal(0, 0.4)),
            slope=float(rng.uniform(0.6, 1.5) if dull else rng.uniform(2.5, 8.0)),
            lift_at=float(rng.uniform(1.03, 1.12)),
            lift_width=float(rng.uniform(0.01, 0.04)),
        )

    def look(self, air: Array, patch: int | None, rng: np.random.Generator) -> Look:
        seen = tuple(self._zone(float(r), k, rng) for k, r in enumerate(air))
        hands: list[tuple[HintWord, str] | None] = [None] * len(air)
        if patch is not None and seen[patch].live > 0.8 and 1.25 < air[patch] < 3.3 and rng.random() < 0.9:
            hands[patch] = (HintWord.STIR, "A patch 60 mm across has not moved for 10 s while all around it does.")
        return Look(seen=seen, by_hand=tuple(hands))

    def _zone(self, r: float, zone: int, rng: np.random.Generator) -> Seen:
        live = 1 / (1 + math.exp(-(r - self.lift_at) / self.lift_width * (1 + 0.1 * rng.standard_normal())))
        if live < 0.5:
            return Seen(
                known=True, live=live, speed_mm_s=float(rng.choice([0.0, abs(rng.normal(0, 6))])), restless=None
            )
        speed = (
            self.lively
            * max(r - 1, 0.02) ** self.power
            * math.exp(self.own[zone] + self.scatter * rng.standard_normal())
        )
        restless = self.restless_at + self.slope * math.log(r / 3.3) + 0.3 * rng.standard_normal()
        return Seen(known=True, live=min(live, 1.0), speed_mm_s=speed, restless=restless)
