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
from bedwatch.judge.travel import Outlook, Travel

Array = NDArray[np.float64]

# The goal: about twice the least air in every zone; good enough within these bounds, richest over poorest at most so much.
LEAST, MOST, ALIKE = 1.35, 2.9, 1.6  # an even bed may have up to 3; what is seen says less of it the livelier it is
# A zone that is left alone must lie well within them, since it is known with an error.
_LOW, _HIGH, _BAND = math.log(1.4), math.log(2.9), math.log(1.5)
_PER_OUTSIDE = 20.0  # cost, in moves, of leaving a zone outside by a factor of e
_OPENING = 0.35  # cost of opening a valve
_MISS = 2.0  # cost of a turn that misses
# Cost, in moves, of a bed that is certainly not even: a twentieth of certainty is worth one move, since a batch may be spoilt.
_PER_DOUBT = 20.0
_MISSES = 0.15  # a turn misses its aim by this share, after it was seen and turned again
_SHIFTS = np.linspace(-1.5, 1.5, 61)
_GOOD_ENOUGH, _BETTER = 0.65, 0.1
_HARDLY = 0.05  # chance that is as good as none
_ALL = 0.08  # ln air, of all zones together: pictures of two makings differ by more than is believed of one
_OWN = 0.04  # ln air, besides what is believed: no law of a surface holds to better
_RICH_FIRST = 0.25
_WILD = math.log(3.6)
_HARDLY_ANY = 0.01  # chance of reaching a change below which a valve is taken to be at its end


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One move. valve: None for the supply. travel: share of its travel, less than 0 to close. change: of ln air, meant. hit:
    chance that one turn makes it; reach: that any number of turns does."""

    valve: int | None
    travel: float
    change: float
    hit: float
    reach: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """steps: what is still to be done, in order; none: leave the bed as it is. even: chance that it is even then. cost: in moves,
    doubt and risks counted in. after: (n,) ln air when all is done."""

    steps: tuple[Step, ...]
    even: float
    cost: float
    after: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """even: that the bed is even as it is. alike: that its zones differ by no more than an even bed's may. shift: by how much, in
    ln air, all zones together are best moved; relief: how much less the zones with too little or too much would be off then."""

    even: float
    alike: float
    shift: float
    relief: float


class Turns:
    """What turns of each valve, by its number, and of the supply (None) would do."""

    def __init__(self, *, valves: Sequence[Outlook], supply: Outlook) -> None:
        self._outlooks: dict[int | None, Outlook] = {None: supply, **dict(enumerate(valves))}
        self._known: dict[tuple[int | None, float], tuple[float, float, float]] = {}

    def _turn(self, valve: int | None, change: float) -> tuple[float, float, float]:
        key = (valve, round(change, 2) or math.copysign(0.01, change))
        if key not in self._known:
            self._known[key] = self._outlooks[valve].turn_for(key[1])
        return self._known[key]

    def made(self, valve: int | None, change: float) -> float:
        """The change of ln air that comes of one that is meant: no valve is turned by less than can be read off."""
        if abs(change) < 1e-9:
            return 0.0
        made = self._turn(valve, change)[2]
        return made if abs(made) > abs(change) + 0.01 else change

    def step(self, valve: int | None, change: float) -> Step:
        travel, hit, _ = self._turn(valve, change)
        return Step(valve=valve, travel=travel, change=change, hit=hit, reach=self._outlooks[valve].reach(change))


class _Doubt:
    """What the air of the zones may be, by draws from the belief, and how far turns may miss."""

    def __init__(self, belief: Belief, known: NDArray[np.bool_]) -> None:
        rng = np.random.default_rng(8)
        draws = belief.draws(400)[:, known]
        self.air: Array = draws + _OWN * rng.standard_normal(draws.shape) + _ALL * rng.standard_normal((len(draws), 1))
        self._miss = 1.0 + _MISSES * rng.standard_normal(draws.shape)
        self._common = 1.0 + _MISSES * rng.standard_normal((len(draws), 1))

    def after(self, change: Array, total: float) -> tuple[Array, Array]:
        """Least and most air of each draw after the zones were changed, and all by `total`."""
        air = self.air + change * self._miss + total * self._common
        return air.min(axis=1), air.max(axis=1)


def _even(low: Array, high: Array) -> Array:
    return np.asarray((low > math.log(LEAST)) & (high < math.log(MOST)) & (high - low < math.log(ALIKE)))


def _best_shift(low: Array, high: Array, most: float = math.inf) -> float:
    """By how much, up to `most`, all zones are best moved: where most draws are within bounds, the middle of what is as good;
    where hardly any is, where they are least far off."""
    shifts = _SHIFTS[most >= _SHIFTS]
    # A draw is within bounds between two shifts.
    since, until = math.log(LEAST) - low, math.log(MOST) - high
    since, until = since[since < until], until[since < until]
    inside = (np.searchsorted(np.sort(since), shifts) - np.searchsorted(np.sort(until), shifts)) / len(low)
    if inside.max() > _HARDLY:
        good = shifts[inside >= inside.max() - 0.02]
    else:
        off = [_off(low + shift, high + shift) for shift in shifts]
        good = shifts[np.array(off) <= min(off) + 0.01]
    return float(good[len(good) // 2])


def _off(low: Array, high: Array) -> float:
    """How far the poorest and the richest zone are out of bounds, on average, ln air."""
    return float((np.maximum(math.log(LEAST) - low, 0.0) + np.maximum(high - math.log(MOST), 0.0)).mean())


def chances(belief: Belief, known: NDArray[np.bool_], *, can_rise: bool = True) -> Chances:
    """Of an even bed, over the zones that are known; at least one. can_rise: whether the supply has more to give."""
    air = _Doubt(belief, known).air
    low, high = air.min(axis=1), air.max(axis=1)
    shift = _best_shift(low, high, math.inf if can_rise else 0.0)
    return Chances(
        even=float(_even(low, high).mean()),
        alike=float((high - low < math.log(ALIKE)).mean()),
        shift=shift,
        relief=_off(low, high) - _off(low + shift, high + shift),
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
    """The cheapest of all plans that leave alone a group of zones with much the same air, with or without moving the supply; to
    leave everything as it is is one of them.

    known: (n,) zones that can be judged; the others are left alone. can_rise: whether the supply has more to give. fixed: zones
    without a valve of their own, which every plan leaves alone.
    """
    order = [int(zone) for zone in np.argsort(belief.air) if known[zone]]
    turns = Turns(valves=[valve.outlook() for valve in valves], supply=supply.outlook())
    if not order:
        return Plan(steps=(), even=0.0, cost=0.0, after=belief.air)
    doubt = _Doubt(belief, known)
    spans = [(first, last) for first in range(len(order)) for last in range(first, len(order))]
    spans.sort(key=lambda span: len(order) - 1 - (span[1] - span[0]))

    def plans_of(first: int, last: int) -> list[Plan]:
        keep = order[first : last + 1]
        if any(zone in fixed and zone not in keep for zone in order):
            return []
        both = (_plan(belief, turns, order, keep, doubt, known, with_supply) for with_supply in (False, True))
        return [plan for plan in both if all(possible(step) for step in plan.steps)]

    def possible(step: Step) -> bool:
        if step.valve is None:
            return can_rise or step.change < 0  # as far as it goes, also where that is not enough
        return step.reach >= _HARDLY_ANY

    plans: list[Plan] = []
    while spans:
        first, last = spans[0]
        if plans and len(order) - 1 - (last - first) >= min(plan.cost for plan in plans):
            break  # every move costs one at least, so that none of the rest is cheaper
        plans += plans_of(*spans.pop(0))
    best = min(plans, key=lambda plan: plan.cost)
    # Too likely uneven to be left so, at most with a touch of the supply: whatever may mend that is worth its moves.
    if best.even < _GOOD_ENOUGH and all(step.valve is None for step in best.steps):
        plans += [plan for span in spans for plan in plans_of(*span)]
        plans = [plan for plan in plans if plan.even > best.even + _BETTER] or [best]
    return min(plans, key=lambda plan: plan.cost)


def _plan(
    belief: Belief,
    turns: Turns,
    zones: list[int],
    keep: list[int],
    doubt: _Doubt,
    known: NDArray[np.bool_],
    with_supply: bool,
) -> Plan:
    n = belief.zones
    moved = [zone for zone in zones if zone not in keep]
    share = belief.cross / max(n - 1, 1)
    change = np.zeros(n)
    for _ in range(6 if moved else 0):
        rest = belief.air - share * (change.sum() - change)
        change[moved] = (float(rest[keep].max()) + float(rest[keep].min())) / 2 - rest[moved]
    for zone in moved:
        change[zone] = turns.made(zone, float(change[zone]))
    moves = change - share * (change.sum() - change)
    low, high = doubt.after(moves[known], 0.0)
    total = 0.0
    if with_supply:
        total = turns.made(None, _best_shift(low, high))
        low, high = doubt.after(moves[known], total)
    even = float(_even(low, high).mean())
    after = belief.air + moves + total
    left = after[keep]
    outside = max(0.0, float(np.ptp(left)) - _BAND)
    outside += max(0.0, _LOW - float(left.min())) + max(0.0, float(left.max()) - _HIGH)
    steps = [turns.step(zone, float(change[zone])) for zone in moved]
    if total:
        steps.append(turns.step(None, total))
    cost = _PER_OUTSIDE * outside + _PER_DOUBT * (1 - even)
    cost += sum(_cost(step) for step in steps)
    return Plan(steps=_ordered(belief, steps), even=even, cost=cost, after=after)


def _cost(step: Step) -> float:
    cost = 1.0 + _MISS * (1 - step.hit) + 0.05 * abs(step.change)
    if step.valve is not None and step.travel > 0:
        cost += _OPENING
    return cost


def _ordered(belief: Belief, steps: list[Step]) -> tuple[Step, ...]:
    """The supply first, unless it is to be raised while a zone is wild, or brought down while one is to be throttled by more than
    that; then the farthest off, the rich before the poor."""
    wild = float(belief.air.max()) > _WILD
    throttled = max((-step.change for step in steps if step.valve is not None), default=0.0)

    def rank(step: Step) -> float:
        if step.valve is None:
            waits = wild if step.change > 0 else throttled > -step.change
            return 1.5 if waits else -1.0
        return 1.0 - abs(step.change) - (_RICH_FIRST if step.change < 0 else 0.0)

    return tuple(sorted(steps, key=rank))
