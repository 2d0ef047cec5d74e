"""What a surface shows of its air, without pictures: the signs the judge reads, drawn about laws that were fitted to pictures.

Fits over clips of two renderers that share no code, 12 s each, some 15 zones between 1.1 and 4.6 minima per bed: within one bed
the logarithm of the speed follows that of the air beyond the minimum with a power of 0.22 to 0.77, and scatters by 0.04 to 0.14,
in the middle 0.07, of which 0.03 is common to a clip; restlessness has a slope of 2.1 to 3.9 by it (in other pictures down to 1),
is 0 anywhere between 2.2 and 4 minima, and scatters by 0.2 to 0.5. Half of a zone is lifted at 1.03 to 1.2 minima.
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
    together: float
    own: Array
    restless_at: float
    slope: float
    restless_scatter: float
    restless_own: Array
    lift_at: float
    lift_width: float

    @classmethod
    def of(cls, seed: int, zones: int) -> Eye:
        rng = np.random.default_rng([seed, 91])
        dull = rng.random() < 0.1
        return cls(
            lively=math.exp(rng.normal(math.log(55), 0.65)),
            power=float(rng.uniform(0.22, 0.78)),
            scatter=float(math.exp(rng.normal(math.log(0.06), 0.35))),
            together=float(rng.uniform(0.0, 0.05)),
            own=rng.normal(0, 0.04, zones),
            restless_at=float(rng.normal(0, 0.45)),
            slope=float(rng.uniform(0.7, 1.6) if dull else rng.uniform(2.1, 4.0)),
            restless_scatter=float(rng.uniform(0.18, 0.4)),
            restless_own=rng.normal(0, 0.12, zones),
            lift_at=float(rng.uniform(1.03, 1.2)),
            lift_width=float(rng.uniform(0.01, 0.05)),
        )

    def look(self, air: Array, patch: int | None, rng: np.random.Generator) -> Look:
        together = self.together * rng.standard_normal()
        seen = tuple(self._zone(float(r), k, together, rng) for k, r in enumerate(air))
        hands: list[tuple[HintWord, str] | None] = [None] * len(air)
        if patch is not None and seen[patch].live > 0.8 and 1.25 < air[patch] < 3.3 and rng.random() < 0.9:
            hands[patch] = (HintWord.STIR, "A patch 60 mm across has not moved for 10 s while all around it does.")
        return Look(seen=seen, by_hand=tuple(hands))

    def _zone(self, r: float, zone: int, together: float, rng: np.random.Generator) -> Seen:
        live = 1 / (1 + math.exp(-(r - self.lift_at) / self.lift_width * (1 + 0.1 * rng.standard_normal())))
        if live < 0.5:
            return Seen(
                known=True, live=live, speed_mm_s=float(rng.choice([0.0, abs(rng.normal(0, 6))])), restless=None
            )
        beyond = max(r - 1, 0.02)
        off = together + self.own[zone] + self.scatter * rng.standard_normal()
        speed = self.lively * beyond**self.power * math.exp(off)
        off = self.restless_own[zone] + self.restless_scatter * rng.standard_normal()
        restless = self.restless_at + self.slope * math.log(beyond / 2.3) + off
        return Seen(known=True, live=min(live, 1.0), speed_mm_s=speed, restless=restless)
