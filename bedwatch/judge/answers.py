"""What every zone answered when one valve was moved: changes of ln air with their errors, from looks before and after.

Only changes count here, never levels. Within one bed the speed of the surface goes as the air beyond the minimum to a power,
and restlessness as its logarithm, so that changes of both add up to one figure by their errors. Air is counted in times the
minimum, r; `belief` says about where each zone stands, which turns changes of the air beyond the minimum into changes of ln r.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.belief import Seen, first_belief

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# How the surface answers, per ln of the air beyond the minimum, and what one look scatters by (the same fits to pictures of
# unlike renderers that `belief` rests on). Both only weigh the two signs against each other and give a first error, which the
# bed's own scatter corrects.
_SPEED_POWER, _SPEED_ERROR = 0.5, 0.06
_RESTLESS_SLOPE, _RESTLESS_ERROR = 2.2, 0.35
_ASLEEP, _AWAKE = 0.5, 0.9  # share of a middle that is lifted
# Air of a zone at rest, beyond the minimum, and how far that may be off: it may be far below, so that a step up to there is
# the least that happened.
_AT_REST, _AT_REST_ERROR = math.log(0.06), 0.5
_LEAST_BEYOND, _MOST_SHARE = 0.12, 0.75
_OWN = 0.02  # ln air: a zone wanders by so much between two looks
COMMON = 0.08  # ln air: the supply wanders by so much between two looks, the same for all zones
# The bed's own scatter counts beside this many looks of the usual one.
_USUAL_COUNT = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A valve as the operator knows it, opened by a share of its travel (less than 0: closed), as its marks have it."""

    valve: str
    by: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A look, and the turn since the look before it; None where nothing was turned. seen: one per zone."""

    turn: Turn | None
    seen: tuple[Seen, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one valve did, put as if it had been opened by `travel`. A valve moved to several places gives as many answers, since
    valves are not straight.

    change: (n,) of ln air; NaN where a zone cannot be judged or lies still throughout. error: (n,) standard error of what is
    each zone's own. common: standard error of what all zones share. asleep: (n,) zones that lay still in every look.
    """

    valve: str
    travel: float
    change: Array
    error: Array
    common: float
    asleep: Mask


def answers(trials: Sequence[Trial]) -> tuple[Answer, ...]:
    """By valve, in the order of their first moves, and by place it was moved to. trials: in the order in which they were seen."""
    if len(trials) < 2:
        return ()
    level, error, still = _levels(trials)
    error = error * _scatter(trials, level, error)
    valves = list(dict.fromkeys(trial.turn.valve for trial in trials[1:] if trial.turn is not None))
    return tuple(answer for valve in valves for answer in _answers(valve, trials, level, error, still))


def _levels(trials: Sequence[Trial]) -> tuple[Array, Array, Mask]:
    """(t, n) ln air, of which differences count, NaN where not known; its error; which zones lie still."""
    count, zones = len(trials), len(trials[0].seen)
    level, error = np.full((count, zones), np.nan), np.full((count, zones), np.nan)
    still = np.array([[one.known and one.live < _ASLEEP for one in trial.seen] for trial in trials])
    airs = [_about(trial.seen) for trial in trials]
    for zone in range(zones):
        awake = [t for t in range(count) if _shows(trials[t].seen[zone])]
        if not awake:
            continue
        beyond = [max(math.exp(airs[t][zone]) - 1, _LEAST_BEYOND) for t in awake]
        middle = float(np.median(beyond))
        share = min(middle / (1 + middle), _MOST_SHARE)  # of a change beyond the minimum, what it is of ln r
        looks = [trials[t].seen[zone] for t in awake]
        both = all(one.restless is not None for one in looks)
        speed = np.array([math.log(one.speed_mm_s or 1.0) for one in looks]) / _SPEED_POWER
        weights = [(_SPEED_POWER / _SPEED_ERROR) ** 2, (_RESTLESS_SLOPE / _RESTLESS_ERROR) ** 2 if both else 0.0]
        found = weights[0] * speed
        if both:
            found = found + weights[1] * np.array([one.restless or 0.0 for one in looks]) / _RESTLESS_SLOPE
        found = found / sum(weights)
        found += math.log(middle) - float(np.median(found))
        level[awake, zone] = share * found
        half = np.array([one.live < _AWAKE for one in looks])
        error[awake, zone] = np.hypot(share / math.sqrt(sum(weights)), np.where(half, 0.15, _OWN))
        asleep = np.flatnonzero(still[:, zone])
        level[asleep, zone] = share * min(_AT_REST, float(found.min()) - 0.3)
        error[asleep, zone] = share * _AT_REST_ERROR
    return level, error, still


