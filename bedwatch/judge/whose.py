"""Which zones a valve feeds, by what they answered: every set of zones it could be is weighed by how well it foretells that.

For each way round, and for each number k of zones, the k that answered most are held to follow the valve; the others share what
the supply makes of it (it loses what the moved zones gain) and its own wandering. How strongly the valve works is not known and
averaged over. Sets are compared by their chances (Bayes); nothing is said below `SURE`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.answers import Answer

Array = NDArray[np.float64]

SURE = 0.95
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
    the travel tried, and its error. shares: what each of `zones` gets of it, with errors. bleeds: (n,) what every zone gets of
    it, its error beside; NaN where not known. all: it moves every zone alike, as the supply does.
    likely: the likeliest zones also where that is not sure.
    """

    valve: str
    zones: tuple[int, ...]
    none: bool
    all: bool
    sure: float
    opens: int
    strength: tuple[float, float]
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
    zones: tuple[int, ...]
    sign: int
    weight: float


def owner_of(answer: Answer) -> Owner:
    """What one valve feeds, as far as its answer tells."""
    known = np.flatnonzero(np.isfinite(answer.change))
    asleep = tuple(int(zone) for zone in np.flatnonzero(answer.asleep))
    sets = _sets(answer, known) if len(known) else []
    total = sum(one.weight for one in sets)
    chance: dict[tuple[frozenset[int], int], float] = {}
    for one in sets:
        key = (frozenset(one.zones), one.sign)
        chance[key] = chance.get(key, 0.0) + one.weight / total
    best = max(sets, key=lambda one: one.weight, default=None)
    sure = 0.0 if best is None else chance[frozenset(best.zones), best.sign]
    zones, sign = ((), 0) if best is None else (best.zones, best.sign)
    if best is not None and sure < SURE:
        zones, sign, sure = _common(sets, total, best)
    every = len(known) > 1 and len(zones) == len(known)
    none = best is not None and not best.zones and sure >= SURE and answer.travel >= DEAD_TRAVEL
    said = sure >= SURE and bool(zones)
    shown = zones if said else ()
    bleeds, errors, strength = _shares(answer, known, best.zones if best else (), best.sign if best else 0)
    return Owner(
        valve=answer.valve,
        zones=shown,
        none=none,
        all=said and every,
        sure=sure,
        opens=sign if said else 0,
        strength=strength,
        bleeds=bleeds,
        bleeds_error=errors,
        likely=() if best is None else best.zones,
        travel=answer.travel,
        asleep=asleep,
    )


def _common(sets: list[_Set], total: float, best: _Set) -> tuple[tuple[int, ...], int, float]:
    """What the likely sets have in common, when no one set is sure: the one zone that answers most, if that is."""
    if not best.zones:
        return (), 0, best.weight / total
    main = best.zones[0]
    share = sum(one.weight for one in sets if one.zones and one.zones[0] == main and one.sign == best.sign) / total
    alone = sum(one.weight for one in sets if one.zones == (main,) and one.sign == best.sign) / total
    # Which zone is sure but not whether others go along: not said unless going along is the less likely.
    return ((main,), best.sign, share) if alone >= 0.5 * share else ((), 0, max(alone, best.weight / total))


def _sets(answer: Answer, known: Array) -> list[_Set]:
    change, error = answer.change[known], answer.error[known]
    n = len(known)
    asleep = int(answer.asleep.sum())
    # A zone that lies still throughout may be the one: then nothing that moves answers.
    none = _NONE + (1 - _NONE) * asleep / (n + asleep)
    found = [_Set(zones=(), sign=0, weight=none * _likely(change, error, answer, np.zeros(n), 0))]
    for sign in (1, -1):
        order = np.argsort(-sign * change)
        way = _AS_MARKED if sign > 0 else 1 - _AS_MARKED
        for k in sorted({*range(1, min(_MOST, n) + 1), n}):
            if k > 1 and k == n - 1 and n > 2 and k > 2:
                continue  # all but one: told by none but the supply, which moves all
            prior = _prior(k, n) * way * (1 - none)
            mine = np.zeros(n)
            mine[order[:k]] = 1.0
            weight = prior * _likely(change, error, answer, mine, sign)
            found.append(_Set(zones=tuple(int(known[i]) for i in order[:k]), sign=sign, weight=weight))
    return found


def _prior(k: int, n: int) -> float:
    """Of each set of k, before anything was seen. Which k of the n is part of it, so that many sets do not add up."""
    if k == n and n > 1:
        return _ALL + (_TWO if n == 2 else 0.0)
    each = {1: _ONE, 2: _TWO}.get(k, _MORE / max(min(_MOST, n) - 2, 1))
    return each / math.comb(n, k)


def _likely(change: Array, error: Array, answer: Answer, mine: Array, sign: int) -> float:
    """Likelihood of the changes if the zones in `mine` (n, of 0 and 1) follow the valve; averaged over how strongly it works."""
    n, k = len(change), int(mine.sum())
    strengths = _STRENGTHS if k else np.zeros(1)
    weight = _strength_chance(answer.travel) if k else np.ones(1)
    total = 0.0
    for g, share in zip(strengths, weight, strict=True):
        lost = _LOST * g * k / max(n - k, 1) if k < n else 0.0
        mean = sign * (g * mine - lost * (1 - mine))
        own = error**2 + (1 - mine) * (_BLEEDS * g) ** 2 + mine * (k > 1) * (_ALONG * g) ** 2
        common = answer.common**2 + (0.0 if k == n else (_LOST_SPREAD * g * k / n) ** 2)
        off = change - mean
        # of a diagonal and a common part (Sherman & Morrison 1950)
        inverse = off / own
        inner = 1 + common * float((1 / own).sum())
        square = float(off @ inverse) - common * float(inverse.sum()) ** 2 / inner
        log = -0.5 * (square + float(np.log(own).sum()) + math.log(inner))
        total += share * math.exp(max(log, -600.0))
    return total


def _strength_chance(travel: float) -> Array:
    """Of each of the strengths that are tried, for this much travel."""
    x = np.log(_STRENGTHS)

    def bump(middle: float, spread: float) -> Array:
        one = np.exp(-0.5 * ((x - math.log(middle * travel)) / spread) ** 2)
        return np.asarray(one / one.sum())

    return np.asarray((1 - _FLAT) * bump(_GAIN, _GAIN_SPREAD) + _FLAT * bump(_FLAT_GAIN, _FLAT_SPREAD))


def _shares(answer: Answer, known: Array, zones: tuple[int, ...], sign: int) -> tuple[Array, Array, tuple[float, float]]:
    """(n,) each zone's answer over the strongest one's, against what the zones that do not follow share; errors; the strength."""
    share, error = np.full(len(answer.change), np.nan), np.full(len(answer.change), np.nan)
    if not zones:
        return share, error, (math.nan, math.nan)
    rest = np.array([zone for zone in known if zone not in zones], np.intp)
    base = float(np.median(answer.change[rest])) if len(rest) else 0.0
    main = zones[0]
    strength = sign * (float(answer.change[main]) - base)
    share[known] = sign * (answer.change[known] - base) / max(strength, 1e-6)
    error[known] = np.hypot(answer.error[known], share[known] * answer.error[main]) / max(strength, 1e-6)
    error[main] = 0.0
    return share, error, (strength, math.hypot(float(answer.error[main]), 0.0 if len(rest) else answer.common))
