"""Where the camera stands against its first pictures, read from what stands still round the bed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.outline import to_picture
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

Array = NDArray[np.floating[Any]]

_SMALL_PX = 360.0  # the picture's longer side is brought down to about this
_SOFT_PX = 2.2
_CLEAR = 1.05  # of the surface's outline: nearer in the powder reaches
_FAR = 1.9  # beyond this many times the outline people walk about
_SECTORS = 16
_LEARN = 8  # pictures whose mean is the place to compare with
_LEAST_SLOPE = 0.3  # mean squared slope, grey levels squared per small pixel, both ways, that is needed to tell
_NEAR = 0.4  # small pixels up to which one step is enough
_FARTHEST = 3.0  # small pixels beyond which a straight-line estimate is not believed
_STRANGE = 0.6  # of the surroundings' contrast that no shift explains: this is another view
_MOST = 6000  # pixels with the steepest slopes are enough
_LOOK_EVERY_S = 0.15
_NOTICEABLE_PX = 0.4  # a shift that is made good; flicker makes up to 0.3
_CALM_S = 2.0  # after this long without one the camera is taken to stand still again
_STRAY_S = 1.0
_SURE_MOVE = 0.12  # response of the phase correlation from which a far move is believed


class Anchor:
    """Follows the surroundings of one bed: rim, wall of the tub, bench.

    `shift` gives (right, down) in pixels against the first pictures, or None when that cannot be told. blind: there is too
    little still and structured round the bed. astray: the newest picture shows the surroundings otherwise, or too far away
    to follow; `moved` then tells whether the camera has moved, and `learn_anew` takes the new look for granted.
    """

    def __init__(self, aim: Aim, bed: Bed, size_px: tuple[int, int]) -> None:
        self._shrink = max(1, round(max(size_px) / _SMALL_PX))
        self._size = (size_px[0] // self._shrink, size_px[1] // self._shrink)
        self._crop = (slice(0, self._size[1] * self._shrink), slice(0, self._size[0] * self._shrink))
        self._mask, self._sector = _surroundings(aim, bed, self._size, self._shrink)
        self._sector_round = self._sector
        self._sum: Array = np.zeros((self._size[1], self._size[0]), np.float32)
        self._count = 0
        self._slopes: Array = np.zeros((2, 0))
        self._level: Array = np.zeros(0)
        self._contrast = 0.0
        self._newest: Array = self._sum
        self._window = cv2.createHanningWindow(self._size, cv2.CV_32F)
        self._round = self._mask.copy()
        self.blind = not self._mask.any()
        self.astray = False

    def learn_anew(self) -> None:
        """The next pictures are the place to compare with from now on."""
        self._sum, self._count, self.astray = np.zeros_like(self._sum), 0, False
        self._mask, self._sector = self._round, self._sector_round

    def moved(self) -> bool:
        """Whether the newest picture is the first ones moved as a whole, by more than can be followed."""
        mean = np.asarray(self._sum / max(1, self._count), np.float32)
        (right, down), response = cv2.phaseCorrelate(mean, np.asarray(self._newest, np.float32), self._window)
        return response > _SURE_MOVE and float(np.hypot(right, down)) > 0.8 * _FARTHEST

    def shift(self, picture: Picture) -> tuple[float, float] | None:
        """Look at one picture, BGR or grey, of the size given at the start."""
        if self.blind:
            return None
        small = self._newest = self._small(picture)
        if self._count < _LEARN:
            self._learn(small)
            return None if self.blind else (0.0, 0.0)
        shift, strange = self._step(small)
        if not strange and _NEAR < float(np.hypot(*shift)) < _FARTHEST:
            # One straight-line step falls short of a long way: go back by it and look again.
            back = np.array([[1, 0, -shift[0]], [0, 1, -shift[1]]], np.float64)
            again = cv2.warpAffine(small, back, self._size, borderMode=cv2.BORDER_REPLICATE)
            rest, strange = self._step(np.asarray(again, np.float32))
            shift = shift + rest
        self.astray = strange or float(np.hypot(*shift)) > _FARTHEST
        if self.astray:
            return None
        return float(shift[0] * self._shrink), float(shift[1] * self._shrink)

    def _step(self, small: Array) -> tuple[Array, bool]:
        """One least-squares step (Lucas & Kanade 1981) in small pixels, and whether what is left over is too strange."""
        seen = small[self._mask]
        # What light and exposure do to the whole is taken out before places are compared.
        seen = (seen - seen.mean()) / max(float(seen.std()), 1e-3) * self._contrast
        miss = seen - self._level
        use = np.ones(len(miss), np.bool_)
        for _ in range(2):
            shift = self._solve(miss, use)
            rest = miss + shift @ self._slopes
            use = self._agreeing(rest)
        return shift, bool(np.sqrt(np.mean(rest[use] ** 2)) > _STRANGE * self._contrast)

    def _small(self, picture: Picture) -> Array:
        plane = (picture if picture.ndim == 2 else np.asarray(cv2.extractChannel(picture, 1)))[self._crop]
        small = cv2.resize(plane, self._size, interpolation=cv2.INTER_AREA)
        return np.asarray(cv2.GaussianBlur(small.astype(np.float32), (0, 0), _SOFT_PX), np.float32)

    def _learn(self, small: Array) -> None:
        self._sum = self._sum + small
        self._count += 1
        mean = self._sum / self._count
        if self._count < _LEARN:
            return
        right = np.asarray(cv2.Sobel(mean, cv2.CV_32F, 1, 0, scale=1 / 8))
        down = np.asarray(cv2.Sobel(mean, cv2.CV_32F, 0, 1, scale=1 / 8))
        steep = np.hypot(right, down)
        few = np.sort(steep[self._mask])[-_MOST:]
        keep = steep[self._mask] >= (few[0] if len(few) else 0.0)
        self._sector = self._sector[keep]
        self._mask = self._mask & (steep >= (few[0] if len(few) else 0.0))
        self._slopes = np.stack([right[self._mask], down[self._mask]])
        level = mean[self._mask]
        self._contrast = float(level.std()) if len(level) else 0.0
        self._level = level - level.mean()
        tensor = self._slopes @ self._slopes.T / max(1, len(level))
        self.blind = len(level) < 200 or float(np.linalg.eigvalsh(tensor)[0]) < _LEAST_SLOPE

    def _solve(self, miss: Array, use: NDArray[np.bool_]) -> Array:
        slopes = self._slopes[:, use]
        return np.asarray(-np.linalg.solve(slopes @ slopes.T + 1e-6 * np.eye(2), slopes @ miss[use]), np.float64)

    def _agreeing(self, rest: Array) -> NDArray[np.bool_]:
        """Pixels of the sectors that the shift explains as well as it does most: who walks by is left out."""
        energy = np.bincount(self._sector, rest**2, minlength=_SECTORS)
        count = np.bincount(self._sector, minlength=_SECTORS)
        mean = energy / np.maximum(count, 1)
        usual = float(np.median(mean[count > 0]))
        return np.asarray((mean <= 3 * usual + 1e-9)[self._sector], np.bool_)


class Place:
    """Where the camera stands now, over time: still, shaking, jolted to another place, or lost.

    shift_px: what the rectifier must make good; (0, 0) while the camera stands still enough. jolted: true for the one
    frame at which that correction begins, ends or starts anew, when what was seen before does not go with what follows.
    """

    def __init__(self) -> None:
        self.shift_px: tuple[float, float] = (0.0, 0.0)
        self.jolted = False
        self.lost = False
        self._looked_s = -np.inf
        self._moving_s = -np.inf
        self._astray_s: float | None = None

    def follow(self, anchor: Anchor, picture: Picture, time_s: float) -> tuple[float, float] | None:
        """The camera's shift in this picture, None when not looked for or not known. Often while it moves, else at times."""
        self.jolted = False
        moving = time_s - self._moving_s < _CALM_S
        if not moving and time_s - self._looked_s < _LOOK_EVERY_S:
            return None
        self._looked_s = time_s
        shift = anchor.shift(picture)
        if anchor.astray:
            self._stray(anchor, time_s)
            return None
        self.jolted = self.lost
        self.lost, self._astray_s = False, None
        if shift is not None:
            if np.hypot(*shift) > _NOTICEABLE_PX:
                self.jolted = self.jolted or not moving
                self._moving_s = time_s
            elif moving and time_s - self._moving_s >= 0.9 * _CALM_S:
                self.jolted = True
                self._moving_s = -np.inf
            self.shift_px = shift if time_s - self._moving_s < _CALM_S else (0.0, 0.0)
        return shift

    def _stray(self, anchor: Anchor, time_s: float) -> None:
        if self._astray_s is None:
            self._astray_s = time_s
        if time_s - self._astray_s < _STRAY_S:
            return
        if self.lost or anchor.moved():
            self.lost = True
        else:
            # Other light, other things about: no move, so this is how the place looks now.
            anchor.learn_anew()
            self.jolted, self._astray_s = True, None


