"""What is told of one valve: its zones, its way, how strongly they answer, and what their neighbours get of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.answers import Answer
from bedwatch.judge.whose import Evidence, Role

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Owner:
    """What a valve feeds. zones: numbers from 0, the main one first; empty where it feeds nothing or that is not known.

    none: it feeds nothing. all: it moves every zone alike, as the supply does. sure: chance of its role. opens: 1 turns as
    marked, -1 the other way, 0 not known. strength: ln air of the main zone for `strength_travel` of its travel, and its error;
    NaN where not known. bleeds: (n,) what every zone gets of it as a share of the main one, and its error; NaN where not known.
    likely: the likeliest zones also where that is not sure.
    """

    valve: str
    zones: tuple[int, ...]
    none: bool
    all: bool
    sure: float
    opens: int
    strength: tuple[float, float]
    strength_travel: float
    bleeds: Array
    bleeds_error: Array
    likely: tuple[int, ...]

    @property
    def known(self) -> bool:
        """Whether that is sure enough to say."""
        return self.none or bool(self.zones)


def owner(valve: str, evidence: Evidence, role: Role, sure: float, opens: int, *, known: bool, zones: int) -> Owner:
    """One with an answer at least. role: the likeliest. zones: how many there are."""
    widest = max(evidence.answers, key=lambda one: _signal(one, role))
    bleeds, errors, strength = _shares(widest, role.zones, -1 if opens < 0 else 1)
    return Owner(
        valve=valve,
        zones=role.zones if known else (),
        none=known and not role.zones,
        all=known and len(role.zones) == zones > 1,
        sure=sure,
        opens=opens if known else 0,
        strength=strength,
        strength_travel=widest.travel,
        bleeds=bleeds,
        bleeds_error=errors,
        likely=role.zones,
    )


def _signal(answer: Answer, role: Role) -> float:
    """How far the zones of a role answered, in errors."""
    found = [answer.change[zone] / answer.error[zone] for zone in role.zones if np.isfinite(answer.change[zone])]
    return abs(float(np.sum(found))) if found else answer.travel * 1e-3


def _shares(answer: Answer, zones: tuple[int, ...], sign: int) -> tuple[Array, Array, tuple[float, float]]:
    """(n,) each zone's answer over the main one's, against what the zones that do not follow share; errors; the strength."""
    known = np.flatnonzero(np.isfinite(answer.change))
    share, error = np.full(len(answer.change), np.nan), np.full(len(answer.change), np.nan)
    if not zones or zones[0] not in known:
        return share, error, (math.nan, math.nan)
    rest = np.array([zone for zone in known if zone not in zones], np.intp)
    base = float(np.median(answer.change[rest])) if len(rest) else 0.0
    main = zones[0]
    strength = sign * (float(answer.change[main]) - base)
    share[known] = sign * (answer.change[known] - base) / max(strength, 1e-6)
    error[known] = np.hypot(answer.error[known], share[known] * answer.error[main]) / max(strength, 1e-6)
    error[main] = 0.0
    return share, error, (strength, math.hypot(float(answer.error[main]), 0.0 if len(rest) else answer.common))


__all__ = ["Owner", "owner"]
