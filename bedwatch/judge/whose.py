"""Which zones a valve feeds, by what they answered: every set of zones it could be is weighed by how well it foretells that.

For each way round, and for each number k of zones, the k that answered most are held to follow the valve; the others share what
the supply makes of it (it loses what the moved zones gain) and its own wandering. How strongly the valve works is not known and
averaged over, at every place it was moved to, since valves are not straight. Sets are compared by their chances (Bayes);
nothing is said below `SURE`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.answers import Answer

Array = NDArray[np.float64]

SURE = 0.99
# ln air per full travel of a valve, as `belief` takes it; some valves stand on a flat part of theirs.
_GAIN, _GAIN_SPREAD = 1.2, 0.75
_FLAT, _FLAT_GAIN, _FLAT_SPREAD = 0.2, 0.25, 1.1
_STRENGTHS = np.geomspace(0.003, 4.0, 56)
# Before anything was seen: nothing answers; one zone; two; more; all. And that it turns as marked.
_NONE, _ONE, _TWO, _MORE, _ALL = 0.14, 0.64, 0.13, 0.04, 0.05
_AS_MARKED = 0.9
_ALONG = 0.3  # how unlike zones on one line answer, as a share
_BLEEDS = 0.1  # what of a zone's answer its neighbours show, since air crosses in the powder
_LOST = 0.12  # what the others lose by it all together, over the zones moved: a supply that gives way; and how far that goes
_LOST_SPREAD = 0.2
_MOST = 6  # zones of one valve, unless it is all of them
DEAD_TRAVEL = 0.45  # so much travel without an answer, before a line is called dead


@dataclass(frozen=True, slots=True, kw_only=True)
class Owner:
    """What a valve feeds. zones: numbers from 0, the strongest first; empty with `none`: nothing that moves answers.

    sure: chance of that. opens: 1 turns as marked, -1 the other way, 0 not known. strength: ln air of the strongest zone for
    `strength_travel` of its travel, and its error; NaN where not known. bleeds: (n,) what every zone gets of it as a share of the
    strongest, its error beside; NaN where not known. all: it moves every zone alike, as the supply does. likely: the likeliest
    zones also where that is not sure. travel: the most that was tried. asleep: zones that lay still in every look.
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
    travel: float
    asleep: tuple[int, ...]

    @property
    def known(self) -> bool:
        """Whether that is sure enough to say."""
        return self.none or self.all or bool(self.zones)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Set:
    zones: frozenset[int]
    sign: int
    chance: float


def owner_of(answers: Sequence[Answer]) -> Owner:
    """What one valve feeds, as far as its answers tell; one answer at least, all of one valve."""
    travel = max(one.travel for one in answers)
    asleep = np.logical_and.reduce([one.asleep for one in answers])
    sets = _sets(answers, asleep)
    best = max(sets, key=lambda one: one.chance)
    widest = max(answers, key=lambda one: _signal(one, best))
    order = _strongest_first(widest, best)
    sure, zones = best.chance, order
    if best.zones and sure < SURE:
        # One zone is sure, though not whether others go along: said where going along is the less likely.
        main = order[0]
        with_main = sum(one.chance for one in sets if main in one.zones and one.sign == best.sign)
        if sum(one.chance for one in sets if one.zones == {main} and one.sign == best.sign) > 0.8 * with_main:
            sure, zones = with_main, (main,)
    known = int(np.isfinite(widest.change).sum())
    said = sure >= SURE and bool(zones)
    bleeds, errors, strength = _shares(widest, order, best.sign)
    return Owner(
        valve=widest.valve,
        zones=zones if said else (),
        none=not best.zones and sure >= SURE and travel >= DEAD_TRAVEL,
        all=said and known > 1 and len(zones) == known,
        sure=float(sure),
        opens=best.sign if said else 0,
        strength=strength,
        strength_travel=widest.travel,
        bleeds=bleeds,
        bleeds_error=errors,
        likely=order,
        travel=travel,
        asleep=tuple(int(zone) for zone in np.flatnonzero(asleep)),
    )


def _signal(answer: Answer, best: _Set) -> float:
    """How far the zones of a set answered, in errors."""
    found = [answer.change[zone] / answer.error[zone] for zone in best.zones if np.isfinite(answer.change[zone])]
    return abs(float(np.sum(found))) if found else answer.travel * 1e-3


