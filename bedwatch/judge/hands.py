"""What is left when no valve is to be moved: the zone is stirred, then its plate is looked at, once each."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from statistics import median

from bedwatch.judge.belief import Belief, Seen
from bedwatch.judge.reasons import no_valve
from bedwatch.judge.types import HintWord, Move

Hand = tuple[HintWord, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A zone that no valve helps. stir: why stirring may; None where it does not. check: why to look at its plate. after: hint
    and reason when that was done too."""

    zone: int
    stir: str | None
    check: str
    after: Hand


def next_by_hand(names: Sequence[str], left: Sequence[Left], stages: Sequence[int]) -> Move | None:
    """What to do next by hand, or None when all was done. stages: per zone 0 nothing done, 1 stirred, 2 plate looked at."""
    for one in sorted(left, key=lambda one: stages[one.zone]):
        if stages[one.zone] == 0 and one.stir is not None:
            return Move(zone=names[one.zone], do=HintWord.STIR, amount=None, because=one.stir)
        if stages[one.zone] <= 1:
            return Move(zone=names[one.zone], do=HintWord.CHECK_PLATE, amount=None, because=one.check)
    return None


def unanswered(zone: int, name: str, tried: float, hand: Hand | None, *, valve: bool) -> Left:
    """A zone that stays asleep though its valve was opened by `tried`, a share of its travel, or that shows a fault (`hand`).
    valve: whether it has one of its own."""
    stir = f"Zone {name} did not answer to {100 * tried:.0f} % of its valve's travel; stir it down to the plate, then look again."
    check = f"Zone {name} was stirred and looks no better: air does not reach it; look at its holes, glue, membrane and line."
    helped = "Neither its valve nor stirring helped" if valve else "Stirring did not help"
    after = f"{helped} zone {name}, and its plate was looked at: holes, line, membrane or chamber need mending."
    by_fault = hand is not None and hand[0] is HintWord.CHECK_PLATE
    return Left(
        zone=zone,
        stir=None if by_fault else stir if hand is None else hand[1],
        check=hand[1] if hand is not None and by_fault else check,
        after=(HintWord.CHECK_PLATE, after),
    )


def unlike(zone: int, names: Sequence[str], belief: Belief, look: Sequence[Seen]) -> Left:
    """A zone without a valve that gets clearly more or less air than the others, which are fed as well as the supply can."""
    name, x = names[zone], float(belief.air[zone])
    others = [float(one) for number, one in enumerate(belief.air) if number != zone and look[number].known]
    times = math.exp(x - median(others)) if others else 1.0
    gets = f"Zone {name} gets about {times:.1f} times the others' air and has no valve of its own"
    after = no_valve(name, look[zone], belief, zone)
    if times < 1:
        stir = f"{gets}; stir it down to the plate, then look again."
        check = f"{gets}, stirred as it is: look at its holes, glue and membrane, and whether more powder lies there."
        return Left(zone=zone, stir=stir, check=check, after=after)
    check = f"{gets}: look whether the membrane there is torn, lifted or thinner, or less powder lies on it."
    return Left(zone=zone, stir=None, check=check, after=after)


def apart(belief: Belief, known: Sequence[bool], fixed: Collection[int], ratio: float) -> list[int]:
    """Zones without a valve that make the bed uneven: farther from the middle than half of what an even bed may differ by, else
    the farthest of them."""
    ours = [zone for zone in fixed if known[zone]]
    if not ours:
        return []
    centre = median(float(one) for one, seen in zip(belief.air, known, strict=True) if seen)
    far = {zone: abs(float(belief.air[zone]) - centre) for zone in ours}
    return [zone for zone in ours if far[zone] > math.log(ratio) / 2] or [max(ours, key=lambda zone: far[zone])]
