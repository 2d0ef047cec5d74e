"""Where a valve may stand and what turning it does, as far as one can know: nobody tells how it opens or where it stood.

Carried along are many guesses of both, each weighed by how well it told what turns did. A guess goes for the whole travel, so
that a valve that did nothing on a flat is expected to drop off it, and between two places that were tried the next is sought.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BIGGEST, SMALLEST = 0.4, 0.07  # of a valve's travel in one move
AT_ITS_END = 0.8  # chance from which a valve counts as at its end

_STEPS = 41
_PLACES = np.linspace(0.0, 1.0, _STEPS)
_FULLY_OPEN = 0.2  # chance that a valve is fully open at the start
_LEAK = 0.01  # share of its area that a shut valve leaves
_AUTHORITIES = (0.08, 0.25, 0.6, 1.0)
_SUPPLY_POWERS = (1.0, 2.0, 3.5)  # over a bed's weight only what pressure is left drives the air
# What a guess may be off: of a change of ln air, by play and by what no law holds.
_OFF, _OFF_SHARE, _OFF_TRAVEL = 0.06, 0.15, 0.02
_MEANT_SHARE = 0.5  # of a change, when nothing was seen of it yet
_UNLIKELY = 0.01  # no guess is ever ruled out
_OTHERWISE = (0.3, 0.3)  # ln air that zones differ by, and the whole bed, for other reasons than valves
_RICHEST = math.log(4.5), 0.6  # a bed's air with its supply fully open, in minima
_NEAR, _NEAR_SHARE = 0.06, 0.3  # a change is made that comes so near

_TURNS = np.arange(SMALLEST, BIGGEST + 1e-9, 0.01)
_BIN = 0.05
_BINS = np.arange(-4.0, 4.0 + 1e-9, _BIN)
_BEYOND, _FAR = 0.1, 1.0  # chance of a hit that is given for going too far by so much, ln air; farther is no worse
_MOST_OF_IT = 0.7  # share of a change from which it can be made


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """chance: (k, 41) of each of k laws and 41 places at the start. laws: (k, 41) ln air at each place from shut to open, at the
    start. place: (41,) where the valve stands now had it stood at each of them. last: (k, 41) what the last turn changed, ln air;
    None when it was answered."""

    chance: Array
    laws: Array
    place: Array
    last: Array | None = None

    @property
    def places(self) -> Array:
        """(41,) chance of having stood at each place at the start."""
        return np.asarray(self.chance.sum(axis=0))

    @property
    def open_share(self) -> float:
        """How far it stands open, 0 to 1: the mean."""
        return float(self.places @ self.place)

    @property
    def fully_open(self) -> float:
        """Chance that it cannot be opened further."""
        return float(self.places[self.place > 0.97].sum())

    def changes(self, travel: float) -> Array:
        """(k, 41) change of ln air by a turn (less than 0: closed): at the end of its travel a valve stops."""
        return self._at(np.clip(self.place + travel, 0.0, 1.0)) - self._at(self.place)

    def _at(self, place: Array) -> Array:
        low = np.minimum((place * (_STEPS - 1)).astype(np.intp), _STEPS - 2)
        part = place * (_STEPS - 1) - low
        return np.asarray(self.laws[:, low] * (1 - part) + self.laws[:, low + 1] * part)

    def meant(self, travel: float, error: float = 0.0) -> tuple[float, float]:
        """Mean and standard deviation of the change of ln air by a turn; error: of the turn, in travel."""
        change = self.changes(travel)
        mean = float((self.chance * change).sum())
        spread = float((self.chance * (change - mean) ** 2).sum())
        slope = abs(mean / travel) if travel else 0.0
        own = (_MEANT_SHARE * mean) ** 2 + (slope * math.hypot(error, _OFF_TRAVEL)) ** 2
        return mean, math.sqrt(spread + own + _OFF**2)

    def turned(self, travel: float) -> Travel:
        """After a turn."""
        last = self.changes(travel)
        return replace(self, place=np.clip(self.place + travel, 0.0, 1.0), last=last if travel else None)

    def answered(self, change: float, error: float) -> Travel:
        """After a look that makes the last turn out to have changed ln air by so much."""
        if self.last is None:
            return self
        wide = np.sqrt(error**2 + _OFF**2 + (_OFF_SHARE * self.last) ** 2)
        likely = np.exp(-0.5 * ((self.last - change) / wide) ** 2) / wide
        chance = self.chance * (likely / max(float(likely.max()), 1e-300) + _UNLIKELY)
        return replace(self, chance=chance / chance.sum(), last=None)

    def outlook(self) -> Outlook:
        """What can be made of it in one turn, and at all, each way."""
        chance = self.chance.ravel()
        hits = []
        turns = np.concatenate([-_TURNS[::-1], _TURNS])
        for turn in turns:
            change = self.changes(float(turn)).ravel()
            hits.append(np.bincount(self._bins(change), chance, len(_BINS)))
        ends = [np.bincount(self._bins(self.changes(way).ravel()), chance, len(_BINS)) for way in (-1.0, 1.0)]
        return Outlook(turns=turns, landing=np.array(hits), ends=np.array(ends))

    @staticmethod
    def _bins(change: Array) -> NDArray[np.intp]:
        return np.asarray(np.clip(np.rint((change - _BINS[0]) / _BIN), 0, len(_BINS) - 1), np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """turns: (t,) of a valve, less than 0 to close it. landing: (t, b) chance of each change of ln air; ends: (2, b) by shutting
    it, by opening it fully."""

    turns: Array
    landing: Array
    ends: Array

    def reach(self, change: float) -> float:
        """Chance that the valve can make this change of ln air at all."""
        most = _MOST_OF_IT * abs(change) - _BIN / 2
        return float(self.ends[1][most <= _BINS].sum() if change > 0 else self.ends[0][most <= -_BINS].sum())

    def turn_for(self, change: float) -> tuple[float, float, float]:
        """The turn that most likely makes this change of ln air, the chance that it does, and what it makes: the change, or more
        where that needs a smaller turn than can be read off."""
        way = self.turns > 0 if change > 0 else self.turns < 0
        turns, landing = self.turns[way], self.landing[way]
        near = np.exp(-0.5 * ((_BINS - change) / math.hypot(_NEAR, _NEAR_SHARE * change)) ** 2)
        hit = landing @ near
        beyond = landing @ np.clip(np.sign(change) * (_BINS - change), 0.0, _FAR)
        best = int(np.argmax(hit - _BEYOND * beyond - 0.02 * np.abs(turns)))
        made = change
        if abs(turns[best]) <= SMALLEST + 1e-9:
            middle = float(_BINS[int(np.searchsorted(np.cumsum(landing[best]), 0.5))])
            made = middle if abs(middle) > abs(change) + _BIN / 2 else change
        return float(turns[best]), float(hit[best]), made


@cache
def _laws(powers: tuple[float, ...]) -> Array:
    """(k, 41) ln air at each place of valves that open as IEC 60534-2-4 names it (linear, equal percentage, quick opening) or
    along an S as ball and butterfly valves do, in lines whose other resistances leave them a share of the pressure: installed
    flow 1 / sqrt(1 + N (1 / f² - 1)) of a valve of authority N (textbook form, from memory)."""
    u = _PLACES
    bend = (1 - np.cos(math.pi * u)) / 2
    opens = [u, 30.0 ** (u - 1), np.sqrt(u), bend**0.6, bend, bend**1.7]
    laws = []
    for area in opens:
        area = np.maximum(area, _LEAK)
        for share in _AUTHORITIES:
            installed = -0.5 * np.log(1 + share * (1 / area**2 - 1))
            laws += [power * installed for power in powers]
    found: Array = np.maximum(np.array(laws), -4.0)
    found.setflags(write=False)
    return found


def _unknown(powers: tuple[float, ...]) -> Travel:
    laws = _laws(powers)
    places = np.where(_PLACES > 0.08, 1.0, 0.1)
    places = (1 - _FULLY_OPEN) * places / places.sum()
    places[-1] += _FULLY_OPEN
    return Travel(chance=np.tile(places / len(laws), (len(laws), 1)), laws=laws, place=_PLACES)


def unknown_travel() -> Travel:
    """A zone's valve that stands anywhere but shut, fully open rather more often."""
    return _unknown((1.0,))