def _strongest_first(answer: Answer, best: _Set) -> tuple[int, ...]:
    return tuple(sorted(best.zones, key=lambda zone: -best.sign * float(np.nan_to_num(answer.change[zone]))))


def _sets(answers: Sequence[Answer], asleep: Array) -> list[_Set]:
    """Every set of zones that one of the answers suggests, weighed by all of them."""
    n = len(asleep)
    awake = n - int(asleep.sum())
    # A zone that lies still throughout may be the one: then nothing that moves answers.
    none = _NONE + (1 - _NONE) * (n - awake) / n
    logs = {(frozenset[int](), 0): math.log(none)}
    for answer in answers:
        known = np.flatnonzero(np.isfinite(answer.change))
        for sign in (1, -1):
            way = _AS_MARKED if sign > 0 else 1 - _AS_MARKED
            order = known[np.argsort(-sign * answer.change[known])]
            for k in {*range(1, min(_MOST, len(known)) + 1), len(known)} - {0}:
                if k > 2 and k == len(known) - 1:
                    continue  # all but one: no valve does that, the supply moves all
                zones = frozenset(int(zone) for zone in order[:k])
                logs[zones, sign] = math.log(_prior(k, awake) * way * (1 - none))
    for zones, sign in logs:
        logs[zones, sign] += sum(_log_likely(answer, zones, sign) for answer in answers)
    highest = max(logs.values())
    weights = {key: math.exp(log - highest) for key, log in logs.items()}
    total = sum(weights.values())
    return [_Set(zones=zones, sign=sign, chance=weight / total) for (zones, sign), weight in weights.items()]


def _prior(k: int, n: int) -> float:
    """Of each set of k, before anything was seen. Which k of the n is part of it, so that many sets do not add up."""
    if k == n and n > 1:
        return _ALL + (_TWO if n == 2 else 0.0)
    each = {1: _ONE, 2: _TWO}.get(k, _MORE / max(min(_MOST, n) - 2, 1))
    return each / math.comb(n, k)


def _log_likely(answer: Answer, zones: frozenset[int], sign: int) -> float:
    """Logarithm of the likelihood of an answer if these zones follow the valve; averaged over how strongly it works."""
    known = np.flatnonzero(np.isfinite(answer.change))
    if not len(known):
        return 0.0
    change, error = answer.change[known], answer.error[known]
    mine = np.isin(known, list(zones)).astype(np.float64)
    n, k = len(known), int(mine.sum())
    g = _STRENGTHS if k else np.zeros(1)
    weight = _strength_chance(answer.travel) if k else np.ones(1)
    lost = _LOST * g * k / max(n - k, 1) if k < n else np.zeros(len(g))
    mean = sign * (g[:, None] * mine - lost[:, None] * (1 - mine))
    unlike = (1 - mine) * _BLEEDS**2 + mine * (len(zones) > 1) * _ALONG**2
    own = error**2 + g[:, None] ** 2 * unlike
    common = answer.common**2 + (np.zeros(len(g)) if k == n else (_LOST_SPREAD * g * k / n) ** 2)
    off = change - mean
    # of a diagonal and a common part (Sherman & Morrison 1950)
    inverse = off / own
    inner = 1 + common * (1 / own).sum(axis=1)
    square = (off * inverse).sum(axis=1) - common * inverse.sum(axis=1) ** 2 / inner
    logs = np.log(weight) - 0.5 * (square + np.log(own).sum(axis=1) + np.log(inner))
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).sum()))


def _strength_chance(travel: float) -> Array:
    """Of each of the strengths that are tried, for this much travel."""
    x = np.log(_STRENGTHS)

    def bump(middle: float, spread: float) -> Array:
        one = np.exp(-0.5 * ((x - math.log(middle * travel)) / spread) ** 2)
        return np.asarray(one / one.sum())

    return np.asarray((1 - _FLAT) * bump(_GAIN, _GAIN_SPREAD) + _FLAT * bump(_FLAT_GAIN, _FLAT_SPREAD))


def _shares(answer: Answer, zones: tuple[int, ...], sign: int) -> tuple[Array, Array, tuple[float, float]]:
    """(n,) each zone's answer over the strongest one's, against what the zones that do not follow share; errors; the strength."""
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
