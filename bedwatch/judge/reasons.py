"""Why a move is advised: one sentence with its evidence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from bedwatch.judge.belief import Belief, Seen
from bedwatch.judge.plan import Step
from bedwatch.judge.types import HintWord


def reason_of(step: Step, names: Sequence[str], look: Sequence[Seen], belief: Belief) -> str:
    """What the surface shows that asks for this move."""
    if step.valve is None:
        return _for_all(step, look, belief)
    name, seen = names[step.valve], look[step.valve]
    others = [one for number, one in enumerate(look) if number != step.valve and one.known and one.live >= 0.5]
    if step.change > 0:
        if seen.live < 0.5:
            return (
                f"Only {100 * seen.live:.0f} % of the middle of zone {name} moves; no zone is so much richer that closing it "
                "would do."
            )
        return f"Zone {name} is the poorest: {_against(seen, others)}, air for {_times(belief, step.valve)}."
    asleep = [names[number] for number, one in enumerate(look) if one.known and one.live < 0.5]
    also = f"; closing it also feeds zone {asleep[0]}" if asleep else ""
    return (
        f"Zone {name} is the liveliest: {_against(seen, others)}, air for {_times(belief, step.valve)}; the richest is "
        f"throttled first{also}."
    )


def _for_all(step: Step, look: Sequence[Seen], belief: Belief) -> str:
    known = [one for one in look if one.known]
    asleep = sum(one.live < 0.5 for one in known)
    if step.change > 0:
        if asleep == len(known) and len(known) > 1:
            return f"All {len(known)} zones get too little, so it is the supply; stir while raising it slowly."
        if asleep:
            are = "is" if asleep == 1 else "are"
            return f"{asleep} of {len(known)} zones {are} not lifted: raise the supply until the poorest lives."
        return f"The poorest zones have air for {_least(belief)}, and about twice that lifting it is the aim: all want more."
    busiest = max((one.speed_mm_s or 0.0 for one in known), default=0.0)
    if len(known) > 1:
        few = "so it is the supply, not one zone's valve"
        return f"Most of the {len(known)} zones are too lively, up to {busiest:.0f} mm/s, {few}."
    return f"The zone is too lively, {busiest:.0f} mm/s, air for {_times(belief, 0)}."


def supply_spent(seen: Seen) -> str:
    """Of a zone that sleeps while the supply is fully open."""
    return (
        f"Only {100 * seen.live:.0f} % of its middle moves with the supply at its end: less powder depth, a stronger supply or "
        "fewer losses, no valve."
    )


def no_valve(name: str, seen: Seen, belief: Belief, zone: int) -> tuple[HintWord, str]:
    """What a zone needs that has no valve of its own, where moving the supply does not help any more; and why."""
    poor = float(belief.air[zone]) < median(map(float, belief.air))
    word = HintWord.MORE_AIR if poor else HintWord.LESS_AIR
    looks = (
        f"only {100 * seen.live:.0f} % of its middle moves" if seen.live < 0.5 else f"air for {_times(belief, zone)}"
    )
    gets = f"gets {'less' if poor else 'more'} than the others ({looks})"
    mend = (
        "look for what holds its air back: holes, glue, its line" if poor else "throttle its line, or plug some holes"
    )
    return word, f"Zone {name} has no valve and {gets}; the supply moves all alike: {mend}, or fit a valve."


def _times(belief: Belief, zone: int) -> str:
    """About so many times the minimum."""
    x, spread = float(belief.air[zone]), float(belief.spread[zone])
    low, high = math.exp(x - spread), math.exp(x + spread)
    return f"about {math.exp(x):.1f} ({low:.1f} to {high:.1f}) times lifting it"


def _least(belief: Belief) -> str:
    return _times(belief, int(belief.air.argmin()))


def _against(seen: Seen, others: Sequence[Seen]) -> str:
    speeds = [one.speed_mm_s for one in others if one.speed_mm_s]
    if not seen.speed_mm_s:
        return f"{100 * seen.live:.0f} % of its middle moves"
    if not speeds:
        return f"its surface runs at {seen.speed_mm_s:.0f} mm/s"
    return f"its surface runs at {seen.speed_mm_s:.0f} mm/s, the others at {median(speeds):.0f}"
