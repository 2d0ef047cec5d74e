"""A bed against a saved setting: as a field of the JSON line, and as one line for people."""

from __future__ import annotations

import math
from typing import Any

from bedwatch.bed import Valves
from bedwatch.judge.apart import How
from bedwatch.judge.way_back import Against, Step
from bedwatch.show.words import HINTS, NO_MARKS, travel, turn_words, valve

_STEPS = {
    Step.WAIT: "wait, the bed is settling or not seen",
    Step.STIR: "stir first",
    Step.OVER: "go a little over",
    Step.TRIM: "trim",
    Step.DOWN: "come down to the mark",
    Step.LOOK: "looks right, look on to be sure",
    Step.BACK: "you're back",
}


def against_dict(against: Against) -> dict[str, Any]:
    """The field `against`. Shares: 0.12 is twelve per cent faster or livelier, or twelve points more live; null where unknown."""
    found = against.apart
    move = against.next
    return {
        "setting": against.setting,
        "step": against.step.value,
        "back": against.step is Step.BACK,
        "sure": _number(against.sure),
        "livelier": None if found is None else _number(found.livelier),
        "livelier_error": None if found is None else _number(found.livelier_error),
        "faster": None if found is None else _number(found.speed),
        "faster_error": None if found is None else _number(found.speed_error),
        "zones": []
        if found is None
        else [
            {
                "zone": zone.zone,
                "now": None if zone.how is How.UNKNOWN else zone.how.value,
                "faster": _number(zone.speed),
                "faster_error": _number(zone.speed_error),
                "livelier": _number(zone.livelier),
                "livelier_error": _number(zone.livelier_error),
                "more_live": _number(zone.live),
                "more_live_error": _number(zone.live_error),
            }
            for zone in found.zones
        ],
        "next": None
        if move is None
        else {"zone": move.zone, "do": move.do.value, "amount": _number(move.amount), "because": move.because},
        "causes": list(against.causes),
    }


def against_line(against: Against, valves: Valves = NO_MARKS) -> str:
    """One line: how far off, and what to do on the way back."""
    head = f"against {against.setting}: {_STEPS[against.step]}"
    found = against.apart
    if found is None:
        return head
    if against.step is Step.BACK:
        sure = against.sure
        return head if sure is None else f"{head}, every zone within a tenth: {100 * sure:.0f} % sure"
    off = [
        f"zone {zone.zone} {100 * zone.livelier:+.0f} ± {100 * zone.livelier_error:.0f} %"
        if math.isfinite(zone.livelier)
        else f"zone {zone.zone} {zone.how.value}"
        for zone in found.zones
        if zone.how is not How.ALIKE
    ]
    parts = [head]
    if against.next is not None:
        move = against.next
        far, way = travel(move.amount), turn_words(move.do, move.zone, valves)
        parts.append(f"{valve(move.zone, valves)}: {HINTS[move.do]}" + (f" by {far}" if far else "") + way)
    if off:
        parts.append("livelier by " + ", ".join(off))
    return "; ".join(parts)


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3) + 0.0


__all__ = ["against_dict", "against_line"]
