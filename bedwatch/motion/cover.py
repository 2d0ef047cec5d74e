"""Whether something stands between camera and powder: a hand, a tool, a part, a cloud of dust."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.bars import Bars

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

_BLOCK_MM = 10.0
_EVERY_S = 0.09
_MEMORY_S, _LEARN_S, _SURE_S = 4.0, 0.35, 0.9
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
# A bar is a thing, wherever its tone or its pattern stands out by this, and by so many times what the bed's own bars do at most:
# thin ones (cells of 5 mm) by brightness, wide ones by brightness and by pattern.
_CELL_MM = 5.0
_BAR, _BAR_BEYOND, _FIRST_BAR = (0.06, 0.06, 0.35), (1.6, 1.85, 2.0), (0.06, 0.05, 0.3)
# It does so in each of three looks one after the other; in two, if it is there already, or stands out by half as much again.
_BAR_LOOKS, _CLEAR_BAR, _BARS_KNOWN_S = 3, 1.5, 3.0
_AWAY_S = 1.0  # so long without a picture
_PAST_BAR, _FRESH, _THIN, _NEW_LIGHT = 0.75, 0.5, 0.4, 0.12
# What is darker or brighter by no more than this, with the pattern of the powder as strong as before, is shadow or light.
_SHADE, _SAME_PATTERN, _SHADE_BLOCKS = 0.75, 0.30, 20
# Light that changes over this share of the bed at once, with the pattern left, is a lamp or the exposure.
_LIGHT_SHARE = 0.4
# A cloud: the pattern is fainter by this (logarithm) over this share of the bed.
_FAINTER, _CLOUD_SHARE, _CLOUD_S = 0.42, 0.6, 0.35
# It is told when it was there in so many looks one after the other, a large one sooner.
_BEGIN_LOOKS, _LARGE_LOOKS, _LARGE_BLOCKS = 3, 2, 24
# At its beginning it has come by this share within so many looks.
_SUDDEN, _PAST_LOOKS = 0.75, 5
_OVER_S, _STAYS_S, _MAYBE_S = 0.6, 20.0, 0.9
_ALIKE, _UNLIKE = 0.15, 0.3


class Cover:
    """Watches the brightness and the pattern of blocks of 10 mm. visible: (rows, cols) of the rectified grid; step_mm: its pixel.

    `add` frame after frame, in order of time; it says whether the surface is covered now, in part at least. cloud: whether it is
    a cloud of dust that hides it.
    """

    def __init__(self, visible: Mask, step_mm: float) -> None:
        rows, cols = visible.shape
        self.size = (max(4, round(cols * step_mm / _BLOCK_MM)), max(4, round(rows * step_mm / _BLOCK_MM)))
        self._mask = visible.astype(np.float32)
        share = np.asarray(cv2.resize(self._mask, self.size, interpolation=cv2.INTER_AREA))
        self._whole: Mask = share > 0.6
        self._per_share = 1.0 / np.maximum(share, 0.1)
        self._fine_size = (max(8, round(cols * step_mm / _CELL_MM)), max(8, round(rows * step_mm / _CELL_MM)))
        fine = np.asarray(cv2.resize(self._mask, self._fine_size, interpolation=cv2.INTER_AREA))
        self._fine_whole: Mask = fine > 0.6
        self._per_fine = 1.0 / np.maximum(fine, 0.1)
        self._bars: tuple[Bars, Bars] | None = None
        if self._whole.any() and self._fine_whole.any():
            self._bars = (
                Bars(self._fine_whole, piece=4, width=2, flank=4),
                Bars(self._whole, piece=2, width=3, flank=6),
            )
        self._counts = [self._box(self._whole.astype(np.float32), n) for n in _WINDOWS]
        self.covered = False
        self.cloud = False
        self._start_s: float | None = None
        self._last_s = 0.0
        self._forget()

    def _forget(self) -> None:
        self._level: Array | None = None
        self._pattern: Array = np.zeros(0)
        self._fine: Array = np.zeros(0)
        self._wide: Array | None = None
        self._tail = list(_FIRST_TAIL)
        self._tail_bar = list(_FIRST_BAR)
        self._past_bars: deque[list[float]] = deque(maxlen=_PAST_LOOKS)
        self._hues: list[Array] = []
        self._tail_hue = _FIRST_TAIL_HUE
        self._looks = 0
        self._past: deque[tuple[Array, Array]] = deque(maxlen=_PAST_LOOKS)
        self._off_since: float | None = None
        self._clear_since: float | None = None
        self._cloud_since: float | None = None

    def add(
        self, rectified: NDArray[np.uint8], time_s: float, colours: Callable[[], Sequence[Array]] = lambda: ()
    ) -> bool:
        """Look at one frame, a tenth of a second or more after the last one looked at. rectified: (rows, cols) grey.

        colours: gives the colours of the blocks in this picture, as `Hue` reads them; asked for when needed.
        """
        if self._start_s is not None and 0 <= time_s - self._last_s < _EVERY_S:
            return self.covered
        if self._start_s is not None and time_s - self._last_s > _AWAY_S:
            self.covered = False
            self._forget()  # what was usual may be so no more
        level, pattern, fine = self._look(rectified)
        hues = list(colours())
        if self._level is None or not self._whole.any():
            self._start_s = self._last_s = time_s
            self._level, self._pattern, self._fine, self._hues = level, pattern, fine, hues
            return self.covered
        gap_s, self._last_s = time_s - self._last_s, time_s
        off = level - self._level
        common = float(np.median(off[self._whole]))
        off = np.where(self._whole, off - common, 0.0)
        smooth = [self._box(off, n) / np.maximum(count, 1.0) for n, count in zip(_WINDOWS, self._counts, strict=True)]
        fainter = pattern - self._pattern
        tinted = self._tinted(hues)
        assert self._start_s is not None
        learnt = time_s - self._start_s >= _SURE_S
        thing = self._thing(smooth, fainter, tinted) if time_s - self._start_s >= _LEARN_S else self._whole & False
        bars, barred = self._barred(off, fainter, fine - self._fine - common, smooth[1], common)
        barred &= time_s - self._start_s >= _BARS_KNOWN_S
        thing |= barred
        self._past.append((smooth[0], tinted))
        if thing.sum() > _LIGHT_SHARE * self._whole.sum() and self._pattern_kept(fainter, thing):
            # Another light, not another surface.
            self._level, self._pattern, self._fine, self._hues = level, pattern, fine, hues
            thing = self._whole & False
        cloud = learnt and self._is_cloud(fainter, time_s)
        self._decide(thing, cloud, level, time_s, sure=bool(barred.any()))
        if self._level is not None and not self.covered and self._cloud_since is None:
            # What may be a thing is not learnt at once; what never came to be one is.
            maybe = self._off_since is not None and time_s - self._off_since < _MAYBE_S
            weight = min(1.0, gap_s * (0.1 if maybe else 1.0) / (_MEMORY_S if learnt else _SURE_S / 2))
            self._learn(level, pattern, smooth, weight)
            self._fine = self._fine + weight * (fine - self._fine)
            for number, bar in enumerate(bars):
                more = bar - self._tail_bar[number]
                self._tail_bar[number] += min(1.0, weight * (3.0 if more > 0 else 1.0)) * more
            self._learn_hues(hues, tinted, weight)
        return self.covered

    def _look(self, rectified: NDArray[np.uint8]) -> tuple[Array, Array, Array]:
        """Logarithms of every block's brightness and of the strength of its pattern, relative to that; of cells' brightness."""
        seen = cv2.multiply(rectified.astype(np.float32), self._mask)
        fine = np.asarray(cv2.resize(seen, self._fine_size, interpolation=cv2.INTER_AREA))
        mean = np.asarray(cv2.resize(seen, self.size, interpolation=cv2.INTER_AREA)) * self._per_share
        square = (
            np.asarray(cv2.resize(cv2.multiply(seen, seen), self.size, interpolation=cv2.INTER_AREA)) * self._per_share
        )
        mean = np.maximum(mean, 2.0)
        spread = np.sqrt(np.maximum(square - mean**2, 0.1)) / mean
        return np.log(mean), np.log(spread), np.log(np.maximum(fine * self._per_fine, 2.0))

    def _box(self, values: Array, blocks: int) -> Array:
        return np.asarray(
            cv2.boxFilter(
                np.asarray(values, np.float32), -1, (blocks, blocks), normalize=False, borderType=cv2.BORDER_CONSTANT
            )
        )

    def _tinted(self, hues: Sequence[Array]) -> Array:
        """(rows, cols) by how much the colour is another one than usual; 0 where it is not known."""
        tinted = np.zeros(self._whole.shape)
        for hue, usual in zip(hues, self._hues, strict=False):
            off = np.where(self._whole, hue - usual, 0.0)
            common = float(np.median(off[self._whole]))
            if abs(common) > _WHITE_STEP:
                self._hues = list(hues)  # the white balance has changed, not the surface
                return np.zeros(self._whole.shape)
            off -= common
            tinted = np.maximum(tinted, np.abs(self._box(off, 2) / np.maximum(self._counts[1], 1.0)))
        return np.where(self._whole, tinted, 0.0)

    def _thing(self, smooth: Sequence[Array], fainter: Array, tinted: Array) -> Mask:
        """(rows, cols) blocks that something hides."""
        strange = np.zeros(self._whole.shape, np.uint8)
        for off, tail, least, blocks in zip(smooth, self._tail, _OFF, _WINDOWS, strict=True):
            hit = (np.abs(off) > max(least, _BEYOND * tail)).astype(np.uint8)
            if blocks > 1:
                hit = np.asarray(cv2.dilate(hit, np.ones((blocks, blocks), np.uint8)), np.uint8)
            strange = np.maximum(strange, hit)
        assert self._level is not None
        rounding = _ROUNDING * np.exp(-self._level)
        other_hue = tinted > np.maximum(rounding, max(_TINTED, _HUE_BEYOND * self._tail_hue))
        # An encoder may change a colour alone; a thing brings its own brightness or pattern too.
        seen = ((np.abs(smooth[0]) > _TINTED_SEEN) | (np.abs(fainter) > 6 * _TINTED_SEEN)).astype(np.uint8)
        other_hue &= cv2.dilate(seen, np.ones((3, 3), np.uint8)) > 0
        strange = np.maximum(strange, other_hue.astype(np.uint8))
        strange &= self._whole.astype(np.uint8)
        very = np.abs(smooth[0]) > max(_VERY, _FAR_BEYOND * self._tail[0])
        count, labels, stats, _ = cv2.connectedComponentsWithStats(strange, connectivity=8)
        found = np.zeros(self._whole.shape, np.bool_)
        for number in range(1, count):
            group = labels == number
            long = max(stats[number, cv2.CC_STAT_WIDTH], stats[number, cv2.CC_STAT_HEIGHT]) >= _LONG_BLOCKS
            many = stats[number, cv2.CC_STAT_AREA] >= _MANY_BLOCKS
            far = int((group & very).sum()) >= _FEW_BLOCKS
            other = int((group & other_hue).sum()) >= _FEW_BLOCKS
            if not (long or many or far or other) or (not other and self._is_shade(group, smooth[1], fainter)):
                continue
            if not self.covered and not self._is_sudden(group, smooth[0], tinted):
                continue
            found |= group
        return found

    def _barred(
        self, off: Array, fainter: Array, fine: Array, smooth: Array, common: float
    ) -> tuple[list[float], Mask]:
        """How much the clearest bar of each kind stands out; the blocks of those that are things. fine: like off, of cells."""
        thing = self._whole & False
        if self._bars is None:
            return [0.0] * len(_BAR), thing
        usual = float(np.median(fainter[self._whole]))
        plain = np.where(self._whole, fainter - usual, 0.0)
        now = np.stack([off, plain], axis=-1)
        # Powder changes from look to look, what is wide moves slowly for its width.
        self._wide = now if self._wide is None else (1 - _FRESH) * self._wide + _FRESH * now
        thin, wide = self._bars
        found = [
            (thin, *thin.strongest(np.where(self._fine_whole, fine, 0.0))[0]),
            *((wide, *bar) for bar in wide.strongest(self._wide)),
        ]
        values = [value for _, value, _ in found]
        before = self._past_bars[0] if self._past_bars else [0.0] * len(values)
        for number, (bars, value, at) in enumerate(found):
            least = max(_BAR[number], _BAR_BEYOND[number] * self._tail_bar[number])
            lately = [value, *(past[number] for past in reversed(self._past_bars))]
            lasting = min(lately[: 2 if self.covered else _BAR_LOOKS])
            if lasting < least and min(lately[:2]) < _CLEAR_BAR * least:
                continue
            if not self.covered and before[number] > _PAST_BAR * value:
                continue
            if (number == 2 or not self.covered) and max(abs(usual), abs(common)) > _NEW_LIGHT:
                continue  # in another light, or in haze, the powder looks another way
            if number == 0 and value < _THIN * values[1]:
                continue  # the middle of something wide and soft
            group = bars.blocks(at, self.size) & self._whole
            if number != 1 or not self._in_shade(group, smooth, fainter):
                thing |= group
        self._past_bars.append(values)
        return values, thing

    def _is_sudden(self, group: Mask, off: Array, tinted: Array) -> bool:
        """Whether it came within half a second: haze, a lens that dusts over and the day's light come slowly."""
        if not self._past:
            return True
        before, hue_before = self._past[0]
        came, there = (float(np.median(np.abs(of[group]))) for of in (off - before, off))
        hue_came, hue_there = (float(np.median(of[group])) for of in (tinted - hue_before, tinted))
        return came > _SUDDEN * there or hue_came > max(_SUDDEN * hue_there, _TINTED / 2)

    def _in_shade(self, group: Mask, off: Array, fainter: Array) -> bool:
        """Whether it, or all that is as dark or as bright round it, is shadow or light."""
        depth = float(np.median(off[group])) if group.any() else 0.0
        alike = (off * np.sign(depth) > abs(depth) / 2) & self._whole | group
        _, labels = cv2.connectedComponents(alike.astype(np.uint8), connectivity=8)
        around = np.isin(labels, np.unique(labels[group]))
        return self._is_shade(group, off, fainter, least=1) or self._is_shade(around, off, fainter)

    def _is_shade(self, group: Mask, off: Array, fainter: Array, least: int = _SHADE_BLOCKS) -> bool:
        """Whether it is shadow or light: wide, not too deep, and the powder's pattern as strong in it as before."""
        depth = abs(float(np.median(off[group])))
        return depth < _SHADE and int(group.sum()) >= least and self._pattern_kept(fainter, group)

    def _pattern_kept(self, fainter: Array, group: Mask) -> bool:
        change, rest = fainter[group & self._whole], fainter[self._whole & ~group]
        # A lively bed's pattern comes and goes anyway.
        usual = float(np.percentile(np.abs(rest), 85)) if rest.size > _SHADE_BLOCKS else 0.0
        middle, most = float(np.median(change)), float(np.percentile(np.abs(change), 85))
        return -_SAME_PATTERN < middle < 0.7 * _SAME_PATTERN and most < max(1.6 * _SAME_PATTERN, 1.5 * usual)

    def _is_cloud(self, fainter: Array, time_s: float) -> bool:
        share = float(np.mean(fainter[self._whole] < -_FAINTER))
        if share < _CLOUD_SHARE:
            self._cloud_since = None
            return False
        if self._cloud_since is None:
            self._cloud_since = time_s
        return time_s - self._cloud_since >= _CLOUD_S

    def _decide(self, thing: Mask, cloud: bool, level: Array, time_s: float, *, sure: bool) -> None:
        self.cloud = cloud
        self._looks = self._looks + 1 if thing.any() else 0
        stayed = self._looks >= (_LARGE_LOOKS if thing.sum() >= _LARGE_BLOCKS else _BEGIN_LOOKS)
        if thing.any() or cloud:
            self._clear_since = None
            if self._off_since is None:
                self._off_since = time_s
            self.covered = self.covered or stayed or cloud or sure
            if time_s - self._off_since > _STAYS_S or (thing.any() and self._has_gone(thing, level)):
                self.covered, self._start_s = False, None
                self._forget()
            return
        if self._clear_since is None:
            self._clear_since = time_s
        if not self.covered or time_s - self._clear_since >= _OVER_S:
            self._off_since, self.covered = None, False

    def _has_gone(self, thing: Mask, level: Array) -> bool:
        """Whether it was there before and is away now: the place looks like what is around it now, and did not before."""
        ring = (cv2.dilate(thing.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~thing & self._whole
        if ring.sum() < 6 or self._level is None:
            return False
        now, before = (abs(float(np.median(of[thing]) - np.median(of[ring]))) for of in (level, self._level))
        return now < _ALIKE and before > _UNLIKE

    def _learn_hues(self, hues: list[Array], tinted: Array, weight: float) -> None:
        if len(hues) == len(self._hues):
            self._hues = [usual + weight * (hue - usual) for hue, usual in zip(hues, self._hues, strict=True)]
            self._tail_hue += weight * (float(tinted.max()) - self._tail_hue)

    def _learn(self, level: Array, pattern: Array, smooth: Sequence[Array], weight: float) -> None:
        assert self._level is not None
        self._level = self._level + weight * (level - self._level)
        self._pattern = self._pattern + weight * (pattern - self._pattern)
        for number, off in enumerate(smooth):
            reached = float(np.abs(off[self._whole]).max())
            self._tail[number] += weight * (reached - self._tail[number])
