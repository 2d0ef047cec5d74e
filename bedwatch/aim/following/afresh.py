"""A bed that was lost is looked for anew, and believed only when it shows at the same scale."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.finding.search import find_bed
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.frame import Coloured, Frame

_PICTURES = 8
_EVERY_S = 0.12
_WAITS_S = (2.5, 4.0, 8.0, 16.0, 30.0)  # between searches: each costs a second or two of computing
_SAME_SCALE = 0.08


class Afresh:
    """Gathers pictures while the bed is lost, and searches them at growing intervals."""

    def __init__(self) -> None:
        self._pictures: list[Frame] = []
        self._tries = 0
        self._begun_s: float | None = None
        self._taken_s = -np.inf

    def look(self, frame: Frame, lost: bool, aim: Aim, bed: Bed) -> Aim | None:
        """The new aim if the bed was lost and is surely found again in this and the last pictures; None otherwise."""
        if not lost:
            self._pictures, self._tries, self._begun_s = [], 0, None
            return None
        if self._begun_s is None:
            self._begun_s = frame.time_s
        if frame.time_s - self._taken_s >= _EVERY_S:
            self._pictures.append(frame)
            del self._pictures[:-_PICTURES]
            self._taken_s = frame.time_s
        wait_s = _WAITS_S[min(self._tries, len(_WAITS_S) - 1)]
        if frame.time_s - self._begun_s < wait_s or len(self._pictures) < _PICTURES:
            return None
        self._tries, self._begun_s = self._tries + 1, frame.time_s
        found = find_bed(Coloured(self._pictures), bed)
        if isinstance(found, Aim) and abs(np.log(found.mm_per_px / aim.mm_per_px)) < _SAME_SCALE:
            self._pictures, self._tries, self._begun_s = [], 0, None
            return found
        return None


__all__ = ["Afresh"]
