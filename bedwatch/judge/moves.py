"""The one move to make now, and where that leaves the tuning."""

from __future__ import annotations

from collections.abc import Sequence

from bedwatch.judge.evidence import ZoneEvidence
from bedwatch.judge.hints import Air
from bedwatch.judge.types import ALL_ZONES, Fault, HintWord, Move, Outcome

# Steps of a valve's travel: a step to try, not a flow; catalogue and installed valve curves differ (valve makers' pages
# agree on that much).
_STEP = 0.15
_BIG_STEP = 0.25
_FAR = 0.8  # restlessness, or share of the middle that does not move, from which the big step is taken


def next_move(
    names: Sequence[str],
    air: Sequence[Air],
    evidence: Sequence[ZoneEvidence],
    hints: Sequence[tuple[HintWord, str]] = (),
) -> Move | None:
    """Supply if all zones want the same, else the richest zone first, then what is broken by hand, then the poorest.

    hints: per zone, the word and its reason; a zone that is to be stirred, or its plate looked at, is no matter of valves.

    Air-balancing trades set the total until the poorest outlet lives and then throttle the richest, which feeds the others
    on the same supply (common practice).
    """
    judged = [number for number, one in enumerate(air) if one is not Air.UNKNOWN]
    if not judged:
        return None
    by_hand = [n for n, (word, _) in enumerate(hints) if word in (HintWord.STIR, HintWord.CHECK_PLATE)]
    judged = [n for n in judged if n not in by_hand] or judged
    starved = [n for n in judged if air[n] is Air.STARVED]
    violent = [n for n in judged if air[n] is Air.VIOLENT]
    if by_hand and not violent:
        first = min(by_hand, key=lambda n: hints[n][0] is HintWord.CHECK_PLATE)
        return Move(zone=names[first], do=hints[first][0], amount=None, because=hints[first][1])
    if len(judged) > 1 and len(starved) == len(judged):
        still = all(evidence[n].live < 0.1 for n in starved)
        return Move(
            zone=ALL_ZONES,
            do=HintWord.MORE_AIR,
            amount=_BIG_STEP if still else _STEP,
            because=f"All {len(judged)} zones get too little, so it is the supply; stir while raising it slowly.",
        )
    if len(judged) > 1 and len(violent) == len(judged):
        return Move(
            zone=ALL_ZONES,
            do=HintWord.LESS_AIR,
            amount=_STEP,
            because=f"All {len(judged)} zones are too lively, so it is the supply, not one zone's valve.",
        )
    if violent:
        richest = max(violent, key=lambda n: evidence[n].restless)
        also = f"; closing it also feeds zone {names[starved[0]]}" if starved else ""
        return Move(
            zone=names[richest],
            do=HintWord.LESS_AIR,
            amount=_BIG_STEP if evidence[richest].restless > _FAR else _STEP,
            because=f"Zone {names[richest]} is the liveliest, and the richest is throttled first{also}.",
        )
    if starved:
        poorest = min(starved, key=lambda n: evidence[n].live)
        moving = 100 * evidence[poorest].live
        return Move(
            zone=names[poorest],
            do=HintWord.MORE_AIR,
            amount=_BIG_STEP if 1 - evidence[poorest].live > _FAR else _STEP,
            because=f"No zone is too lively, and only {moving:.0f} % of the middle of zone {names[poorest]} moves.",
        )
    return None


def outcome_of(air: Sequence[Air], move: Move | None, faults: Sequence[Fault]) -> Outcome:
    """Where the tuning stands: a move to make, done, not a matter of valves, or nothing to say yet."""
    if move is not None:
        return Outcome.MOVING
    if Air.UNKNOWN in air or not air:
        return Outcome.LOOKING
    return Outcome.NOT_VALVES if faults else Outcome.EVEN
