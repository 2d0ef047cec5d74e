"""Bars that come and stay across a bed, told from those that a lively surface makes for a moment."""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.middle import middle
from bedwatch.motion.bars import Bars
from bedwatch.motion.strange import Against, Usual

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# A bar is a thing, wherever its tone or its pattern stands out by this, and by so many times what the bed's own bars do at most:
# thin ones (cells of 5 mm) by brightness, wide ones by brightness and by pattern.
_BAR, _BAR_BEYOND, _FIRST_BAR = (0.06, 0.06, 0.35), (1.6, 1.85, 2.0), (0.06, 0.05, 0.3)
# It does so in each of three looks one after the other; in two, if it is there already, or stands out by half as much again.
_BAR_LOOKS, _CLEAR_BAR = 3, 1.5
_PAST_LOOKS = 5
_PAST_BAR, _FRESH, _THIN, _NEW_LIGHT = 0.75, 0.5, 0.4, 0.12


class Barred:
    """Follows the clearest bars of one bed. whole: blocks of 10 mm on the bed, fine_whole: cells of 5 mm on it."""

    def __init__(self, whole: Mask, fine_whole: Mask) -> None:
        self._whole = whole
        self._fine_whole = fine_whole
        self._size = (whole.shape[1], whole.shape[0])
        self._thin = Bars(fine_whole, piece=4, width=2, flank=4)
        self._broad = Bars(whole, piece=2, width=3, flank=6)
        self.forget()

    @staticmethod
    def fit(whole: Mask, fine_whole: Mask) -> bool:
        """Whether the bed is large enough, some 120 mm, for bars to be told from what else it does."""
        return Bars.fit(fine_whole, piece=4, flank=4) and Bars.fit(whole, piece=2, flank=6)

    def forget(self) -> None:
        self._tail = list(_FIRST_BAR)
        self._past: deque[list[float]] = deque(maxlen=_PAST_LOOKS)
        self._wide: Array | None = None

    def look(self, now: Against, fine: Array, usual: Usual, *, covered: bool) -> Mask:
        """(rows, cols) blocks of the bars that are things. fine: change of brightness of the cells, the common one set aside."""
        light = middle(now.fainter[self._whole])
        plain = np.where(self._whole, now.fainter - light, 0.0)
        fresh = np.stack([now.off, plain], axis=-1)
        # Powder changes from look to look, what is wide moves slowly for its width.
        self._wide = fresh if self._wide is None else (1 - _FRESH) * self._wide + _FRESH * fresh
        found = [
            (self._thin, *self._thin.strongest(np.where(self._fine_whole, fine, 0.0))[0]),
            *((self._broad, *bar) for bar in self._broad.strongest(self._wide)),
        ]
        values = [value for _, value, _ in found]
        thing = self._whole & False
        other_light = max(abs(light), abs(now.common)) > _NEW_LIGHT
        for number, (bars, value, at) in enumerate(found):
            if not self._lasts(number, value, covered=covered):
                continue
            if (number == 2 or not covered) and other_light:
                continue  # in another light, or in haze, the powder looks another way
            if number == 0 and value < _THIN * values[1]:
                continue  # the middle of something wide and soft
            group = bars.blocks(at, self._size) & self._whole
            if number != 1 or not usual.in_shade(group, now):
                thing |= group
        self._past.append(values)
        return thing

    def _lasts(self, number: int, value: float, *, covered: bool) -> bool:
        """Whether it stands out look after look, and has come only now."""
        least = max(_BAR[number], _BAR_BEYOND[number] * self._tail[number])
        lately = [value, *(past[number] for past in reversed(self._past))]
        lasting = min(lately[: 2 if covered else _BAR_LOOKS])
        if lasting < least and min(lately[:2]) < _CLEAR_BAR * least:
            return False
        before = self._past[0][number] if self._past else 0.0
        return covered or before <= _PAST_BAR * value

    def learn(self, weight: float) -> None:
        """Take the bars of the last look for the bed's own."""
        for number, value in enumerate(self._past[-1]):
            more = value - self._tail[number]
            self._tail[number] += min(1.0, weight * (3.0 if more > 0 else 1.0)) * more
