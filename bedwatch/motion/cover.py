"""Whether something stands between camera and powder: a hand, a tool, a part, a cloud of dust."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.motion.barred import Barred
from bedwatch.motion.beside import SECTORS, Beside, Sides
from bedwatch.motion.strange import Looks, Usual, middle_of, planes

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

_BLOCK_MM, _CELL_MM = 10.0, 5.0
_EVERY_S, _ABOUT_S = 0.09, 0.11
_MEMORY_S, _LEARN_S, _SURE_S = 4.0, 0.35, 0.9
_BARS_KNOWN_S = 3.0
_AWAY_S = 1.0  # so long without a picture
# Light that changes over this share of the bed at once, with the pattern left, is a lamp or the exposure.
_LIGHT_SHARE = 0.4
# It goes on to change while so many blocks look another way than at the look before: a shadow that wanders on.
_WANDERS, _WANDERS_S = 0.04, 2.0
# A cloud: the pattern is fainter by this (logarithm) over this share of the bed.
_FAINTER, _CLOUD_SHARE, _CLOUD_S = 0.42, 0.6, 0.35
# It is told when it was there in so many looks one after the other, a large one sooner.
_BEGIN_LOOKS, _LARGE_LOOKS, _LARGE_BLOCKS = 3, 2, 24
# Sooner when it is seen to come in over the wall; later, and only if it stays where it is, when nothing did.
_CAME_LOOKS, _INSIDE_LOOKS, _SAME = 2, 6, 0.5
_HUGE, _HUGE_LOOKS = 0.15, 4  # no eruption takes up this share of the bed
_WALL_BLOCKS = 4  # so near the wall it must reach
# Whether the surroundings show the light changed: in so many sectors.
_SHADED, _BROAD = 6, 8
_OVER_S, _STAYS_S, _MAYBE_S = 0.6, 20.0, 0.9
_UNSEEN_S = (
    3.0  # what was not seen to come in, though all round the bed is in sight, is the bed's new look after so long
)
_ALIKE, _UNLIKE = 0.15, 0.3


class Cover:
    """Watches the brightness and the pattern of blocks of 10 mm. visible: (rows, cols) of the rectified grid; step_mm: its pixel.

    `add` frame after frame, in order of time; it says whether the surface is covered now, in part at least. cloud: whether it is
    a cloud of dust that hides it. light: whether, instead, the light on a part of it has just changed.
    """

    def __init__(self, visible: Mask, step_mm: float, beside: Beside | None = None) -> None:
        rows, cols = visible.shape
        self._beside = beside
        self.size = (max(4, round(cols * step_mm / _BLOCK_MM)), max(4, round(rows * step_mm / _BLOCK_MM)))
        self._mask = visible.astype(np.float32)
        share = np.asarray(cv2.resize(self._mask, self.size, interpolation=cv2.INTER_AREA))
        self._whole: Mask = share > 0.6
        self._per_share = 1.0 / np.maximum(share, 0.1)
        self._fine_size = (max(8, round(cols * step_mm / _CELL_MM)), max(8, round(rows * step_mm / _CELL_MM)))
        fine = np.asarray(cv2.resize(self._mask, self._fine_size, interpolation=cv2.INTER_AREA))
        fine_whole: Mask = fine > 0.6
        self._fine_planes = planes(fine.shape)
        self._per_fine = 1.0 / np.maximum(fine, 0.1)
        self._barred = Barred(self._whole, fine_whole) if Barred.fit(self._whole, fine_whole) else None
        self._sector = _sectors(self._whole.shape)
        margin = np.pad(self._whole.astype(np.uint8), 1)
        deep = cv2.erode(margin, np.ones((2 * _WALL_BLOCKS + 1,) * 2, np.uint8), borderValue=0)[1:-1, 1:-1] > 0
        self._by_wall: Mask = self._whole & ~deep
        self.covered = False
        self.cloud = self.light = False
        self._last_s = 0.0
        self._forget()

    def _forget(self) -> None:
        self._usual: Usual | None = None
        self._fine: Array = np.zeros(0)
        self._start_s: float | None = None
        self._first: list[tuple[Looks, Array]] = []
        self._looks, self._missed = 0, False
        self._seen_in = False
        self._before: Mask = self._whole & False
        self._off_since: float | None = None
        self._clear_since: float | None = None
        self._cloud_since: float | None = None
        self._light_s: float | None = None
        if self._barred is not None:
            self._barred.forget()
        if self._beside is not None:
            self._beside.forget()

    @property
    def settled(self) -> bool:
        """Whether what is usual is known, and nothing looks otherwise just now."""
        learnt = self._start_s is not None and self._last_s - self._start_s >= _SURE_S
        return learnt and not self.light and self._off_since is None and self._cloud_since is None

    def due(self, time_s: float, next_s: float | None = None) -> bool:
        """Whether a frame of this time would be looked at. next_s: when the next one can be, where frames between are passed
        over; None for soon."""
        since_s = time_s - self._last_s
        if self._start_s is None or not 0 <= since_s < _EVERY_S:
            return True
        return next_s is not None and _ABOUT_S - since_s < abs(next_s - self._last_s - _ABOUT_S)

    def add(
        self,
        rectified: NDArray[np.uint8],
        time_s: float,
        colours: Callable[[], Sequence[Array]] = lambda: (),
        picture: Picture | None = None,
        *,
        unsure: bool = False,
        gliding: bool = False,
        next_s: float | None = None,
    ) -> bool:
        """Look at one frame, if it is `due`. rectified: (rows, cols) grey.

        colours: gives the colours of the blocks in this picture, as `Hue` reads them; asked for when needed. picture: the one
        that was rectified, for what stands round the bed. unsure: the camera may have moved, so that only what is seen to come
        in, or a cloud, counts. gliding: the surface moves as one piece, which carries its own marks along: the same holds.
        """
        if not self.due(time_s, next_s):
            return self.covered
        if self._start_s is not None and time_s - self._last_s > _AWAY_S:
            self.covered = False
            self._forget()  # what was usual may be so no more
        if not self._whole.any():
            return self.covered
        looks, fine = self._look(rectified, colours)
        gap_s, self._last_s = time_s - self._last_s, time_s
        if self._usual is None or self._start_s is None:
            self._start_s = time_s
            self._usual, self._fine = Usual(self._whole, looks), fine
            self._first.append((looks, fine))
            return self.covered
        sides = None if self._beside is None or picture is None else self._beside.look(picture)
        self._judge(self._usual, looks, fine, time_s - self._start_s, gap_s, sides, unsure=unsure, gliding=gliding)
        return self.covered

    def _judge(
        self,
        usual: Usual,
        looks: Looks,
        fine: Array,
        age_s: float,
        gap_s: float,
        sides: Sides | None,
        *,
        unsure: bool,
        gliding: bool,
    ) -> None:
        time_s, learnt = self._last_s, age_s >= _SURE_S
        if age_s < _LEARN_S:
            self._first.append((looks, fine))
        elif self._first:
            # The first picture may be a damaged one.
            self._fine = np.median([cells for _, cells in self._first], axis=0)
            usual.start(middle_of([one for one, _ in self._first]))
            self._first.clear()
        now = usual.against(looks)
        followed = self.covered or self._looks > 1  # it goes on, and need not have come just now
        thing = usual.things(now, covered=followed) if age_s >= _LEARN_S else self._whole & False
        common = now.common
        if now.lit is not None:
            self._fine, common = self._fine + self._fine_planes @ now.lit, 0.0
        barred = self._whole & False
        if self._barred is not None:
            barred = self._barred.look(now, fine - self._fine - common, usual, covered=self.covered)
            barred &= age_s >= _BARS_KNOWN_S
        thing |= barred
        usual.remember(now)
        came = self._came(thing, sides)
        light = sides is not None and sides.shaded.sum() >= _SHADED and came is False
        self._seen_in = bool(thing.any()) and not light and (self._seen_in or came is True)
        if self._seen_in:
            came = True  # it need not be seen at every look
        self.light = bool(thing.any()) and not self.covered
        if light or (thing.sum() > _LIGHT_SHARE * self._whole.sum() and usual.pattern_kept(thing, now)):
            if self.light:
                usual.start(looks)  # another light, not another surface
                self._fine = fine
            thing = self._whole & False
        else:
            self.light = False
        self._follow_light(usual, looks, fine)
        cloud = learnt and self._is_cloud(now.fainter, time_s)
        self._decide(thing, cloud, looks.level, usual, came=came, sure=bool(barred.any()), unsure=unsure or gliding)
        if self._usual is not None and not self.covered and self._cloud_since is None and not unsure:
            # What may be a thing is not learnt at once; what never came to be one is.
            maybe = self._off_since is not None and time_s - self._off_since < _MAYBE_S
            weight = min(1.0, gap_s * (0.1 if maybe else 1.0) / (_MEMORY_S if learnt else _SURE_S / 2))
            usual.learn(looks, now, weight)
            self._fine = self._fine + weight * (fine - self._fine)
            if self._barred is not None:
                self._barred.learn(weight)
            if self._beside is not None and not maybe:
                self._beside.learn(gap_s)

    def _follow_light(self, usual: Usual, looks: Looks, fine: Array) -> None:
        """A light that has begun to change is followed until it stands."""
        if self.light:
            self._light_s = self._last_s
        elif self._light_s is not None:
            wanders = usual.strange_share > _WANDERS and self._last_s - self._light_s < _WANDERS_S
            if wanders and not self.covered:
                self.light = True
                usual.start(looks)
                self._fine = fine
            else:
                self._light_s = None

    def _came(self, thing: Mask, sides: Sides | None) -> bool | None:
        """Whether it is seen to have come in over the wall, where it reaches the wall; None when that cannot be told."""
        if sides is None or not thing.any() or 2 * sides.seen.sum() < SECTORS:
            return None
        changed = sides.other | sides.either | sides.shaded
        if changed.sum() > _BROAD and 2 * sides.other.sum() < changed.sum():
            return False  # wider than an arm, and mostly light
        at_wall = thing & self._by_wall
        near = np.bincount(self._sector[at_wall], minlength=SECTORS) > 0
        near |= np.roll(near, 1) | np.roll(near, -1)
        if (near & sides.other).any():
            return True
        if (near & sides.either).any():
            return None
        return False if not near.any() or sides.seen[near].all() else None

    def _look(self, rectified: NDArray[np.uint8], colours: Callable[[], Sequence[Array]]) -> tuple[Looks, Array]:
        """How every block looks, and the logarithm of the cells' brightness."""
        seen = cv2.multiply(rectified.astype(np.float32), self._mask)
        fine = np.asarray(cv2.resize(seen, self._fine_size, interpolation=cv2.INTER_AREA))
        mean = np.asarray(cv2.resize(seen, self.size, interpolation=cv2.INTER_AREA)) * self._per_share
        square = (
            np.asarray(cv2.resize(cv2.multiply(seen, seen), self.size, interpolation=cv2.INTER_AREA)) * self._per_share
        )
        mean = np.maximum(mean, 2.0)
        spread = np.sqrt(np.maximum(square - mean**2, 0.1)) / mean
        looks = Looks(level=np.log(mean), pattern=np.log(spread), hues=tuple(colours()))
        return looks, np.log(np.maximum(fine * self._per_fine, 2.0))

    def _is_cloud(self, fainter: Array, time_s: float) -> bool:
        share = float(np.mean(fainter[self._whole] < -_FAINTER))
        if share < _CLOUD_SHARE:
            self._cloud_since = None
            return False
        if self._cloud_since is None:
            self._cloud_since = time_s
        return time_s - self._cloud_since >= _CLOUD_S

    def _decide(
        self, thing: Mask, cloud: bool, level: Array, usual: Usual, *, came: bool | None, sure: bool, unsure: bool
    ) -> None:
        self.cloud = cloud
        time_s = self._last_s
        if unsure and came is not True and not self.covered:
            thing = thing & False
        stays = came is not False or float((thing & self._before).sum()) >= _SAME * thing.sum()
        if thing.any() or self._looks < 2 or self._missed:
            self._looks = self._looks + 1 if thing.any() and stays else int(thing.any())
            self._missed = False
        else:
            self._missed = True  # one look without it tells nothing
        self._before = _about(self._before if self._missed else thing)
        if came is None:
            needed = 1 if sure else _LARGE_LOOKS if thing.sum() >= _LARGE_BLOCKS else _BEGIN_LOOKS
        else:
            inside = _HUGE_LOOKS if thing.sum() > _HUGE * self._whole.sum() else _INSIDE_LOOKS
            needed = (1 if sure else _CAME_LOOKS) if came else inside
        stayed = thing.any() and self._looks >= needed
        if thing.any() or cloud:
            self._clear_since = None
            if self._off_since is None:
                self._off_since = time_s
            self.covered = bool(self.covered or stayed or cloud)
            stays_s = _UNSEEN_S if came is False and not cloud else _STAYS_S
            if time_s - self._off_since > stays_s or (thing.any() and self._has_gone(thing, level, usual)):
                self.covered = False
                self._forget()
            return
        if self._clear_since is None:
            self._clear_since = time_s
        if not self.covered or time_s - self._clear_since >= _OVER_S:
            self._off_since, self.covered = None, False

    def _has_gone(self, thing: Mask, level: Array, usual: Usual) -> bool:
        """Whether it was there before and is away now: the place looks like what is around it now, and did not before."""
        ring = (cv2.dilate(thing.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~thing & self._whole
        if ring.sum() < 6:
            return False
        now, before = (abs(float(np.median(of[thing]) - np.median(of[ring]))) for of in (level, usual.level))
        return now < _ALIKE and before > _UNLIKE


def _about(blocks: Mask) -> Mask:
    """The blocks and their neighbours."""
    return np.asarray(cv2.dilate(blocks.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0, np.bool_)


def _sectors(shape: tuple[int, ...]) -> NDArray[np.intp]:
    """(rows, cols) sector of each block round the middle, numbered like those of `Beside`; row 0 lies at +y."""
    rows, cols = shape
    x, y = np.arange(cols) - (cols - 1) / 2, (rows - 1) / 2 - np.arange(rows)
    turn = np.arctan2(y[:, None], x[None, :]) / (2 * np.pi) % 1.0
    return np.asarray(np.minimum(turn * SECTORS, SECTORS - 1), np.intp)
