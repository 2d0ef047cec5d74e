"""Blocks of a bed that look unlike they usually do: by brightness, by pattern, by colour."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.middle import middle

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# A block is strange when its brightness (natural logarithm, the bed's common change set aside) is off by this much, and by so
# many times what the bed's own eruptions reach at most, look by look, over windows of 1, 2 and 4 blocks: small for a rod, wide
# for what is nearly as bright as the powder.
_WINDOWS = (1, 2, 4)
_OFF = (0.24, 0.17, 0.12)
_BEYOND = 1.4
# Its colour is another one: by this (natural logarithm of a ratio of colours, over two blocks). Eruptions hardly change it.
_TINTED, _HUE_BEYOND, _FIRST_TAIL_HUE = 0.06, 2.0, 0.04
_ROUNDING = 3.5  # grey levels that encoders may be off in a colour: a lot where it is dark
_TINTED_SEEN = 0.05
_WHITE_STEP = 0.03  # all of the bed changes its colour by this
_FIRST_TAIL = (0.3, 0.2, 0.12)
# Strange blocks that hang together are a thing when they reach so far or are so many; an eruption is smaller.
_LONG_BLOCKS, _MANY_BLOCKS = 7, 30
# A small thing may do if it is off by this, and so many times beyond what the bed reaches.
_VERY, _FAR_BEYOND, _FEW_BLOCKS = 0.34, 2.0, 4
# What is darker or brighter by no more than this, with the pattern of the powder as strong as before, is shadow or light.
_SHADE, _SAME_PATTERN, _SHADE_BLOCKS = 0.75, 0.30, 20
# Share of what is darker, or brighter, plainly and beyond what the bed reaches, from which it is both; share of the bed that a
# part takes up at most.
_PLAIN, _BOTH, _PART = 0.08, 0.15, 0.15
# Where all of the bed, or half of it against the other, gets brighter or darker by this it may be another lamp, and lamps lean.
# It is one if a plane explains it to within the bed's own unrest, as it does not the edge of a shadow, and if it stays as it
# is, as a shadow that passes does not. Then it is taken for usual.
_LIT, _LEANS, _MOSTLY, _AGREE, _OF_TAIL, _FITS = 0.08, 0.7, 0.8, 0.05, 0.5, 4
_LIT_LOOKS, _LIT_ALIKE = 4, 0.06
# At its beginning it has come by this share within so many looks.
_SUDDEN, _PAST_LOOKS = 0.75, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """How the blocks of one picture look, (rows, cols) each. level, pattern: logarithms of brightness and of the strength of
    the pattern relative to it. hues: logarithms of colour ratios, none for grey pictures."""

    level: Array
    pattern: Array
    hues: Sequence[Array]


def middle_of(several: Sequence[Looks]) -> Looks:
    """The median of several pictures' looks, at least one."""
    least = min(len(one.hues) for one in several)
    return Looks(
        level=np.median([one.level for one in several], axis=0),
        pattern=np.median([one.pattern for one in several], axis=0),
        hues=[np.median([one.hues[number] for one in several], axis=0) for number in range(least)],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """One picture against the usual look; (rows, cols) each, 0 off the bed where nothing else is said.

    common: change of brightness that the bed shares. off: each block's own. smooth: the same over windows of several widths.
    fainter: change of the pattern, not set aside. tinted: change of colour, without sign. lit: another light that came with this
    picture and is taken for usual from it on, (3,) of `planes`; None for none.
    """

    common: float
    off: Array
    smooth: tuple[Array, ...]
    fainter: Array
    tinted: Array
    lit: Array | None = None


def planes(shape: tuple[int, ...]) -> Array:
    """(rows, cols, 3): 1, and -1 to 1 across and down."""
    across, down = np.meshgrid(*(np.linspace(-1, 1, size) for size in shape[::-1]))
    return np.stack([np.ones(shape), across, down], axis=-1)


class Usual:
    """What the blocks usually look like, and how far the bed's own eruptions take them from it. whole: blocks on the bed."""

    def __init__(self, whole: Mask, first: Looks) -> None:
        self._whole = whole
        self._planes = planes(whole.shape)
        halves = [(whole & (side < 0), whole & (side >= 0)) for side in (self._planes[..., 1], self._planes[..., 2])]
        self._halves = [(one, other) for one, other in halves if one.any() and other.any()]
        self._counts = [self._box(whole.astype(np.float32), n) for n in _WINDOWS]
        self._tail = list(_FIRST_TAIL)
        self._tail_hue = _FIRST_TAIL_HUE
        self._lit: deque[Array] = deque(maxlen=_LIT_LOOKS)
        self._past: deque[tuple[Array, Array]] = deque(maxlen=_PAST_LOOKS)
        self.level = first.level
        self.strange_share = 0.0  # of the bed's blocks, in the picture last looked at
        self.start(first)

    def start(self, looks: Looks) -> None:
        """Take these looks for the usual ones."""
        self.level, self._pattern, self._hues = looks.level, looks.pattern, list(looks.hues)

    def against(self, looks: Looks) -> Against:
        """One picture against the usual look."""
        off = looks.level - self.level
        common = middle(off[self._whole])
        off = off - common
        lit = self._lamp(off, common)
        if lit is not None:
            self.level = self.level + self._planes @ lit  # another light, not another surface
            off = off + common - self._planes @ lit
        off = np.where(self._whole, off, 0.0)
        return Against(
            common=common,
            off=off,
            smooth=tuple(
                self._box(off, n) / np.maximum(count, 1.0) for n, count in zip(_WINDOWS, self._counts, strict=True)
            ),
            fainter=looks.pattern - self._pattern,
            tinted=self._tinted(looks.hues),
            lit=lit,
        )

    def _lamp(self, off: Array, common: float) -> Array | None:
        """(3,) another light, of `planes`, once it has stayed as it is for some looks. off: change without what is common."""
        halves = [abs(middle(off[one]) - middle(off[other])) for one, other in self._halves]
        if max(abs(common), *halves) < _LIT:
            self._lit.clear()
            return None
        lean = self._lean(off)
        before, after = (np.abs(of[self._whole]) for of in (off, off - self._planes @ lean))
        agree = float(np.mean(after < max(_AGREE, _OF_TAIL * self._tail[0])))
        if agree < _MOSTLY or middle(after) > _LEANS * middle(before):
            self._lit.clear()
            return None
        self._lit.append(lean + np.array([common, 0.0, 0.0]))
        if len(self._lit) < _LIT_LOOKS or float(np.ptp(self._lit, axis=0).max()) > _LIT_ALIKE:
            return None
        lit = np.mean(self._lit, axis=0)
        self._lit.clear()
        return np.asarray(lit, np.float64)

    def _lean(self, off: Array) -> Array:
        """(3,) the plane through the changes that most blocks of the bed agree on, of `planes`."""
        here, there = self._planes[self._whole], off[self._whole]
        agree = np.ones(len(there), np.bool_)
        for _ in range(_FITS):
            plane, *_ = np.linalg.lstsq(here[agree], there[agree], rcond=None)
            miss = np.abs(there - here @ plane)
            agree = miss <= max(_AGREE, 1.5 * middle(miss))
        return np.asarray(plane, np.float64)

    def learn(self, looks: Looks, now: Against, weight: float) -> None:
        self.level = self.level + weight * (looks.level - self.level)
        self._pattern = self._pattern + weight * (looks.pattern - self._pattern)
        for number, off in enumerate(now.smooth):
            reached = float(np.abs(off[self._whole]).max())
            self._tail[number] += weight * (reached - self._tail[number])
        if len(looks.hues) == len(self._hues):
            self._hues = [usual + weight * (hue - usual) for hue, usual in zip(looks.hues, self._hues, strict=True)]
            self._tail_hue += weight * (float(now.tinted.max()) - self._tail_hue)

    def remember(self, now: Against) -> None:
        """Keep it for telling what comes suddenly."""
        self._past.append((now.smooth[0], now.tinted))

    def things(self, now: Against, *, covered: bool) -> Mask:
        """(rows, cols) blocks that something hides. covered: something is there already, so it need not have come just now."""
        strange, other_hue = self._strange(now)
        self.strange_share = float(np.count_nonzero(strange)) / max(1, int(self._whole.sum()))
        very = np.abs(now.smooth[0]) > max(_VERY, _FAR_BEYOND * self._tail[0])
        count, labels, stats, _ = cv2.connectedComponentsWithStats(strange, connectivity=8)
        found = np.zeros(self._whole.shape, np.bool_)
        for number in range(1, count):
            group = labels == number
            long = max(stats[number, cv2.CC_STAT_WIDTH], stats[number, cv2.CC_STAT_HEIGHT]) >= _LONG_BLOCKS
            many = stats[number, cv2.CC_STAT_AREA] >= _MANY_BLOCKS
            far = int((group & very).sum()) >= _FEW_BLOCKS
            other = int((group & other_hue).sum()) >= _FEW_BLOCKS
            if not (long or many or far or other) or (not other and self.is_shade(group, now)):
                continue
            if covered or self._is_sudden(group, now):
                found |= group
        return found

    def _strange(self, now: Against) -> tuple[NDArray[np.uint8], Mask]:
        strange: NDArray[np.uint8] = np.zeros(self._whole.shape, np.uint8)
        for off, tail, least, blocks in zip(now.smooth, self._tail, _OFF, _WINDOWS, strict=True):
            hit = (np.abs(off) > max(least, _BEYOND * tail)).astype(np.uint8)
            if blocks > 1:
                hit = np.asarray(cv2.dilate(hit, np.ones((blocks, blocks), np.uint8)), np.uint8)
            strange = np.maximum(strange, hit)
        rounding = _ROUNDING * np.exp(-self.level)
        other_hue = now.tinted > np.maximum(rounding, max(_TINTED, _HUE_BEYOND * self._tail_hue))
        # An encoder may change a colour alone; a thing brings its own brightness or pattern too.
        seen = ((np.abs(now.smooth[0]) > _TINTED_SEEN) | (np.abs(now.fainter) > 6 * _TINTED_SEEN)).astype(np.uint8)
        other_hue &= cv2.dilate(seen, np.ones((3, 3), np.uint8)) > 0
        strange = np.asarray(np.maximum(strange, other_hue) * self._whole, np.uint8)
        return strange, other_hue

    def _tinted(self, hues: Sequence[Array]) -> Array:
        """(rows, cols) by how much the colour is another one than usual; 0 where it is not known."""
        tinted = np.zeros(self._whole.shape)
        for hue, usual in zip(hues, self._hues, strict=False):
            off = np.where(self._whole, hue - usual, 0.0)
            common = middle(off[self._whole])
            if abs(common) > _WHITE_STEP:
                self._hues = list(hues)  # the white balance has changed, not the surface
                return np.zeros(self._whole.shape)
            off -= common
            tinted = np.maximum(tinted, np.abs(self._box(off, 2) / np.maximum(self._counts[1], 1.0)))
        return np.where(self._whole, tinted, 0.0)

    def _is_sudden(self, group: Mask, now: Against) -> bool:
        """Whether it came within half a second: haze, a lens that dusts over and the day's light come slowly."""
        if not self._past:
            return True
        before, hue_before = self._past[0]
        off = now.smooth[0]
        came, there = (float(np.median(np.abs(of[group]))) for of in (off - before, off))
        hue_came, hue_there = (float(np.median(of[group])) for of in (now.tinted - hue_before, now.tinted))
        return came > _SUDDEN * there or hue_came > max(_SUDDEN * hue_there, _TINTED / 2)

    def is_shade(self, group: Mask, now: Against, *, least: int = _SHADE_BLOCKS) -> bool:
        """Whether it is shadow or light: wide, not too deep, and the powder's pattern as strong in it as before.

        A shadow is darker all over and a lamp's spot brighter; what is both, and no wider than a part, is a thing beside its
        own shadow.
        """
        off = now.smooth[1][group]
        far = off[np.abs(off) > max(_PLAIN, _BEYOND * self._tail[1])]
        small = int(group.sum()) < _PART * int(self._whole.sum())
        if small and far.size and _BOTH < np.mean(far > 0) < 1 - _BOTH:
            return False
        depth = abs(float(np.median(off)))
        return depth < _SHADE and int(group.sum()) >= least and self.pattern_kept(group, now)

    def in_shade(self, group: Mask, now: Against) -> bool:
        """Whether it, or all that is as dark or as bright round it, is shadow or light."""
        off = now.smooth[1]
        depth = float(np.median(off[group])) if group.any() else 0.0
        alike = (off * np.sign(depth) > abs(depth) / 2) & self._whole | group
        _, labels = cv2.connectedComponents(alike.astype(np.uint8), connectivity=8)
        around = np.isin(labels, np.unique(labels[group]))
        return self.is_shade(group, now, least=1) or self.is_shade(around, now)

    def pattern_kept(self, group: Mask, now: Against) -> bool:
        """Whether the pattern of the powder still shows in a group."""
        change, rest = now.fainter[group & self._whole], now.fainter[self._whole & ~group]
        # A lively bed's pattern comes and goes anyway.
        usual = float(np.percentile(np.abs(rest), 85)) if rest.size > _SHADE_BLOCKS else 0.0
        middle, most = float(np.median(change)), float(np.percentile(np.abs(change), 85))
        return -_SAME_PATTERN < middle < 0.7 * _SAME_PATTERN and most < max(1.6 * _SAME_PATTERN, 1.5 * usual)

    def _box(self, values: Array, blocks: int) -> Array:
        return np.asarray(
            cv2.boxFilter(
                np.asarray(values, np.float32), -1, (blocks, blocks), normalize=False, borderType=cv2.BORDER_CONSTANT
            )
        )
