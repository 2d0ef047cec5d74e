"""When cards do not lie as they should, or were not printed as they should: which, and by how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bedwatch.aim.cards.marks_fit import Fitted, fit
from bedwatch.aim.cards.marks_model import CARDS, GAP, LN_SCALE, PER_CARD, YAW, Laid
from bedwatch.bed.model import Points

LAY = (
    "Lay the four cards flat on the still powder, air off, their straight edges against the wall at 12, 3, 6 and 9 o'clock, "
    "in light without glare, and take the pictures with nothing moving."
)
# Of 40 simulated layings by ordinary hands none was above 12, with one card 6 mm off the wall none below 18.
MOST_MISFIT, WORTH_A_LOOK = 16.0, 9.0
GAP_OFF_MM, CLEARLY_BETTER = 2.5, 8.0
SCALE_OFF, REST_PX = 0.012, 1.2
_LOOSE = 30.0


def unlikely(there: Laid, corners_px: Points, fitted: Fitted, printed_mm: float) -> tuple[str, str] | None:
    """Reason and advice when a card, the print or the picture is not as it should be; None when all is well."""
    share = float(np.exp(fitted.numbers[LN_SCALE])) * 100.0 / printed_mm
    if abs(share - 1.0) > SCALE_OFF:
        return (
            f"against the width of the bed the cards look {100 * share:.1f} % of their size",
            'Measure the printed rule of 100 mm and give it as --printed-mm, or print again at "actual size"; check the '
            "width in the bed file, and that every card touches the wall.",
        )
    if fitted.misfit > WORTH_A_LOOK:
        odd = _odd_one(there, corners_px, fitted, printed_mm)
        if odd is not None:
            return odd
    if fitted.misfit > MOST_MISFIT:
        return "the cards do not lie flat with their edges against a wall of the width in the bed file", LAY
    if fitted.rms_px > REST_PX:
        return f"the marks do not fit together ({fitted.rms_px:.1f} px)", LAY
    return None


def _odd_one(there: Laid, corners_px: Points, fitted: Fitted, printed_mm: float) -> tuple[str, str] | None:
    """The card without whose touch of the wall all others agree much better, if there is one."""
    best: tuple[float, int, float] | None = None
    for number, card in enumerate(there.cards):
        expected = there.expected(printed_mm / 100.0, 1.0)
        first = CARDS + PER_CARD * number
        spread = expected.spread.copy()
        spread[[first + GAP, first + YAW]] *= _LOOSE
        freed = fit(there, corners_px, replace(expected, spread=spread), start=fitted.numbers)
        if freed is not None and (best is None or freed.misfit < best[0]):
            best = freed.misfit, card.hour, float(freed.numbers[first + GAP])
    if best is None or fitted.misfit - best[0] < CLEARLY_BETTER or abs(best[2]) < GAP_OFF_MM:
        return None
    _, hour, gap = best
    return (
        f"the card of {hour} o'clock seems {abs(gap):.0f} mm {'off' if gap > 0 else 'beyond'} the wall",
        "Push its straight edge against the wall, both corners touching; check the width in the bed file.",
    )


__all__ = ["LAY", "unlikely"]
