"""From evidence to a hint per zone, with hysteresis, and the sentence that says why."""

from __future__ import annotations

import math
from enum import IntEnum

from bedwatch.judge.evidence import ZoneEvidence
from bedwatch.judge.types import HintWord


class Air(IntEnum):
    """How a zone is fed, as its surface shows it."""

    UNKNOWN = 0
    STARVED = 1
    FED = 2
    VIOLENT = 3


# Half a zone's middle must move for it to count as lifted; a zone that has once been told apart needs more than that to
# change sides.
_LIFTED = 0.5
_LIFTED_SLACK = 0.08
_RESTLESS = 0.0
_RESTLESS_SLACK = 0.08

_HINTS = {
    Air.UNKNOWN: HintWord.WAIT,
    Air.STARVED: HintWord.MORE_AIR,
    Air.FED: HintWord.HOLD,
    Air.VIOLENT: HintWord.LESS_AIR,
}


def air_of(evidence: ZoneEvidence, before: Air) -> Air:
    """The zone's air now; `before` is what it was taken for at the last reading (hysteresis)."""
    if not evidence.known:
        return Air.UNKNOWN
    lifted = _LIFTED + {Air.STARVED: _LIFTED_SLACK, Air.UNKNOWN: 0.0}.get(before, -_LIFTED_SLACK)
    if evidence.live < lifted:
        return Air.STARVED
    restless = _RESTLESS + {Air.VIOLENT: -_RESTLESS_SLACK, Air.FED: _RESTLESS_SLACK}.get(before, 0.0)
    if math.isfinite(evidence.restless) and evidence.restless > restless:
        return Air.VIOLENT
    return Air.FED


def hint_of(air: Air) -> HintWord:
    return _HINTS[air]


def because(evidence: ZoneEvidence, air: Air) -> str:
    """One sentence naming the evidence."""
    if air is Air.UNKNOWN:
        return "Too little of it can be judged: hidden, or too faint a pattern against the camera's noise."
    moves = f"{100 * evidence.live:.0f} % of its middle moves"
    if air is Air.STARVED:
        if evidence.speed_mm_s == 0:
            return "Nothing moves: 0 % of its middle."
        return f"Only {moves}; what stirs at its border is its neighbours' air."
    if air is Air.FED and evidence.glides > 0.5:
        return f"The surface glides smoothly and {moves}; a fine powder needs no bubbles (a rod should go in freely)."
    busy = f"a spot is disturbed {100 * evidence.duty:.0f} % of the time"
    if air is Air.VIOLENT:
        return f"Wide eruptions hardly pause: {busy}, and {moves}."
    return f"Small eruptions come and go: {busy}, and {moves}."
