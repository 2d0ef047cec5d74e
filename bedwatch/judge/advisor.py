"""The next move and where that leaves the tuning, look after look: what was learned from every answer is kept."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.belief import Belief, Seen, first_belief
from bedwatch.judge.hands import Left, apart, next_by_hand, unanswered, unlike
from bedwatch.judge.plan import ALIKE, Chances, Plan, Step, Turns, best_plan, chances
from bedwatch.judge.reasons import reason_of, supply_spent
from bedwatch.judge.travel import AT_ITS_END, Travel, held_back, throttled, unknown_supply, unknown_travel
from bedwatch.judge.types import ALL_ZONES, Did, Done, HintWord, Move, Outcome, Reading, ZoneReading

_ASLEEP = 0.5  # share of a middle that is lifted, below which a zone counts as not fed
_AWAKE = 0.9  # share from which what the surface shows is a matter of degree
_TRIED = 0.55  # so much travel without any answer: it is not the valve
_SUPPLY_TRIED = 0.8
_AS_LIKELY = 0.5  # chance that zones without a valve are alike, below which they are told to differ
_WORTH = 0.1  # ln air: smaller turns bring no better bed where the zones differ for good
_UNKNOWN = 1.0  # ln air: of a zone that was not seen
# Of the supply's travel, while it is to lift what sleeps, and while nothing moves at all: it is brought up slowly.
_GENTLY, _FROM_REST = 0.14, 0.15
_STIRS = 0.1  # share of a middle
_READABLE = 0.05  # of a valve's travel: less is lost in its play
_ASLEEP_ERROR = 0.4  # ln air: of what a turn did to a zone that slept before or after
_STIRRED = 0.1  # ln air: what stirring may change in a zone
_TOO_LITTLE = 1.4  # mean air of the zones, in minima: less is not enough for all, however it is shared out


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one look says. seen: per zone. by_hand: per zone the hint and reason where a fault calls for hands, else None."""

    seen: tuple[Seen, ...]
    by_hand: tuple[tuple[HintWord, str] | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """move: None where there is none to make. zones: hints that the plan has the last word on, by number of the zone."""

    move: Move | None
    outcome: Outcome
    belief: Belief
    plan: Plan | None
    chance: Chances | None
    zones: dict[int, tuple[HintWord, str]] = field(default_factory=dict)


class Advisor:
    """One bed's tuning. `did` and `look` in the order in which things happened; `look` may be called again as more is seen.

    names: of all zones. valves: of those that have a valve of their own; None for all. No other zone's valve is ever advised.
    """

    def __init__(self, names: Sequence[str], valves: Collection[str] | None = None) -> None:
        count = len(names)
        self._names = list(names)
        self._fixed = frozenset(zone for zone, name in enumerate(names) if valves is not None and name not in valves)
        self._belief = first_belief(count)
        self._valves = [unknown_travel() for _ in names]
        self._supply = unknown_supply()
        self._untouched = True  # no valve was turned yet
        self._look: Look | None = None
        self._last: tuple[int | None, float] | None = None  # the last turn: valve, travel
        self._slept: set[int] = set()  # zones that were not wholly awake before the last turn
        self._tried = [0.0] * count  # travel a zone that sleeps was opened by, without an answer
        self._supply_tried = 0.0
        self._hands = [0] * count  # what was done by hand about a zone: 1 stirred, 2 plate checked

    def replay(self, events: Iterable[Reading | Did]) -> None:
        """What happened before, in order."""
        for event in events:
            if isinstance(event, Did):
                self.did(event)
            else:
                self._look = look_of(event)

    def did(self, did: Did) -> None:
        """A move was made: the last look was the bed before it."""
        self._commit()
        if did.do in (Done.STIRRED, Done.CHECKED_PLATE):
            self._by_hand(did)
            return
        sign = 1.0 if did.do is Done.MORE_AIR else -1.0
        valve = (
            None if did.zone == ALL_ZONES or did.zone is None or len(self._names) == 1 else self._names.index(did.zone)
        )
        amount, error = (0.15, 0.15) if did.amount is None else (did.amount, 0.0)
        before = self._supply if valve is None else self._valves[valve]
        change, spread = before.meant(sign * amount, error)
        if valve is None:
            self._supply = before.turned(sign * amount)
        else:
            self._valves[valve] = before.turned(sign * amount)
        self._last, self._untouched = (valve, sign * amount), False
        self._belief = self._belief.moved(valve, change, spread)

    def note(self, look: Look) -> None:
        """Keep it for the next `did`: what the bed was like before the move."""
        self._look = look

    def look(self, look: Look) -> Advice:
        """What to do now."""
        self.note(look)
        belief = self._belief.seen(look.seen)
        valves, supply = self._answered(belief, look)
        known = np.array([seen.known for seen in look.seen])
        return self._advise(look, belief, valves, supply, known)

    def _commit(self) -> None:
        """The last look is the answer to the moves before it."""
        if self._look is None:
            return
        belief = self._belief.seen(self._look.seen)
        self._valves, self._supply = self._answered(belief, self._look)
        self._count_tries(self._look)
        self._slept = {zone for zone, seen in enumerate(self._look.seen) if seen.live <= _AWAKE}
        self._belief, self._look, self._last = belief, None, None

    def _answered(self, belief: Belief, look: Look) -> tuple[list[Travel], Travel]:
        """What is known of all valves after a look; only zones that are awake show how far they were moved."""
        valves, supply = list(self._valves), self._supply
        if self._untouched:
            known = np.array([seen.known for seen in look.seen])
            if not known.any():
                return valves, supply
            spread = np.where(known, belief.spread, _UNKNOWN)
            mean = belief.air[known].mean()
            valves, supply = [unknown_travel() for _ in valves], unknown_supply()
            return throttled(valves, belief.air, spread), held_back(supply, float(mean), float(spread[known].mean()))
        answer = belief.answer()
        if self._last is None or answer is None:
            return valves, supply
        valve, _ = self._last
        change, error = answer
        if not any(
            seen.live > _AWAKE and z not in self._slept and valve in (None, z) for z, seen in enumerate(look.seen)
        ):
            error = math.hypot(error, _ASLEEP_ERROR)
        if valve is None:
            return valves, supply.answered(change, error)
        valves[valve] = valves[valve].answered(change, error)
        return valves, supply

    def _count_tries(self, look: Look) -> None:
        if self._last is None:
            return
        valve, travel = self._last
        for zone, seen in enumerate(look.seen):
            if seen.known and seen.live >= _ASLEEP:
                self._tried[zone] = 0.0
        if valve is None:
            asleep = all(seen.live < _ASLEEP for seen in look.seen if seen.known)
            self._supply_tried = max(0.0, self._supply_tried + travel) if asleep else 0.0
        elif look.seen[valve].live < _ASLEEP:
            self._tried[valve] = max(0.0, self._tried[valve] + travel)

    def _by_hand(self, did: Did) -> None:
        stage = 1 if did.do is Done.STIRRED else 2
        zones = range(len(self._names)) if did.zone in (None, ALL_ZONES) else [self._names.index(did.zone or "")]
        for zone in zones:
            self._hands[zone] = max(self._hands[zone], stage)
        # What was stirred may take another share of the air; to look at a plate changes nothing.
        for zone in zones if stage == 1 else ():
            self._belief = self._belief.loosened(_STIRRED, zone)

    # --- what to do ---------------------------------------------------------------------------

    def _advise(
        self, look: Look, belief: Belief, valves: Sequence[Travel], supply: Travel, known: NDArray[np.bool_]
    ) -> Advice:
        if not known.any():
            return Advice(move=None, outcome=Outcome.LOOKING, belief=belief, plan=None, chance=None)
        hopeless = self._hopeless(look, valves)
        sound = known.copy()
        sound[list(hopeless)] = False
        spent = self._spent(look, supply)
        chance = chances(belief, sound, can_rise=not spent) if sound.any() else None
        plan = best_plan(belief, valves, supply, sound, can_rise=not spent, fixed=self._fixed)

        def advice(move: Move | None, outcome: Outcome, zones: dict[int, tuple[HintWord, str]] | None = None) -> Advice:
            return Advice(move=move, outcome=outcome, belief=belief, plan=plan, chance=chance, zones=zones or {})

        channel = self._channel(look)
        if channel is not None:
            return advice(channel, Outcome.MOVING)
        if spent and float(np.exp(belief.air[known]).mean()) < _TOO_LITTLE:
            zones = {
                zone: (HintWord.MORE_AIR, supply_spent(seen))
                for zone, seen in enumerate(look.seen)
                if seen.known and seen.live < _ASLEEP
            }
            return advice(None, Outcome.SUPPLY_TOO_SMALL, zones)
        step = None if chance is None else self._step(plan, chance, supply)
        if step is not None:
            return advice(self._move(step, look, belief), Outcome.MOVING)
        left = self._left(look, hopeless, belief, chance)
        hand = next_by_hand(self._names, left, self._hands)
        if hand is not None:
            return advice(hand, Outcome.MOVING)
        if left:
            return advice(None, Outcome.NOT_VALVES, {one.zone: one.after for one in left})
        if spent and chance is not None and chance.even < _AS_LIKELY and chances(belief, sound).shift > _WORTH / 2:
            return advice(None, Outcome.SUPPLY_TOO_SMALL)  # more for all would do, and there is no more
        return advice(None, Outcome.EVEN if known.all() else Outcome.LOOKING)

    def _step(self, plan: Plan, chance: Chances, supply: Travel) -> Step | None:
        """The turn to make, or None when none helps."""
        if not plan.steps:
            return None
        ours = [step for step in plan.steps if step.valve is not None]
        if not self._fixed or plan.even > _AS_LIKELY or any(abs(step.change) > _WORTH for step in ours):
            return plan.steps[0]
        if chance.relief < _WORTH:
            return None  # what differs has no valve
        return Turns(valves=(), supply=supply.outlook()).step(None, chance.shift)

    def _hopeless(self, look: Look, valves: Sequence[Travel]) -> set[int]:
        """Zones that stay asleep though their valve was opened far or is at its end, while most others are fed."""
        fed = [seen.known and seen.live >= _ASLEEP for seen in look.seen]
        if 2 * sum(fed) < len(fed):
            return set()
        tried = list(self._tried)
        if self._last is not None and self._last[0] is not None:
            tried[self._last[0]] = max(0.0, tried[self._last[0]] + self._last[1])
        return {
            zone
            for zone, seen in enumerate(look.seen)
            if seen.known
            and seen.live < _ASLEEP
            and tried[zone] > 0.1
            and (tried[zone] >= _TRIED or valves[zone].fully_open > AT_ITS_END)
        }

    def _channel(self, look: Look) -> Move | None:
        """Air that blows through settled powder is stirred shut before any valve is moved, once."""
        for zone, hand in enumerate(look.by_hand):
            asleep = look.seen[zone].known and look.seen[zone].live < _ASLEEP
            if hand is not None and hand[0] is HintWord.STIR and asleep and self._hands[zone] == 0:
                return Move(zone=self._names[zone], do=HintWord.STIR, amount=None, because=hand[1])
        return None

    def _left(self, look: Look, hopeless: set[int], belief: Belief, chance: Chances | None) -> list[Left]:
        """What no valve mends: zones that do not answer, faults, and zones without a valve that differ from the rest."""
        left = {
            zone: unanswered(
                zone, name, max(self._tried[zone], _TRIED), look.by_hand[zone], valve=zone not in self._fixed
            )
            for zone, name in enumerate(self._names)
            if zone in hopeless or look.by_hand[zone] is not None
        }
        if chance is not None and chance.alike < _AS_LIKELY:
            known = [seen.known for seen in look.seen]
            for zone in apart(belief, known, self._fixed, ALIKE):
                left.setdefault(zone, unlike(zone, self._names, belief, look.seen))
        return list(left.values())

    def _move(self, step: Step, look: Look, belief: Belief) -> Move:
        more = step.travel > 0
        amount = abs(step.travel)
        if step.valve is None and more and any(seen.known and seen.live < _ASLEEP for seen in look.seen):
            amount = min(amount, _GENTLY if any(seen.live > _STIRS for seen in look.seen) else _FROM_REST)
        if self._last is not None and self._last[0] == step.valve and self._last[1] * step.travel < 0:
            amount = max(_READABLE, min(amount, abs(self._last[1]) / 2))  # it went too far: half of it back
        name = ALL_ZONES if step.valve is None else self._names[step.valve]
        if len(self._names) == 1 and not self._fixed:
            name = self._names[0]
        return Move(
            zone=name,
            do=HintWord.MORE_AIR if more else HintWord.LESS_AIR,
            amount=round(amount, 3),
            because=reason_of(step, self._names, look.seen, belief),
        )

    def _spent(self, look: Look, supply: Travel) -> bool:
        """Whether the supply has no more to give: its valve is at its end, or was opened far and not one zone woke up."""
        tried = self._supply_tried
        if self._last is not None and self._last[0] is None:
            tried += self._last[1]
        asleep = all(seen.live < _ASLEEP for seen in look.seen if seen.known)
        return supply.fully_open > AT_ITS_END or (asleep and tried >= _SUPPLY_TRIED)


def look_of(reading: Reading) -> Look:
    """The look that a reading of a log holds. Without signs, as another program may have written it, the hints stand for them."""
    by_hand = tuple(
        (zone.hint, zone.because) if zone.hint in (HintWord.STIR, HintWord.CHECK_PLATE) else None
        for zone in reading.zones
    )
    return Look(seen=tuple(_seen(zone) for zone in reading.zones), by_hand=by_hand)


_HINTED = {HintWord.MORE_AIR: (0.2, None), HintWord.HOLD: (1.0, -1.0), HintWord.LESS_AIR: (1.0, 0.6)}


def _seen(zone: ZoneReading) -> Seen:
    if zone.signs is not None:
        signs = zone.signs
        clear = zone.speed_mm_s if signs.speed_mm_s is None else signs.speed_mm_s
        return Seen(known=True, live=signs.live, speed_mm_s=clear, restless=signs.restless, glides=signs.glides)
    if zone.hint is HintWord.WAIT:
        return Seen(known=False)
    live, restless = _HINTED.get(zone.hint, (1.0, None))
    return Seen(known=True, live=live, speed_mm_s=zone.speed_mm_s, restless=restless)
