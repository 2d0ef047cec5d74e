"""Which valves to move to get an even bed in the fewest moves, from what is believed of air and valves.

The order is that of air-balancing trades: the total first, until the poorest zone lives; then the richest is throttled, never the
poorest; a valve is opened only where that saves moves; one valve stays as it is (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.belief import Belief
from bedwatch.judge.travel import Travel

Array = NDArray[np.float64]

# The goal: about twice the least air in every zone; good enough within these bounds, richest over poorest at most so much.
GOAL = 1.8
LEAST, MOST, ALIKE = 1.35, 2.8, 1.6  # an even bed may have up to 3; what is seen says less of it the livelier it is
# A zone that is left alone must lie well within them, since it is known with an error.
_LOW, _HIGH, _BAND = math.log(1.5), math.log(2.35), math.log(1.38)
_PER_OUTSIDE = 20.0  # cost, in moves, of leaving a zone outside by a factor of e
_OPENING, _NO_ROOM = 0.35, 1.5  # cost of opening a valve, and of one that may be at its end
_ALIKE_FROM, _LEVEL_FROM = 0.75, 0.75
_HARDLY = 0.05  # chance that is as good as none
_OWN = 0.05  # ln air: zones differ in what they show, by wall, light and lens, however often they are looked at
BIGGEST, SMALLEST = 0.4, 0.07  # of a valve's travel in one move
_RICH_FIRST = 0.25
_WILD = math.log(3.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One move. valve: None for the supply. travel: share of its travel, less than 0 to close. change: of ln air, meant."""

    valve: int | None
    travel: float
    change: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """steps: what is still to be done, in order. cost: in moves, risks counted in. after: (n,) ln air when all is done."""

    steps: tuple[Step, ...]
    cost: float
    after: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """alike: that the zones' air differs by no more than an even bed's may. level: that it is neither too little nor too much
    anywhere. best_level: the most that could come to by moving all zones alike, by `shift` in ln air. relief: how much less, in
    ln air, the zones that get too little or too much would be off after it."""

    alike: float
    level: float
    best_level: float
    shift: float
    relief: float

    @property
    def even(self) -> bool:
        """Whether to stop: the zones are alike, and no move of all could make it surer that they get what they need."""
        return self.are_alike and self.level >= _LEVEL_FROM * self.best_level

    @property
    def are_alike(self) -> bool:
        """Whether no single zone needs to be moved."""
        return self.alike >= _ALIKE_FROM


