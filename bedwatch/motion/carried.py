"""What a surface that moves as one piece says about its blocks and patches, over the window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.piece import Carry, goes_along
from bedwatch.motion.tally import Channel, Tally

Array = NDArray[np.floating[Any]]

# Motion that goes on: successive motions multiplied, against their squares. Of a camera that shakes it is about 0.
_STEADY = 0.7
# It must have been there for this share of the pairs, but for the first one, on which it is found.
_ALL_THE_TIME, _ENOUGH = 0.9, 2
# Relative error that nothing here tells of: resampling, and pictures coded in squares that stand still.
_LEAST_ERROR = 0.004
# Contrast is held against the mean around, which the wall cuts, so that what slides past it changes a little; it acts as noise
# does, in inverse proportion to the slopes. From pictures of many textures.
_SLIDES_ERROR = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """How the whole moves. goes: (rows, cols) which blocks go with it.

    product: (3, 3) mean square of the motion, of a turn (rad/s) and a shift (mm/s), less what successive ones differ by chance.
    motion: (3,) its mean. chance: (3, 3) variance of that mean, from how much successive motions differ. lopsided: as in
    `Carry`.
    """

    goes: NDArray[np.bool_]
    product: Array
    motion: Array
    chance: Array
    lopsided: float

    def speed2(self, places: Array) -> Array:
        """Mean squared speed, mm2/s2, (...). places: (3, ...) means of x and y (mm from the axis) and of their squares' sum."""
        return speed2_at(self.product, places)

    def error(self, places: Array) -> Array:
        """Relative standard error of that speed, of measuring alone."""
        by_chance2 = speed2_at(self.chance, places) / np.maximum(self.speed2(places), 1e-9)
        slides2 = (self.product[1, 1] + self.product[2, 2]) / np.maximum(self.speed2(places), 1e-9)
        own2 = _LEAST_ERROR**2 + _SLIDES_ERROR**2 * self.lopsided * np.clip(slides2, 0.0, 1.0)
        return np.asarray(np.sqrt(own2 + np.maximum(by_chance2, 0.0)), np.float64)

    def astray(self, places: Array) -> Array:
        """Relative error of that speed for each mm by which the places lie elsewhere."""
        turn, along_x, along_y = self.motion
        mean = np.hypot(along_x - turn * places[1], along_y + turn * places[0])
        return np.asarray(np.abs(turn) * mean / np.maximum(self.speed2(places), 1e-9), np.float64)


def speed2_at(product: Array, places: Array) -> Array:
    """Mean scalar product of two motions over places, from the product of their numbers."""
    x, y, r2 = places
    both = product + product.T
    return np.asarray((both[0, 0] * r2 + both[1, 1] + both[2, 2]) / 2 + x * both[0, 2] - y * both[0, 1], np.float64)


def note(tally: Tally, carry: Carry, lag: int, lag_s: float) -> None:
    """Keep one pair's for `carried`."""
    now, before = carry.motion
    tally.add(f"blocks {lag}", carry.blocks, lag_s)
    change = now - before
    alone = np.stack([now, np.full(3, carry.lopsided), np.zeros(3)])
    products = (np.outer(now, before), np.outer(now, now), np.outer(change, change), alone)
    tally.add(f"motion {lag}", np.stack(products), lag_s)


def carried(means: Mapping[Any, Channel], places: Array) -> Carried | None:
    """means: what the tally holds, (scale, lag) the comparisons. places: of the bed, as for `Carried.speed2`. None where the
    surface did not move as one piece all the time and steadily."""
    lags = [key[1] for key in means if isinstance(key, tuple) and key[0] == 0 and f"motion {key[1]}" in means]
    found = {lag: means[f"motion {lag}"].count for lag in lags}
    count = sum(found.values())
    # Pairs of a short lag come more often, but tell of no more time.
    part = {lag: found[lag] / means[(0, lag)].count for lag in lags}
    first = sum(1 / means[(0, lag)].count for lag in lags)
    if count < _ENOUGH or sum(part.values()) + first < _ALL_THE_TIME:
        return None
    motion, rows = (
        np.average(np.stack([means[f"{kind} {lag}"].sums for lag in lags]), axis=0, weights=list(part.values()))
        for kind in ("motion", "blocks")
    )
    product, square = (float(speed2_at(of, places)) for of in motion[:2])
    if product <= _STEADY * square:
        return None
    return Carried(
        goes=goes_along(rows),
        product=motion[1] - motion[2] / 2,
        motion=motion[3, 0],
        chance=motion[2] / (2 * count),
        lopsided=float(motion[3, 1, 0]),
    )
