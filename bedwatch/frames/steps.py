"""Frames that are missing, told from the times of those that came."""

from __future__ import annotations

from collections import deque
from statistics import median

_WINDOW = 30
_LEARN = 5
_NEAR = 0.25
_ALIKE_IN_A_ROW = 4


class StepWatch:
    """Learns the usual step between frames and says how many are missing in a longer one.

    A step longer than 1.5 usual ones holds missing frames if the others lie on a grid: at least 8 in 10
    of the last 30 steps within a fifth of a whole number of usual steps. In a truly variable rate they do
    not; then only a step over three times as long as nearly all others counts as a stall. Four long steps
    alike in a row are a new rate, not four drops, so the first three of a new rate are still taken
    for drops. The numbers are our own choice, no source.
    """

    def __init__(self) -> None:
        self._steps: deque[float] = deque(maxlen=_WINDOW)
        self._usual_s: float | None = None
        self._regular = False
        self._long_s = float("inf")
        self._alike = 0
        self._last_s = 0.0

    @property
    def usual_s(self) -> float | None:
        """The usual step in seconds; None before two frames."""
        return self._usual_s

    @property
    def regular(self) -> bool:
        """Whether five steps or more were learnt and they lie on a grid."""
        return self._regular and len(self._steps) >= _LEARN

    def missing(self, step_s: float) -> int:
        """How many frames are missing in a step of step_s seconds (> 0); learns the step."""
        self._alike = self._alike + 1 if abs(step_s - self._last_s) <= _NEAR * step_s else 1
        self._last_s = step_s
        found = self._judge(step_s)
        if found and self._alike >= _ALIKE_IN_A_ROW:
            found = 0
            self._steps.clear()
            self._steps.extend([step_s] * _ALIKE_IN_A_ROW)
        self._steps.append(step_s)
        self._learn()
        return found

    def _judge(self, step_s: float) -> int:
        usual = self._usual_s
        if usual is None or len(self._steps) < _LEARN or step_s <= 1.5 * usual:
            return 0
        if not self._regular and step_s <= 3.0 * self._long_s:
            return 0
        return max(round(step_s / usual) - 1, 1)

    def _learn(self) -> None:
        ordered = sorted(self._steps)
        low = ordered[len(ordered) // 5]
        self._usual_s = usual = median(s for s in ordered if abs(s - low) <= _NEAR * low)
        on_grid = sum(abs(s / usual - max(round(s / usual), 1)) <= 0.2 for s in ordered)
        self._regular = on_grid >= 0.8 * len(ordered)
        self._long_s = ordered[int(0.95 * (len(ordered) - 1))]
