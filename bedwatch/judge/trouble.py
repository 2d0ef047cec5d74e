"""What a fault means for the zone it lies in: the hint, and the sentence that says why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bedwatch.bed import clock_position
from bedwatch.judge.hints import Air
from bedwatch.judge.types import Fault, FaultKind, HintWord

# The order in which faults of one zone have the say.
_FIRST = (FaultKind.SPOUT, FaultKind.DEAD_SPOT, FaultKind.RIM_LEAK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A fault as it bears on one zone. times: how many times as busy as around it. for_s: how long it has been seen."""

    fault: Fault
    times: float
    for_s: float


def hint_for(air: Air, troubles: Sequence[Trouble]) -> tuple[HintWord, str] | None:
    """The hint that the faults of a zone call for, with its reason; None when its air has the say.

    A channel takes what more air is given, and a patch that stands still in a fed zone is no matter of its valve: both are broken
    by hand first. Too much air is taken away before anything else.
    """
    if not troubles or air in (Air.UNKNOWN, Air.VIOLENT):
        return None
    first = min(troubles, key=lambda trouble: _FIRST.index(trouble.fault.kind))
    kind = first.fault.kind
    if kind is FaultKind.DEAD_SPOT and air is not Air.FED:
        return None
    where = clock_position(first.fault.x_mm, first.fault.y_mm)
    across = 2 * math.sqrt(first.fault.area_mm2 / math.pi)
    if kind is FaultKind.SPOUT:
        busy = f"for {first.for_s:.0f} s {_times(first.times)} as busy as around it"
        if air is Air.STARVED:
            return HintWord.STIR, (
                f"Air blows through settled powder at {where}, {busy}: a channel; stir it shut, more air would only feed it."
            )
        return HintWord.STIR, (
            f"A plume stays at {where}, {busy}, where bubbles come up elsewhere each time; less air there, then stir."
        )
    if kind is FaultKind.DEAD_SPOT:
        return HintWord.STIR, (
            f"A patch {across:.0f} mm across at {where} has not moved for {first.for_s:.0f} s while all around it does; stir it; "
            "if it stays, check the plate."
        )
    return HintWord.CHECK_PLATE, (
        f"Powder runs up the wall at {where}, for {first.for_s:.0f} s {_times(first.times)} as busy as further in; look at the "
        "ring and the membrane's edge."
    )


def _times(times: float) -> str:
    return "more than 100 times" if times > 100 else f"{times:.0f} times" if times >= 3 else f"{times:.1f} times"
