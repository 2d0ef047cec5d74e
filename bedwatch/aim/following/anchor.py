"""Where the camera stands against its first pictures, read from what stands still round the bed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.following.far import Far
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.middle import middle

Array = NDArray[np.floating[Any]]
Pose = NDArray[np.float64]

_SMALL_PX = 360.0  # the picture's longer side is brought down to about this
_SOFT_PX = 2.2
_SLOW = 21  # small pixels: what varies more slowly is light
_CLEAR = 1.05  # of the surface's outline: nearer in the powder reaches
_FAR = 1.9  # beyond this many times the outline people walk about
_SECTORS = 16
_LEARN = 8  # pictures whose mean is the place to compare with
_LEAST_SLOPE = 0.3  # mean squared slope, grey levels squared per small pixel, both ways, that is needed to tell
_NEAR = 0.4  # small pixels up to which one step is enough
_FARTHEST = 3.0  # small pixels beyond which a straight-line estimate is not believed
_STRANGE = 0.6  # of the surroundings' contrast that no shift explains: this is another view
_SURE = 0.45  # of it, up to which a far move is believed
_MOST = 4000  # pixels with the steepest slopes are enough
_MOVES = 4.0  # times the usual change while learning: not a thing that stands still
_RIDGE = np.diag(
    [1e-6, 1e-6, 2.4e6, 2.4e6]
)  # turns and zooms of 3 degrees, 5 % are as likely as one grey level of noise
_STEPS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Where the camera stands: the picture moved (right, down) by shift_px at the bed's centre, turned by turn_rad (clockwise
    in the picture) and grown by the factor exp(zoom) about it. edge_px: how far turn and zoom move the bed's edge.
    """

    shift_px: tuple[float, float]
    turn_rad: float
    zoom: float
    edge_px: float