def _surroundings(aim: Aim, bed: Bed, size: tuple[int, int], shrink: int) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """Which small pixels lie round the bed, and the sector round its centre that each of them lies in."""
    mask = np.zeros((size[1], size[0]), np.uint8)
    centre = to_picture(aim.bed_to_picture, np.zeros((1, 2)))[0] / shrink
    outline = _outline(bed)
    for times, value in ((_FAR, 1), (_CLEAR, 0)):
        corners = to_picture(aim.bed_to_picture, outline * times) / shrink
        if not np.isfinite(corners).all():
            corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float64)
        cv2.fillPoly(mask, [np.clip(np.round(corners), -30000, 30000).astype(np.int32)], (value,))
    inside = mask > 0
    edge = round(3 * _SOFT_PX)
    inside[:edge], inside[-edge:], inside[:, :edge], inside[:, -edge:] = False, False, False, False
    v, u = np.nonzero(inside)
    angle = np.arctan2(v - centre[1], u - centre[0])
    sector = np.floor((angle / (2 * np.pi) + 0.5) * _SECTORS).astype(np.intp) % _SECTORS
    return inside, sector


def _outline(bed: Bed) -> NDArray[np.float64]:
    half_w, half_l = bed.width_mm / 2, bed.length_mm / 2
    if bed.shape == "round":
        turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
        return np.column_stack([half_w * np.cos(turn), half_l * np.sin(turn)])
    corners: Sequence[tuple[float, float]] = (
        (-half_w, half_l),
        (half_w, half_l),
        (half_w, -half_l),
        (-half_w, -half_l),
    )
    return np.array(corners)
