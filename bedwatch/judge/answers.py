"""What every zone answered when one valve was moved: changes of ln air with their errors, from looks before, after and moved back.

Only changes count here, never levels. Within one bed the speed of the surface goes as the air beyond the minimum to a power,
and restlessness as its logarithm, so that changes of both add up to one figure by their errors. Air is counted in times the
minimum, r; `belief` says about where each zone stands, which turns changes of the air beyond the minimum into changes of ln r.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

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
    """What opening one valve by `travel` did. travel: the widest it was moved, over 0.

    change: (n,) of ln air; NaN where a zone cannot be judged or lies still throughout. error: (n,) standard error of what is
    each zone's own. common: standard error of what all zones share. moves: how often it was moved; back: whether it was moved
    back too. asleep: (n,) zones that lay still in every look.
    """

    valve: str
    travel: float
    change: Array
    error: Array
    common: float
    moves: int
    back: bool
    asleep: Mask


def answers(trials: Sequence[Trial]) -> tuple[Answer, ...]:
    """One per valve that was moved, in the order of their first moves. trials: in the order in which they were seen."""
    if len(trials) < 2:
        return ()
    level, error, still = _levels(trials)
    error = error * _scatter(trials, level, error)
    valves = list(dict.fromkeys(trial.turn.valve for trial in trials[1:] if trial.turn is not None))
    return tuple(_answer(valve, trials, level, error, still) for valve in valves)


def _levels(trials: Sequence[Trial]) -> tuple[Array, Array, Mask]:
    """(t, n) ln air, of which differences count, NaN where not known; its error; which zones lie still."""
    count, zones = len(trials), len(trials[0].seen)
    level, error = np.full((count, zones), np.nan), np.full((count, zones), np.nan)
    still = np.array([[one.known and one.live < _ASLEEP for one in trial.seen] for trial in trials])
    first = first_belief(zones)
    airs = [first.seen(trial.seen).air for trial in trials]
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


def _answer(valve: str, trials: Sequence[Trial], level: Array, error: Array, still: Mask) -> Answer:
    """Runs of looks between which nothing but this valve was moved: a straight line through each, weighed together."""
    runs: list[list[int]] = []
    for t in range(1, len(trials)):
        turn = trials[t].turn
        if turn is None or turn.valve != valve:
            continue
        if runs and runs[-1][-1] == t - 1:
            runs[-1].append(t)
        else:
            runs.append([t - 1, t])
    stands = [np.cumsum([0.0] + [_by(trials[t]) for t in run[1:]]) for run in runs]
    travel = max(max(float(np.ptp(stand)), 1e-3) for stand in stands)
    zones = level.shape[1]
    weight, sums = np.zeros(zones), np.zeros(zones)
    moved = 0.0
    for run, stand in zip(runs, stands, strict=True):
        for zone in range(zones):
            known = np.isfinite(level[run, zone])
            at = stand[known]
            if known.sum() < 2 or np.ptp(at) < 1e-3:
                continue
            off = at - at.mean()
            square = float(off @ off)
            slope = float(off @ level[run, zone][known]) / square
            spread = float((off**2) @ (error[run, zone][known] ** 2)) / square**2
            weight[zone] += 1 / spread
            sums[zone] += slope / spread
        moved += float(((stand - stand.mean()) ** 2).sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.where(weight > 0, sums / weight, np.nan) * travel
        own = np.where(weight > 0, 1 / np.sqrt(weight), np.nan) * travel
    mine = sorted({t for run in runs for t in run})
    asleep = still[mine].all(axis=0)
    change, own = np.where(asleep, np.nan, change), np.where(asleep, np.nan, own)
    steps = [trials[t].turn for run in runs for t in run[1:]]
    ways = {math.copysign(1.0, step.by) for step in steps if step is not None}
    return Answer(
        valve=valve,
        travel=travel,
        change=change,
        error=own,
        common=COMMON * travel / math.sqrt(max(moved, 1e-9)),
        moves=len(steps),
        back=len(ways) == 2,
        asleep=asleep,
    )


def _by(trial: Trial) -> float:
    return 0.0 if trial.turn is None else trial.turn.by


__all__ = ["COMMON", "Answer", "Trial", "Turn", "answers"]