class Anchor:
    """Follows the surroundings of one bed: rim, wall of the tub, bench; the whole picture's still parts where they show nothing.

    `look` gives a `Stand`, or None when that cannot be told. blind: there is too little that is still and structured.
    astray: the newest picture shows the surroundings otherwise, or too far away to follow; `seek` then looks far, and
    `learn_anew` takes the new look for granted.
    """

    def __init__(self, aim: Aim, bed: Bed, size_px: tuple[int, int]) -> None:
        self._shrink = max(1, round(max(size_px) / _SMALL_PX))
        self._size = (size_px[0] // self._shrink, size_px[1] // self._shrink)
        self._crop = (slice(0, self._size[1] * self._shrink), slice(0, self._size[0] * self._shrink))
        self._round = _surroundings(aim, bed, self._size, self._shrink)
        centre = aim.pixels(np.zeros((1, 2)))[0]
        self._centre = (centre + 0.5) / self._shrink - 0.5
        edge = aim.pixels(_outline(bed)) - centre
        self._radius = float(np.nanmedian(np.hypot(*edge.T))) / self._shrink
        self._sum: Array = np.zeros((self._size[1], self._size[0]), np.float32)
        self._squares: Array = np.zeros_like(self._sum)
        self._count = 0
        self._pose: Pose = np.zeros(4)
        self._far: Far | None = None
        self.newest: Array = self._sum
        self.lines: Array = self._sum
        self.mean: Array = self._sum
        self.mean_lines: Array = self._sum
        self.mask: NDArray[np.bool_] = np.zeros(self._sum.shape, np.bool_)
        self._where = self._round[0] >= 0
        self.blind = False
        self.astray = False

    @property
    def away(self) -> float:
        """How far the newest known place of the picture is from the first, small pixels at the bed's edge."""
        return self._reach(self._pose)

    @property
    def small_size(self) -> tuple[int, int]:
        """(width, height) of the small picture."""
        return self._size

    @property
    def shrink(self) -> int:
        """Pixels of the picture along a small pixel."""
        return self._shrink

    @property
    def learning(self) -> bool:
        """Whether the first pictures are still being gathered."""
        return self._count < _LEARN

    def learn_anew(self) -> None:
        """The next pictures are the place to compare with from now on."""
        self._sum, self._squares = np.zeros_like(self._sum), np.zeros_like(self._sum)
        self._count, self.astray, self.blind = 0, False, False
        self._pose = np.zeros(4)

    def shift(self, picture: Picture) -> tuple[float, float] | None:
        """(right, down) in pixels at the bed's centre, as in `look`."""
        stand = self.look(picture)
        return None if stand is None else stand.shift_px

    def look(self, picture: Picture) -> Stand | None:
        """Look at one picture, BGR or grey, of the size given at the start."""
        if self.blind:
            return None
        small = self.newest = self._small(picture)
        self.lines = _lines(small)
        if self.learning:
            self._learn(small)
            return None if self.blind else self._stand(self._pose)
        near = self.away < _NEAR / 2
        pose, strange = self._follow(self.lines, np.zeros(4) if near else self._pose)
        moved = pose - self._pose
        self.astray = strange > _STRANGE or self._reach(moved) > _FARTHEST
        if self.astray:
            return None
        self._pose = pose
        return self._stand(pose)

    def seek(self) -> Stand | None:
        """Look far for the surroundings in the newest picture; None unless they are surely found.

        What is found is followed from then on.
        """
        if self.blind or self.learning:
            return None
        if self._far is None:
            self._far = Far(self.mean, self._where, (float(self._centre[0]), float(self._centre[1])))
        for guess in self._far.guesses(self.newest):
            pose, strange = self._follow(self.lines, guess, steps=_STEPS)
            if strange < _SURE and self._reach(pose - guess) < 2 * _FARTHEST:
                self._pose, self.astray = pose, False
                return self._stand(pose)
        return None

    @property
    def unmoved(self) -> bool:
        """Whether the newest picture, strange as it is, resembles the first ones most where they were."""
        return self._far is not None and self._far.unmoved(self.newest)

    def _reach(self, move: Pose) -> float:
        return float(np.hypot(move[0], move[1]) + self._radius * np.hypot(move[2], move[3]))

    def _stand(self, pose: Pose) -> Stand:
        return Stand(
            shift_px=(float(pose[0] * self._shrink), float(pose[1] * self._shrink)),
            turn_rad=float(pose[2]),
            zoom=float(pose[3]),
            edge_px=float(self._radius * np.hypot(pose[2], pose[3]) * self._shrink),
        )

    def _follow(self, small: Array, pose: Pose, steps: int = 2) -> tuple[Pose, float]:
        """Least-squares steps (Lucas & Kanade 1981) from a pose, and what is left over as a share of the contrast."""
        for step in range(steps):
            move, strange = self._step(small, pose)
            pose = pose + move
            if self._reach(move) < (_NEAR / 20 if step else _NEAR / 2):
                break
        return pose, strange

    def _step(self, small: Array, pose: Pose) -> tuple[Pose, float]:
        if not pose.any():
            seen = small[self.mask]
        else:
            scale, (sin, cos) = np.exp(pose[3]), (np.sin(pose[2]), np.cos(pose[2]))
            u = (scale * (cos * self._x - sin * self._y) + self._centre[0] + pose[0]).astype(np.float32)
            v = (scale * (sin * self._x + cos * self._y) + self._centre[1] + pose[1]).astype(np.float32)
            there = cv2.remap(small, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            seen = np.asarray(there[:, 0], np.float32)
        # What light and exposure do to the whole is taken out before places are compared.
        seen = np.asarray(seen - seen.mean(), np.float32)
        miss = seen * np.float32(self._contrast / max(float(seen.std()), 1e-3)) - self._level
        use = self._all
        for turn in range(2):
            slopes = self._slopes[:, use] if turn else self._slopes
            left = miss[use] if turn else miss
            matrix = (slopes @ slopes.T if turn else self._matrix) + _RIDGE
            move = -np.linalg.solve(matrix, slopes @ left).astype(np.float64)
            rest = miss + move.astype(np.float32) @ self._slopes
            use = self._agreeing(rest)
        return move, float(np.sqrt(np.mean(rest[use] ** 2)) / max(self._contrast, 1e-3))

    def _small(self, picture: Picture) -> Array:
        part = picture[self._crop]
        plane = part if part.ndim == 2 else np.asarray(cv2.extractChannel(part, 1))
        small = cv2.resize(plane, self._size, interpolation=cv2.INTER_AREA)
        return np.asarray(cv2.GaussianBlur(small.astype(np.float32), (0, 0), _SOFT_PX), np.float32)

    def _learn(self, small: Array) -> None:
        self._sum = self._sum + small
        self._squares = self._squares + small * small
        self._count += 1
        if self.learning:
            return
        self.mean = np.asarray(self._sum / self._count, np.float32)
        change = self._squares / self._count - self.mean**2
        self._far = None
        around = self._round[0] >= 0
        if self._choose(around, change):
            return
        # Nothing to see round the bed: what stands still within it will do as long as it does.
        inner = np.ones_like(around)
        edge = round(3 * _SOFT_PX)
        inner[:edge], inner[-edge:], inner[:, :edge], inner[:, -edge:] = False, False, False, False
        self.blind = not self._choose(inner, change)

    def _choose(self, where: NDArray[np.bool_], change: Array) -> bool:
        """Take the steepest still places of a region to follow; whether they are enough."""
        lines = self.mean_lines = _lines(self.mean)
        right = np.asarray(cv2.Sobel(lines, cv2.CV_32F, 1, 0, scale=1 / 8))
        down = np.asarray(cv2.Sobel(lines, cv2.CV_32F, 0, 1, scale=1 / 8))
        if where.sum() < 200:
            return False
        still = where & (change <= _MOVES * max(float(np.median(change[where])), 0.02))
        steep = np.hypot(right, down)
        few = np.sort(steep[still])[-_MOST:]
        if len(few) < 200:
            return False
        self._where = where
        self.mask = still & (steep >= few[0])
        self._sector = self._round[1][self.mask]
        v, u = np.nonzero(self.mask)
        self._x = (u - self._centre[0]).astype(np.float32)[:, None]
        self._y = (v - self._centre[1]).astype(np.float32)[:, None]
        gx, gy = right[self.mask], down[self.mask]
        x, y = self._x[:, 0], self._y[:, 0]
        self._slopes = np.stack([gx, gy, gy * x - gx * y, gx * x + gy * y]).astype(np.float32)
        self._matrix = self._slopes @ self._slopes.T
        level = lines[self.mask]
        self._contrast = float(level.std())
        self._level = level - level.mean()
        self._all = np.ones(len(level), np.bool_)
        tensor = self._matrix[:2, :2] / len(level)
        return float(np.linalg.eigvalsh(tensor)[0]) >= _LEAST_SLOPE

    def _agreeing(self, rest: Array) -> NDArray[np.bool_]:
        """Pixels of the sectors that the pose explains as well as it does most: who walks by is left out."""
        energy = np.bincount(self._sector, rest**2, minlength=_SECTORS)
        count = np.bincount(self._sector, minlength=_SECTORS)
        mean = energy / np.maximum(count, 1)
        usual = middle(mean[count > 0])
        return np.asarray((mean <= 3 * usual + 1e-9)[self._sector], np.bool_)


def _lines(small: Array) -> Array:
    """Edges and grain without the slow part, which light and veils change."""
    return np.asarray(cv2.subtract(small, cv2.blur(small, (_SLOW, _SLOW))), np.float32)


def _surroundings(aim: Aim, bed: Bed, size: tuple[int, int], shrink: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The sector round the bed's centre of the small pixels that lie round it, -1 for others; and that of all pixels."""
    mask = np.zeros((size[1], size[0]), np.uint8)
    centre = aim.pixels(np.zeros((1, 2)))[0] / shrink
    outline = _outline(bed)
    for times, value in ((_FAR, 1), (_CLEAR, 0)):
        corners = aim.pixels(outline * times) / shrink
        if not np.isfinite(corners).all():
            corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float64)
        cv2.fillPoly(mask, [np.clip(np.round(corners), -30000, 30000).astype(np.int32)], (value,))
    inside = mask > 0
    edge = round(3 * _SOFT_PX)
    inside[:edge], inside[-edge:], inside[:, :edge], inside[:, -edge:] = False, False, False, False
    v, u = np.mgrid[0 : size[1], 0 : size[0]]
    angle = np.arctan2(v - centre[1], u - centre[0])
    sector = np.floor((angle / (2 * np.pi) + 0.5) * _SECTORS).astype(np.intp) % _SECTORS
    return np.where(inside, sector, -1), sector


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


__all__ = ["Anchor", "Stand"]