def unknown_supply() -> Travel:
    """The supply's valve or speed."""
    return _unknown(_SUPPLY_POWERS)


def throttled(valves: list[Travel], air: Array, spread: Array) -> list[Travel]:
    """Valves before any was turned, from (n,) ln air of their zones and its errors: who gets little is likely throttled more."""
    error = np.hypot(_OTHERWISE[0], spread)
    full = float(air.max()) + np.arange(-0.3, 2.01, 0.1)  # ln air of a zone whose valve is fully open
    told = []
    for valve, one, wide in zip(valves, air, error, strict=True):
        off = valve.laws[None] + full[:, None, None] - one
        told.append(np.exp(-0.5 * (off / wide) ** 2) * valve.chance)
    each = np.array([one.sum(axis=(1, 2)) for one in told])  # (n, c)
    whole = np.log(np.maximum(each, 1e-300)).sum(axis=0)
    weight = np.exp(whole - whole.max())
    found = []
    for valve, one, by in zip(valves, told, each, strict=True):
        chance = np.einsum("c,cku->ku", weight / np.maximum(by, 1e-300), one)
        found.append(replace(valve, chance=chance / chance.sum()))
    return found


def held_back(supply: Travel, air: float, error: float) -> Travel:
    """The supply before it was turned, from the mean ln air of the zones: a bed that gets little has it rather closed."""
    wide = math.hypot(math.hypot(*_OTHERWISE), math.hypot(error, _RICHEST[1]))
    chance = supply.chance * np.exp(-0.5 * ((supply.laws + _RICHEST[0] - air) / wide) ** 2)
    return replace(supply, chance=chance / chance.sum())
