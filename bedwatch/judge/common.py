"""What the whole bed or a whole zone does at once: heaving as one, and air that was changed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.places import Places
from bedwatch.middle import middle
from bedwatch.motion.ground import Ground

Array = NDArray[np.floating[Any]]

# Heaving: the quarters of the bed quicken and calm together by so much (standard deviation of the logarithm), as correlated as
# this, with a beat. Bubbles come up in each quarter for themselves: standard deviation 0.2, correlation 0.1 and less.
_LOOKS = 30
_SWING, _TOGETHER, _BEAT = 0.3, 0.25, 0.35
_STOPPED = 2.5
# Air was changed: a zone's usual place is busier or calmer by this for some seconds than for some seconds before, and by so many
# times what it scatters from second to second.
_STEP, _TIMES = 0.9, 4.5
_AFTER, _SOON, _BEFORE = 3, 2, 3
_BIG, _LOOK_BACK = 1.8, 5
_LEAST_SCATTER = 0.12


def heaves(ground: Ground) -> bool:
    """Whether the surface heaves as one with a beat: a matter of the plate or the plenum, not of the zones."""
    pulse = ground.pulse
    if len(pulse) < _LOOKS:
        return False
    # A picture that stood still for a moment is not the bed.
    pulse = pulse[(pulse > np.median(pulse, axis=0) - _STOPPED).all(axis=1)]
    if len(pulse) < _LOOKS:
        return False
    swing = pulse - pulse.mean(axis=0)
    common = swing.mean(axis=1)
    deviation = float(common.std())
    if deviation < _SWING:
        return False
    together = np.corrcoef(swing.T)[np.triu_indices(swing.shape[1], 1)]
    if float(together.min()) < _TOGETHER:
        return False
    beat = [float(np.mean(common[lag:] * common[:-lag])) / deviation**2 for lag in range(2, 9)]
    return min(beat) < -_BEAT  # it swings back; a shadow that passes does so once


class AirChange:
    """Tells since when the air of a zone has been another one. Remembers what a second that is over was like."""

    def __init__(self) -> None:
        self._known: dict[tuple[float, float], Array] = {}

    def since_s(self, ground: Ground, places: Places) -> float | None:
        """The time of the change, if there was one within the seconds that are remembered."""
        count = len(ground.end_s)
        if count < _BEFORE + _SOON:
            return None
        first, latest = max(0, count - _LOOK_BACK - 6), None
        spans = list(zip(ground.start_s[first:].tolist(), ground.end_s[first:].tolist(), strict=True))
        self._known = {
            span: self._known[span] if span in self._known else places.zone_medians(busy)
            for span, busy in zip(spans, ground.busy[first:], strict=True)
        }
        for series in np.array([self._known[span] for span in spans]).T:
            at = _step(series) if np.isfinite(series).all() else None
            if at is not None and (latest is None or at > latest):
                latest = at
        return None if latest is None else float(ground.start_s[first + latest])


def _step(series: Array) -> int | None:
    """The slab at which a series changes to another level and stays there; None if it does not."""
    best, found = 0.0, None
    for at in range(max(_BEFORE, len(series) - _LOOK_BACK), len(series) - _SOON + 1):
        before, after = series[max(0, at - 6) : at], series[at:]
        if not (after.min() > before.max() or after.max() < before.min()):
            continue
        step = abs(middle(after) - middle(before))
        scatter = max(
            _LEAST_SCATTER,
            float(before[:-1].std()) if len(before) > 3 else 0.0,
            float(after.std()) if len(after) > 3 else 0,
        )
        big = step > _BIG and len(after) >= _SOON
        if (big or (step > _STEP and len(after) >= _AFTER)) and step > _TIMES * scatter and step > best:
            best, found = step, at
    return found
