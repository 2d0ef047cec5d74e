"""What two set-ups of camera and lamp make of one bed, without pictures: drawn about what pictures of `sim` were seen to do.

All in shares of the true speed, one standard deviation. Of 24 s with one zone's figure against another look at the same surface,
with camera and lamp elsewhere (all zones together, each by itself), and with the level a tenth lower.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.types import BedReading, HintWord, Reading, Signs, State, ZoneReading

Array = NDArray[np.float64]
_CHANCE_S = 24.0
_TRUE_CHANCE = 0.011
_TOWARDS, _LEVEL_MM = 0.7, 2.5


@dataclass(frozen=True, kw_only=True)
class _Sign:
    """slope: change of the sign's logarithm (of restlessness itself) by that of the true speed. light, place: what all zones
    share under another lamp and before another camera.
    """

    slope: float
    chance: float
    light: float
    place: float
    each: float
    lower: float


SPEED = _Sign(slope=0.39, chance=0.022, light=0.005, place=0.018, each=0.05, lower=-0.04)
RESTLESS = _Sign(slope=4.1, chance=0.027, light=0.042, place=0.0, each=0.022, lower=0.025)
LENGTH = _Sign(slope=0.43, chance=0.027, light=0.004, place=0.02, each=0.035, lower=-0.052)


def level_seen(rng: np.random.Generator, level_mm: float, told_mm: float) -> tuple[float, float]:
    """What an aim measures of a level, with the error it states: drawn towards what the bed file tells."""
    return told_mm + _TOWARDS * (level_mm - told_mm) + _LEVEL_MM * float(rng.standard_normal()), 2.0


class SetUp:
    """Camera and lamp at one place. lower: the level is a tenth lower than when the bed was saved."""

    def __init__(self, rng: np.random.Generator, zones: int, *, lower: bool) -> None:
        self._rng = rng
        light, place = rng.standard_normal(2)
        self._off = {
            id(sign): light * sign.light
            + place * sign.place
            + sign.each * rng.standard_normal(zones)
            + lower * sign.lower
            for sign in (SPEED, RESTLESS, LENGTH)
        }

    def look(self, speed: Array, seconds: float) -> tuple[list[Reading], Array]:
        """Readings of a look, and the true speeds, which scatter too. speed: (zones,) what they are in the long run, mm/s."""
        rng, part = self._rng, math.sqrt(_CHANCE_S / seconds)
        true = np.log(speed) + _TRUE_CHANCE * part * rng.standard_normal(len(speed))
        drawn = [
            sign.slope * (true + self._off[id(sign)] + sign.chance * part * rng.standard_normal(len(speed)))
            for sign in (SPEED, RESTLESS, LENGTH)
        ]
        return [_reading(float(at), *drawn) for at in np.arange(0.8, seconds, 0.8)], np.exp(true)


def _reading(time_s: float, speed: Array, restless: Array, length: Array) -> Reading:
    settled = time_s > 6.0
    zones = tuple(
        ZoneReading(
            zone=str(number),
            live=1.0,
            speed_mm_s=24.0 * math.exp(one),
            speed_error_mm_s=8.0 * math.exp(one),
            hint=HintWord.HOLD if settled else HintWord.WAIT,
            because="",
            evenness=0.93,
            signs=Signs(live=1.0, duty=0.15, restless=other - 16.0, glides=0.0, length_mm=2.0 * math.exp(far))
            if settled
            else None,
        )
        for number, (one, other, far) in enumerate(zip(speed, restless, length, strict=True), 1)
    )
    bed = BedReading(evenness=0.9, live=1.0, speed_mm_s=90.0, speed_error_mm_s=30.0, verdict=None)
    return Reading(time_s=time_s, state=State.READING if settled else State.SETTLING, bed=bed, zones=zones)
