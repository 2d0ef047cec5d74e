"""A make-believe bed whose lines may be mixed up, to practise finding out which valve is which."""

from __future__ import annotations

import numpy as np

from bedwatch.bed import Bed
from bedwatch.sim.trainer import Trainer

_LIVES = 1.7  # the operator has raised the supply until half of the zones have so many times the least air
_STEPS = 40


class MixedLines(Trainer):
    """Valves by number from 0. feeds: zone of every valve's line, None where it is off. ways: -1 where one turns the other
    way.

    One zone's valve may be off, two or three lines swapped, one valve reversed, or all as marked.
    """

    def __init__(self, bed: Bed, seed: int) -> None:
        super().__init__(bed, seed)
        rng = np.random.default_rng([seed, 67])
        count = len(bed.zones)
        self.feeds: list[int | None] = list(range(count))
        self.ways = [1] * count
        if rng.random() < 0.6 and count > 1:
            some = rng.choice(count, 3 if count > 4 and rng.random() < 0.3 else 2, replace=False)
            for valve, zone in zip(some, np.roll(some, -1), strict=True):
                self.feeds[int(valve)] = int(zone)
        if rng.random() < 0.4 and count > 2:
            off = int(rng.integers(count))
            zone = self.feeds[off]
            self.feeds[off] = None
            super().turn(zone, -1.0)
        if rng.random() < 0.4:
            self.ways[int(rng.integers(count))] = -1
        for _ in range(_STEPS):
            if float(np.median(self.air())) >= _LIVES:
                break
            super().turn(None, 1 / _STEPS)

    def turn(self, zone: int | None, by: float) -> float:
        """Turn a valve by its marks; how far it went by them. A valve whose line is off turns all the same."""
        if zone is None:
            return super().turn(None, by)
        feeds, way = self.feeds[zone], self.ways[zone]
        return by if feeds is None else way * super().turn(feeds, way * by)
