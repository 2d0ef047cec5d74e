"""Whether something stands between camera and powder: a hand, a tool, a part."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Array = NDArray[np.floating[Any]]

_PATCH_MM = 40.0
_EVERY_S = 0.09
_MEMORY_S = 4.0
_LEARN_S = 2.0
# A patch is covered when its brightness, the bed's common change set aside, is off by this much and by so many times what
# the bed's own liveliness makes it wander.
_OFF = 0.22
_TIMES = 5.0
_LEAST_WANDER = 0.02
# From so much of the bed for so long it counts; from nothing for so long it is over; what stays longer is the new look.
_LEAST_SHARE = 0.03
_BEGIN_S, _OVER_S, _STAYS_S = 0.3, 1.0, 20.0


class Cover:
    """Watches the brightness of patches 40 mm wide. visible: (rows, cols) of the rectified grid; step_mm: its pixel size.

    `add` frame after frame, in order of time; it says whether the surface is covered now, in part at least.
    """

    def __init__(self, visible: NDArray[np.bool_], step_mm: float) -> None:
        rows, cols = visible.shape
        self._size = (max(2, round(cols * step_mm / _PATCH_MM)), max(2, round(rows * step_mm / _PATCH_MM)))
        self._mask = visible.astype(np.float32)
        share = cv2.resize(self._mask, self._size, interpolation=cv2.INTER_AREA)
        self._whole = np.asarray(share) > 0.6
        self._per_share = 1.0 / np.maximum(np.asarray(share), 0.1)
        self._start_s: float | None = None
        self._last_s = 0.0
        self._level: Array = np.zeros(share.shape)
        self._wander: Array = np.zeros(share.shape)
        self._off_since: float | None = None
        self._clear_since: float | None = None
        self.covered = False

    def add(self, rectified: NDArray[np.uint8], time_s: float) -> bool:
        """Look at one frame, a tenth of a second or more after the last one looked at. rectified: (rows, cols) grey."""
        if self._start_s is not None and 0 <= time_s - self._last_s < _EVERY_S:
            return self.covered
        seen = cv2.multiply(rectified.astype(np.float32), self._mask)
        mean = cv2.resize(seen, self._size, interpolation=cv2.INTER_AREA) * self._per_share
        level = np.log(np.maximum(mean, 2.0))
        if self._start_s is None:
            self._start_s, self._level = time_s, level
        off = level - self._level
        off -= np.median(off[self._whole]) if self._whole.any() else 0.0
        strange = np.abs(off) > np.maximum(_OFF, _TIMES * np.maximum(np.sqrt(self._wander), _LEAST_WANDER))
        share = float((strange & self._whole).sum()) / max(1, int(self._whole.sum()))
        learnt = time_s - self._start_s >= _LEARN_S
        self._decide(learnt and share >= _LEAST_SHARE, time_s)
        if not learnt or (not self.covered and self._off_since is None):
            weight = min(1.0, (time_s - self._last_s) / (_MEMORY_S if learnt else _LEARN_S / 2))
            self._level = self._level + weight * (level - self._level)
            self._wander = self._wander + weight * (off**2 - self._wander)
        self._last_s = time_s
        return self.covered

    def _decide(self, off: bool, time_s: float) -> None:
        if off:
            self._clear_since = None
            if self._off_since is None:
                self._off_since = time_s
            self.covered = self.covered or time_s - self._off_since >= _BEGIN_S
            if time_s - self._off_since > _STAYS_S:
                self._start_s, self._off_since, self.covered = None, None, False
            return
        if self._clear_since is None:
            self._clear_since = time_s
        if not self.covered or time_s - self._clear_since >= _OVER_S:
            self._off_since, self.covered = None, False
