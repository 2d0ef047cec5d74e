"""A surface that moves as one piece: three numbers carry all of it, so that its motion is known better than any block's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.blocks import Comparison, Lattice
from bedwatch.motion.gradients import Image, Slopes
from bedwatch.motion.rigid import Fit, fit, levels
from bedwatch.motion.starts import Scales, by_blocks, by_matching, coarse_to_fine

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# What is kept of each pair: per block, the change, what the motion leaves of it, what a displacement of each block explains
# and the share of it that was seen.
BEFORE, AFTER, EXPLAINED, SEEN = range(4)

# Steps of least squares, when the motion is new and when it is known from before.
_NEW, _FOLLOW = 4, 2
# From a step of this size on a longer lag makes nothing surer; it is two pixels of the fine scale.
_LONG_STEP_MM, _NEARLY = 5.0, 0.7
# A motion is looked for in so many pairs of every lag, then in one of so many.
_FIRST_TRIES, _SELDOM = 4, 8
# Of a piece this share of the surface goes along, and there this share of all that is not noise is explained.
_MOST, _ONE_PIECE, _LEAST_SHARE = 0.75, 0.85, 0.1
_LEFT = 0.25  # of the change, where steps are so long that noise is little of it
# Chance lets a displacement of its own explain this share of a block's noise (`speed`).
_CHANCE = 0.07
# Where slopes are so much steeper one way than another, squared, the others may as well be noise.
_LINES = 100.0
# A block that goes another way: its change grows, or its own displacement explains what the piece's does not.
_GROWS, _OWN_WAY, _HALF, _SEEN = 1.3, 0.3, 0.5, 0.9
_WHOLE_WINDOW = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Carry:
    """motion: (2, 3) turn (rad/s) and shift (mm/s) of the whole, of this pair and of the one before. blocks: (4, rows, cols).
    lopsided: how much steeper slopes are one way than another, squared."""

    motion: Array
    blocks: Image
    lopsided: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    fit: Fit
    blocks: Image
    goes: Mask

    @property
    def left(self) -> float:
        """Share of the change that the motion leaves."""
        return float(self.blocks[AFTER].sum()) / max(float(self.blocks[BEFORE].sum()), 1e-9)


class Piece:
    """Looks for one turn and one shift that carry the whole surface from picture to picture, and follows them.

    lattice: blocks of the fine scale; visible: (rows, cols) of that scale; px_mm: its pixel; middle_px: (x, y) of the bed's
    axis. lags: in frames, shortest first.
    """

    def __init__(
        self,
        lattice: Lattice,
        visible: NDArray[np.bool_],
        px_mm: float,
        middle_px: tuple[float, float],
        lags: Sequence[int],
    ) -> None:
        self._lattice, self._lags = lattice, tuple(lags)
        self._levels = levels(visible, px_mm, np.array(middle_px))
        self._x_mm, self._y_mm = (
            np.asarray(lattice.mean(of), np.float64) for of in (self._levels[0].x_mm, self._levels[0].y_mm)
        )
        self.forget()

    def forget(self) -> None:
        """Begin anew after a hole or another view."""
        self._rate: Array | None = None
        self._lag = self._next = self._lags[0]
        self._tried: Counter[int] = Counter()
        self._among: Image | None = None
        self._rest: Image | None = None  # what displacements of the blocks leave of the change from frame to frame

    def add(self, then: Scales, now: Scales, lag: int, lag_s: float, pair: Comparison) -> Carry | None:
        """How the whole moved between two pictures; None where it is not one piece, or was not the pair before, or where this
        lag is not wanted.

        then, now: the pictures, fine and coarse; pair: what was found between the fine ones block by block.
        """
        if lag == self._lags[0]:
            self._rest = pair.change - pair.explained
        if self._rate is None:
            if not self._tries(lag):
                return None
        elif lag != self._next:
            return None
        before, self._rate = self._rate, None
        same, self._lag = lag == self._lag, lag
        if before is None:
            found = self._search(then, now, lag, pair)
        else:
            found = self._settled(then[0], now[0], before * lag_s, pair, lag)
        if found is None:
            return None
        self._among = None if found.goes.all() else self._picture(found.goes)
        self._rate = rate = found.fit.moved / lag_s
        self._next = self._wanted(rate, lag_s / lag)
        self._tried.clear()
        if before is None or not same:
            return None
        return Carry(motion=np.stack([rate, before]), blocks=found.blocks, lopsided=found.fit.lopsided)

    def _search(self, then: Scales, now: Scales, lag: int, pair: Comparison) -> _Found | None:
        """From several starts, the simplest first: the motion that leaves least of the change."""
        self._among = None
        level, weight = self._levels[0], np.where(self._lattice.window > _WHOLE_WINDOW, pair.slope, 0.0)
        starts: list[Callable[[], Array | None]] = [
            lambda: by_blocks(pair, weight, self._x_mm, self._y_mm, level.px_mm),
            lambda: coarse_to_fine(self._levels, then, now),
            lambda: by_matching(level, then[0].value, now[0].value),
        ]
        best: _Found | None = None
        for start in starts if lag == self._lags[0] else starts[:1]:
            moved = start()
            found = None if moved is None else self._settled(then[0], now[0], moved, pair, lag, new=True)
            if found is not None and (best is None or found.left < best.left):
                best = found
            if best is not None and best.left < _LEFT:
                break
        return best

    def _settled(
        self, then: Slopes, now: Slopes, start: Array, pair: Comparison, lag: int, *, new: bool = False
    ) -> _Found | None:
        """The motion found from there, with what goes another way left out; None where the whole is not one piece."""
        found = self._fitted(then, now, start, pair, _NEW if new else _FOLLOW, None if new else self._among)
        if new and found is not None and not found.goes.all():
            found = self._fitted(then, now, found.fit.moved, pair, _FOLLOW, self._picture(found.goes))
        one = (
            found is not None
            and found.fit.lopsided < _LINES
            and self._is_one(found, self._step_mm(found.fit.moved) / lag)
        )
        return found if one else None

    def _fitted(
        self, then: Slopes, now: Slopes, start: Array, pair: Comparison, steps: int, among: Image | None
    ) -> _Found | None:
        found = fit(self._levels[0], then, now, start, steps, among)
        if found is None:
            return None
        change = cv2.multiply(cv2.subtract(now.value, then.value), found.seen)
        images = (change, found.rest, found.seen)
        energy, rest, seen = self._lattice.means([(image, image) for image in images])
        blocks = np.stack([energy, rest, pair.explained, seen])
        return _Found(fit=found, blocks=blocks, goes=goes_along(blocks))

    def _is_one(self, found: _Found, frame_mm: float) -> bool:
        """Whether nearly all of the surface goes along, and one motion explains nearly all that changes there but noise.

        What displacements of the blocks leave from frame to frame is noise, where these are short. frame_mm: step from frame
        to frame.
        """
        blocks, goes = found.blocks, found.goes
        whole = (self._lattice.window > _WHOLE_WINDOW) & (blocks[SEEN] > _WHOLE_WINDOW)
        if not whole.any() or float(goes[whole].mean()) < _MOST:
            return False
        change, left, by_blocks = (float(blocks[of][whole & goes].sum()) for of in (BEFORE, AFTER, EXPLAINED))
        if frame_mm > self._levels[0].px_mm:
            return left < _LEFT * change
        noise = change - by_blocks if self._rest is None else float(self._rest[whole & goes].sum())
        known = change - min(noise, change - by_blocks) / (1 - _CHANCE)
        return change - left > max(_ONE_PIECE * known, _LEAST_SHARE * change)

    def _picture(self, goes: Mask) -> Image:
        """1 in the pixels of these blocks."""
        size = self._lattice.block_px
        return np.ascontiguousarray(np.repeat(np.repeat(goes, size, axis=0), size, axis=1), np.float32)

    def _tries(self, lag: int) -> bool:
        """Whether to look for a motion in this pair: in the first ones, later now and then, since a bed of powder has none."""
        self._tried[lag] += 1
        return self._tried[lag] <= _FIRST_TRIES or self._tried[lag] % _SELDOM == 0

    def _wanted(self, rate: Array, frame_s: float) -> int:
        """The shortest lag whose step is long, or the longest; the one before as long as it does nearly as well."""
        speed = self._step_mm(rate)
        steps = {lag: lag * frame_s * speed / _LONG_STEP_MM for lag in self._lags}
        if _NEARLY < steps[self._lag] < 2 / _NEARLY:
            return self._lag
        return next((lag for lag, step in steps.items() if step >= 1), self._lags[-1])

    def _step_mm(self, moved: Array) -> float:
        """Root mean square of a motion over the bed, about its middle."""
        return float(np.hypot(moved[0] * self._levels[0].reach_mm, np.hypot(moved[1], moved[2])))


def goes_along(blocks: Array) -> Mask:
    """Which blocks move with the piece, as far as can be seen. blocks: (4, rows, cols)."""
    change, left, own, seen = blocks
    another_way = (own > _OWN_WAY * change) & (change - left < _HALF * own)
    return np.asarray((seen < _SEEN) | ((left <= _GROWS * change) & ~another_way), np.bool_)