def chances(belief: Belief, known: NDArray[np.bool_], *, can_rise: bool = True) -> Chances:
    """Of an even bed, over the zones that are known; at least one. can_rise: whether the supply has more to give."""
    draws = belief.draws()[:, known]
    draws = draws + _OWN * np.random.default_rng(8).standard_normal(draws.shape)
    low, high = draws.min(axis=1), draws.max(axis=1)
    alike = high - low < math.log(ALIKE)
    shifts = np.linspace(-1.5, 1.5 if can_rise else 0.0, 61 if can_rise else 31)[:, None]
    inside = (low + shifts > math.log(LEAST)) & (high + shifts < math.log(MOST))
    level = inside.mean(axis=1)
    off = (np.maximum(math.log(LEAST) - low - shifts, 0.0) + np.maximum(high + shifts - math.log(MOST), 0.0)).mean(
        axis=1
    )
    # Where many shifts are as good, the middle one; where none is, the one that leaves the zones least far off.
    good = shifts[level >= level.max() - 0.02 if level.max() > _HARDLY else off <= off.min() + 0.01, 0]
    shift = float(good[len(good) // 2])
    return Chances(
        alike=float(alike.mean()),
        level=float(level[30]),
        best_level=float(level.max()),
        shift=shift,
        relief=float(off[30] - off[int(np.abs(shifts[:, 0] - shift).argmin())]),
    )


def best_plan(
    belief: Belief,
    valves: Sequence[Travel],
    supply: Travel,
    known: NDArray[np.bool_],
    *,
    can_rise: bool = True,
    fixed: Collection[int] = (),
) -> Plan:
    """The cheapest of all plans that leave alone a group of zones with much the same air, with or without moving the supply.

    known: (n,) zones that can be judged; the others are left alone. can_rise: whether the supply has more to give. fixed: zones
    without a valve of their own, which every plan leaves alone.
    """
    order = [int(zone) for zone in np.argsort(belief.air) if known[zone]]
    best: Plan | None = None
    for first in range(len(order)):
        for last in range(first, len(order)):
            keep = order[first : last + 1]
            if any(zone in fixed and zone not in keep for zone in order):
                continue
            for with_supply in (False, True):
                if not with_supply and len(keep) == len(order):
                    continue  # to leave everything as it is is no plan
                plan = _plan(belief, valves, supply, order, keep, with_supply)
                if with_supply and not can_rise and any(step.valve is None and step.change > 0 for step in plan.steps):
                    continue
                if best is None or plan.cost < best.cost - 1e-9:
                    best = plan
    return best or Plan(steps=(), cost=0.0, after=belief.air)


def _plan(
    belief: Belief, valves: Sequence[Travel], supply: Travel, zones: list[int], keep: list[int], with_supply: bool
) -> Plan:
    n = belief.zones
    moved = [zone for zone in zones if zone not in keep]
    share = belief.cross / max(n - 1, 1)
    change, total = np.zeros(n), 0.0
    after = belief.air
    for _ in range(6 if moved else 1):
        lost = share * (change.sum() - change)
        rest = belief.air - lost
        middle = (float(rest[keep].max()) + float(rest[keep].min())) / 2
        total = math.log(GOAL) - middle if with_supply else 0.0
        aim = middle + total
        change[moved] = aim - rest[moved] - total
        after = rest + change + total
    left = after[keep]
    outside = max(0.0, float(np.ptp(left)) - _BAND)
    outside += max(0.0, _LOW - float(left.min())) + max(0.0, float(left.max()) - _HIGH)
    steps = [Step(valve=zone, travel=change[zone] / belief.gain(zone), change=float(change[zone])) for zone in moved]
    if with_supply:
        steps.append(Step(valve=None, travel=total / belief.gain(None), change=total))
    cost = _PER_OUTSIDE * outside
    cost += sum(_cost(step, supply if step.valve is None else valves[step.valve]) for step in steps)
    return Plan(steps=_ordered(belief, steps), cost=cost, after=after)


def _cost(step: Step, valve: Travel) -> float:
    cost = max(1.0, abs(step.travel) / BIGGEST) + 0.05 * abs(step.change)
    cost += _NO_ROOM * (1 - valve.room(step.travel))
    if step.valve is not None and step.travel > 0:
        cost += _OPENING
    return cost


def _ordered(belief: Belief, steps: list[Step]) -> tuple[Step, ...]:
    """The supply first, unless it is to be raised while a zone is wild, or brought down while one is not fed and another is to be
    throttled by more than that; then the farthest off, the rich before the poor."""
    wild, unfed = float(belief.air.max()) > _WILD, float(belief.air.min()) < math.log(LEAST)
    throttled = max((-step.change for step in steps if step.valve is not None), default=0.0)

    def rank(step: Step) -> float:
        if step.valve is None:
            waits = wild if step.change > 0 else unfed and throttled > -step.change
            return 1.5 if waits else -1.0
        return 1.0 - abs(step.change) - (_RICH_FIRST if step.change < 0 else 0.0)

    return tuple(sorted(steps, key=rank))


def amount_of(step: Step, valve: Travel, gain_spread: float) -> float:
    """The share of its travel to turn a valve by: what the model says, less where the valve is not known yet, within what can be
    read off and what there is to turn."""
    careful = 1.0 / (1.0 + 0.35 * gain_spread)
    room = 1.0 - valve.open_share if step.travel > 0 else valve.open_share
    most = min(BIGGEST, max(room + 0.25, SMALLEST))
    return float(np.clip(abs(step.travel) * careful, SMALLEST, most))
