"""Which move comes next on the way back: that of air balancing, from above, in as few moves as may be."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from bedwatch.judge.toward import Toward
from bedwatch.judge.types import ALL_ZONES, HintWord, Move

OVER = 0.08  # how far over the setting the supply goes before one comes down
# Zones so near to one another are not trimmed: air-balancing trades work to a tenth (common practice, no source).
_LEVEL = 0.035
_LEAST, _MOST = 0.02, 0.25  # of a valve's travel


class Step(StrEnum):
    """Where on the route one is. look: as it looks one is back, but more must be seen to be sure."""

    WAIT = "wait"
    STIR = "stir"
    OVER = "over"
    TRIM = "trim"
    DOWN = "down"
    LOOK = "look"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class _Plan:
    """Zones are brought to `level`, a logarithm over the setting; then the supply by what is left."""

    level: float
    left: float


def next_move(
    names: Sequence[str],
    offsets: Mapping[int, float],
    free: Collection[int],
    toward: Toward,
    *,
    stirred: bool,
    over: bool,
) -> tuple[Step, Move | None]:
    """offsets: by the zone's number, how much livelier it is than saved, as a logarithm. free: zones with a valve of their own.
    stirred, over: done before.

    Whatever is over the level that most zones share is throttled first, which feeds the others; a valve is opened only when none
    is over; the supply goes up first when the bed is dull, down to the mark last. None: what is left is no valve's matter, or
    too little for a turn.
    """
    plan = _plan(offsets, free, toward)
    above = {number: off - plan.level for number, off in offsets.items() if number in free}
    richest = max(above, key=lambda number: above[number], default=None)
    if plan.level < -_LEVEL and plan.left < -_LEVEL and (richest is None or above[richest] <= _LEVEL):
        return _up(toward, plan.left, stirred=stirred, over=over)
    if richest is not None and above[richest] > _LEVEL:
        far = f"{100 * math.expm1(above[richest]):.0f} %"
        because = (
            f"Zone {names[richest]} is furthest over its saved look beside the others, by {far}; closing it feeds them."
        )
        return Step.TRIM, _turn(names[richest], -above[richest], toward.gain(richest), because)
    poorest = min(above, key=lambda number: above[number], default=None)
    if poorest is not None and above[poorest] < -_LEVEL:
        far = f"{-100 * math.expm1(above[poorest]):.0f} %"
        because = f"No zone is over its saved look beside the others, and zone {names[poorest]} is {far} below it."
        return Step.TRIM, _turn(names[poorest], -above[poorest], toward.gain(poorest), because)
    if abs(plan.level) <= _LEVEL and len(above) < len(offsets):
        return Step.TRIM, None
    common = sum(offsets.values()) / len(offsets) if len(above) == len(offsets) else plan.level
    if abs(common) < 0.5 * _LEAST * toward.gain(None):
        return Step.LOOK, None  # the least turn that can be made would go further past the mark than it stands off now
    if common > 0:
        because = (
            f"All zones are livelier than saved, by {100 * math.expm1(common):.0f} % together: come down to the mark."
        )
        return Step.DOWN, _turn(ALL_ZONES, -common, toward.gain(None), because)
    return _up(toward, common, stirred=stirred, over=over)


def _plan(offsets: Mapping[int, float], free: Collection[int], toward: Toward) -> _Plan:
    """The level that takes the fewest moves, the supply's counted in; of equal ones that with the least to turn.

    A zone without a valve cannot come to it, only the level to the zone; where valves can be turned, it has no say.
    """
    cross = min(max(float(toward.mean[-1]), 0.0), 1.0) / max(len(offsets) - 1, 1)
    best: tuple[tuple[float, float], _Plan] | None = None
    judged = [off for number, off in offsets.items() if number in free] or list(offsets.values())
    some = sorted(judged)
    for level in {0.0, *some, *((a + b) / 2 for a in some for b in some)}:
        trims = [off - level for off in judged if abs(off - level) > _LEVEL]
        left = level + cross * sum(trims)
        moves = len(trims) + (abs(left) > _LEVEL)
        effort = sum(abs(off) for off in trims) + abs(left)
        if best is None or (moves, effort) < best[0]:
            best = (moves, effort), _Plan(level, left)
    assert best is not None
    return best[1]


def _up(toward: Toward, left: float, *, stirred: bool, over: bool) -> tuple[Step, Move]:
    if not stirred:
        because = "All zones are duller than saved: powder that has stood must be broken before its air can be judged."
        return Step.STIR, Move(zone=ALL_ZONES, do=HintWord.STIR, amount=None, because=because)
    because = f"All zones are {-100 * math.expm1(left):.0f} % duller than saved: go a little over, then come down."
    return Step.OVER, _turn(ALL_ZONES, -left if over else OVER - left, toward.gain(None), because)


def _turn(zone: str, wanted: float, gain: float, because: str) -> Move:
    amount = min(max(abs(wanted) / gain, _LEAST), _MOST)
    word = HintWord.MORE_AIR if wanted > 0 else HintWord.LESS_AIR
    return Move(zone=zone, do=word, amount=amount, because=because)


__all__ = ["OVER", "Step", "next_move"]