@lru_cache(maxsize=512)  # every look is asked for again after the next one
def _about(look: tuple[Seen, ...]) -> Array:
    """(n,) about how much air each zone has, in ln r."""
    return first_belief(len(look)).seen(look).air


def _shows(seen: Seen) -> bool:
    return seen.known and seen.live >= _ASLEEP and bool(seen.speed_mm_s)


def _scatter(trials: Sequence[Trial], level: Array, error: Array) -> float:
    """By how much looks scatter more or less than usual, from looks between which all valves were brought back.

    What zones share is taken out. Median, since a valve with play does not come back quite.
    """
    squares: list[float] = []
    places: dict[tuple[tuple[str, float], ...], int] = {}
    stand: dict[str, float] = {}
    for t, trial in enumerate(trials):
        if t and trial.turn is not None:
            stand[trial.turn.valve] = stand.get(trial.turn.valve, 0.0) + trial.turn.by
        key = tuple(sorted((valve, round(by, 3)) for valve, by in stand.items() if abs(by) > 1e-3))
        before = places.get(key)
        places[key] = t
        if before is None:
            continue
        off = (level[t] - level[before]) / np.hypot(error[t], error[before])
        off = off[np.isfinite(off)]
        if len(off) >= 3:
            squares += list((off - np.median(off)) ** 2 * len(off) / (len(off) - 1))
    if not squares:
        return 1.0
    seen = float(np.median(squares)) / 0.455  # the median of a chi-squared with one degree of freedom
    return math.sqrt((_USUAL_COUNT + len(squares) * max(seen, 0.25)) / (_USUAL_COUNT + len(squares)))


def _answers(valve: str, trials: Sequence[Trial], level: Array, error: Array, still: Mask) -> list[Answer]:
    """Looks at one place of the valve against those at the place it stood at, within runs in which no other valve was moved."""
    runs: list[list[int]] = []
    for t in range(1, len(trials)):
        turn = trials[t].turn
        if turn is None or turn.valve != valve:
            continue
        if runs and runs[-1][-1] == t - 1:
            runs[-1].append(t)
        else:
            runs.append([t - 1, t])
    found = []
    for run in runs:
        stand = np.round(np.cumsum([0.0] + [_by(trials[t]) for t in run[1:]]), 3)
        at = np.array(run)
        rest = at[stand == 0]
        for place in dict.fromkeys(float(one) for one in stand if one):
            there = at[stand == place]
            change, own = _between(level, error, rest, there)
            asleep = still[rest].all(axis=0) & still[there].all(axis=0)
            found.append(
                Answer(
                    valve=valve,
                    travel=abs(place),
                    change=np.where(asleep, np.nan, math.copysign(1.0, place) * change),
                    error=np.where(asleep, np.nan, own),
                    common=COMMON * math.sqrt(1 / len(rest) + 1 / len(there)),
                    asleep=asleep,
                )
            )
    return found


def _between(level: Array, error: Array, rest: NDArray[np.intp], there: NDArray[np.intp]) -> tuple[Array, Array]:
    """(n,) by how much the mean level there differs from that at rest, and its error; NaN where either is not known."""
    total, square = np.zeros(level.shape[1]), np.zeros(level.shape[1])
    for looks, sign in ((there, 1.0), (rest, -1.0)):
        known = np.isfinite(level[looks])
        count = known.sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            total += sign * np.where(known, level[looks], 0.0).sum(axis=0) / count
            square += np.where(known, error[looks] ** 2, 0.0).sum(axis=0) / count**2
    return total, np.sqrt(square)


def _by(trial: Trial) -> float:
    return 0.0 if trial.turn is None else trial.turn.by


__all__ = ["COMMON", "Answer", "Trial", "Turn", "answers"]
