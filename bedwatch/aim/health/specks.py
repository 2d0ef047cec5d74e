"""Dust on the lens: soft blobs that stay put in the picture while the powder moves behind them.

Of a moving surface the mean over time is plain; what is left in it belongs to lens or lamp. A speck is round and soft
(second derivatives of one sign and alike, after Lindeberg 1998), and dims the powder's movement by as much as its
brightness: a spout stirs more than what lies about it, a dead patch less, a shadow's edge is long.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Array = NDArray[np.floating[Any]]

_BLOCK_S = 1.5
_MOST_BLOCKS = 16.0
_LEAST_BLOCKS = 3.0
_EVERY_S = 0.14
_LEAST_LOOKS = 5
_SCALES = (2.0, 3.2, 5.0)  # small pixels
_ROUNDNESS = 0.4
_LEAST = 0.012  # curvature over scale squared, as a share of the brightness
_STANDS_OUT = 5.0  # times the usual for the moving surface
_SURE = 5.0  # times its own error, from block to block
_LIVELY = 0.004  # change over time, as a share of the brightness, of a surface that moves
_LEFT = 0.7  # pattern left in the mean over the change in time: powder that moves leaves next to none
_LIKE = (0.5, 1.9)  # liveliness at the speck over that about it
_LEAST_PLACES = 400
_NUMBER, _LEAST_AREA = 3, 8  # of specks; of small pixels that one must stand out in
_ABOUT = 6.0
_DARKEST = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Specks:
    """number of specks before the powder; strongest: the share of light the strongest takes away or adds."""

    number: int
    strongest: float


@dataclass(slots=True)
class _Bend:
    """Second derivatives of ln brightness at one scale, summed over blocks; squares: of their mean."""

    scale: float
    xx: Array | float = 0.0
    yy: Array | float = 0.0
    xy: Array | float = 0.0
    squares: Array | float = 0.0

    def add(self, logs: Array, keep: float) -> None:
        soft = cv2.GaussianBlur(logs, (0, 0), self.scale)
        times = 0.25 * self.scale**2
        xx, yy, xy = (cv2.Sobel(soft, cv2.CV_32F, i, j, scale=times) for i, j in ((2, 0), (0, 2), (1, 1)))
        self.xx, self.yy, self.xy = keep * self.xx + xx, keep * self.yy + yy, keep * self.xy + xy
        self.squares = keep * self.squares + ((xx + yy) / 2) ** 2


@dataclass(slots=True)
class _Sums:
    count: float = 0.0
    mean: Array | float = 0.0
    squares: Array | float = 0.0
    within: Array | float = 0.0
    bends: tuple[_Bend, ...] = field(default_factory=lambda: tuple(_Bend(scale) for scale in _SCALES))


class Dust:
    """Gathers the mean picture of the powder's surface. powder: (rows, cols) where it lies in the small picture.

    specks: what is seen before the powder where it moves; None while none are, or nothing moves.
    """

    def __init__(self, powder: NDArray[np.bool_]) -> None:
        v, u = np.nonzero(powder)
        self.blind = len(v) < _LEAST_PLACES
        top, left, bottom, right = (0, 0, 1, 1) if self.blind else (v.min(), u.min(), v.max() + 1, u.max() + 1)
        self._cut = (slice(int(top), int(bottom)), slice(int(left), int(right)))
        self._powder = np.ascontiguousarray(powder[self._cut])
        self._weight = np.maximum(cv2.GaussianBlur(self._powder.astype(np.float32), (0, 0), _ABOUT), 1e-3)
        self._sums = _Sums()
        self._seen_s = -np.inf
        self._begin(-np.inf)
        self.specks: Specks | None = None

    def add(self, small: Array, time_s: float) -> None:
        """Look at one small picture that lies as the first ones do."""
        if self.blind:
            return
        if not 0 <= time_s - self._begun_s < _BLOCK_S:
            if self._count >= _LEAST_LOOKS:
                self._close()
                self.specks = self._look() if self._sums.count >= _LEAST_BLOCKS else None
            self._begin(time_s)
        if time_s - self._seen_s < _EVERY_S:
            return
        self._seen_s = time_s
        part = small[self._cut]
        self._sum += part
        self._squares += part * part
        self._count += 1

    def _begin(self, time_s: float) -> None:
        self._sum: Array = np.zeros(self._powder.shape, np.float32)
        self._squares: Array = np.zeros(self._powder.shape, np.float32)
        self._count, self._begun_s, self._seen_s = 0, time_s, -np.inf

    def _close(self) -> None:
        sums, mean = self._sums, self._sum / self._count
        keep = 1.0 if sums.count < _MOST_BLOCKS else 1.0 - 1.0 / _MOST_BLOCKS
        logs = np.log(np.maximum(mean, _DARKEST)).astype(np.float32)
        logs = np.where(self._powder, logs, np.float32(np.median(logs[self._powder])))
        sums.count = keep * sums.count + 1.0
        sums.mean = keep * sums.mean + mean
        sums.squares = keep * sums.squares + mean * mean
        sums.within = keep * sums.within + np.maximum(self._squares / self._count - mean * mean, 0.0)
        for bend in sums.bends:
            bend.add(logs, keep)

    def _look(self) -> Specks | None:
        sums, count = self._sums, self._sums.count
        mean = np.asarray(sums.mean / count, np.float32)
        change = np.sqrt(np.maximum(sums.within / count + sums.squares / count - mean * mean, 0.0))
        change = change / np.maximum(mean, _DARKEST)
        about = self._about(change)
        moves = self._powder & (about > _LIVELY)
        if not self._plain(mean, about, moves):
            return None
        best: Array = np.zeros(mean.shape)
        for bend in sums.bends:
            rim = np.ones((2 * int(2 * bend.scale) + 1,) * 2, np.uint8)
            inner = moves & (cv2.erode(self._powder.astype(np.uint8), rim) > 0)
            if inner.sum() < _LEAST_PLACES / 2:
                continue
            middle, half = (bend.xx + bend.yy) / 2 / count, np.hypot((bend.xx - bend.yy) / 2, bend.xy) / count
            small = np.abs(np.abs(middle) - half)  # the eigenvalue of smaller size
            spread = np.maximum(bend.squares / count - middle**2, 0.0)
            # OpenCV's running sums leave a little below nothing where there was little.
            around = np.maximum(cv2.blur(spread.astype(np.float32), (5, 5)), 0.0)
            error = np.sqrt(around / max(count - 1.0, 1.0))
            usual = 1.48 * float(np.median(small[inner]))
            round_ = (np.abs(middle) > half) & (small > _ROUNDNESS * (np.abs(middle) + half))
            floor = np.maximum(max(_LEAST, _STANDS_OUT * usual), _SURE * error)
            best = np.where(inner & round_ & (small > floor), np.maximum(best, small), best)
        return self._count_up(best, change, about)

    def _plain(self, mean: Array, about: Array, moves: NDArray[np.bool_]) -> bool:
        """Whether little of a pattern is left in the mean beside what changes: powder that lies still keeps its own."""
        if not moves.any():
            return False
        left = np.abs(mean - self._about(mean)) / np.maximum(mean, _DARKEST)
        return float(np.median(left[moves])) < _LEFT * float(np.median(about[moves]))

    def _count_up(self, best: Array, change: Array, about: Array) -> Specks | None:
        number, labels = cv2.connectedComponents((best > 0).astype(np.uint8), connectivity=8)
        found, strongest = 0, 0.0
        for label in range(1, number):
            here = labels == label
            ratio = float(change[here].mean() / max(float(about[here].mean()), 1e-6))
            if here.sum() >= _LEAST_AREA and _LIKE[0] < ratio < _LIKE[1]:
                found += 1
                strongest = max(strongest, float(best[here].max()))
        return Specks(number=found, strongest=min(1.0, 2.0 * strongest)) if found >= _NUMBER else None

    def _about(self, values: Array) -> Array:
        """Mean about each place, over the powder alone."""
        part = np.where(self._powder, values, 0.0).astype(np.float32)
        return np.asarray(cv2.GaussianBlur(part, (0, 0), _ABOUT) / self._weight, np.float32)


__all__ = ["Dust", "Specks"]
