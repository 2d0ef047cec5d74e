"""What stands round a bed, seen in sectors: a hand or a tool comes in over it, an eruption does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture, pick
from bedwatch.middle import middle

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

SECTORS = 36
_MEMORY_S, _LEARN_LOOKS = 4.0, 6
# A place is another one when its brightness is off by this (natural logarithm, after what the sector's and all the
# surroundings' light does), and by so many times what it usually is; a sector, when this share of its places is.
_OFF, _TIMES, _SHARE = 0.16, 4.0, 0.10
_LEAST_PLACES = 8
# Light takes dark and bright places of a sector along; what stands in front puts its own tone over both, so that the change goes
# down with what was there before, one for one. They must differ by so much (standard deviation of the logarithm) to tell; else
# many sectors that get darker or brighter alike are light: no arm is as wide.
_SLOPE, _UNLIKE, _ALIKE, _WIDE = -0.5, 0.07, 0.4, 10
_FEW = 3  # shadows are wider than fewer sectors; a thin hook over a varied bench may pass for one
_MOST = 0.6  # when so many sectors change at once it is the camera, and tells nothing
_AROUND = np.mgrid[-1:2, -1:2].reshape(2, 9, 1)[::-1]  # nine pixels: right, down
_LOG = np.log(np.maximum(np.arange(256), 12)).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """(SECTORS,) each. seen: sectors that can be seen. other: where something stands in front. shaded: where only the light is
    another one. either: where it may be the one or the other, the surroundings being all of one tone."""

    seen: Mask
    other: Mask
    shaded: Mask
    either: Mask


class Beside:
    """Watches places round the bed. at_px: (places, 2) pixels (u, v). sector: (places,) 0 to SECTORS - 1, from +x
    anticlockwise."""

    def __init__(self, at_px: Array, sector: NDArray[np.intp]) -> None:
        u, v = (np.rint(at_px[None, :, side]).astype(np.int16) + _AROUND[side].astype(np.int16) for side in (0, 1))
        self._at_px = np.stack([u, v], axis=-1)
        self._shape: tuple[int, ...] = ()
        self._sector = sector
        self._count = np.bincount(sector, minlength=SECTORS)
        self.seen: Mask = self._count >= _LEAST_PLACES
        self.forget()

    def forget(self) -> None:
        self._usual: Array | None = None
        self._scatter: Array = np.zeros(len(self._sector))
        self._now: Array = np.zeros(0)
        self._looks = 0

    def look(self, picture: Picture) -> Sides:
        """What has changed in this picture against the usual look."""
        nowhere = self.seen & False
        none = Sides(seen=self.seen, other=nowhere, shaded=nowhere, either=nowhere)
        if not self.seen.any():
            return none
        plane = picture if picture.ndim == 2 else picture[..., 1]
        if plane.shape != self._shape:
            self._shape = plane.shape
            self._at_px = np.clip(self._at_px, 0, np.array(plane.shape[::-1], np.int16) - 1)
        # The mean of some pixels: noise and the camera's trembling count for less.
        nine = cv2.reduce(pick(plane, self._at_px), 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[0]
        self._now = _LOG[(nine + 4) // 9]
        if self._usual is None:
            self._usual = self._now
            return none
        if self._looks < _LEARN_LOOKS:
            return none
        off = self._off()
        strange = np.abs(off) > np.maximum(_OFF, _TIMES * self._scatter)
        number = self._per_sector(strange.astype(np.float64))
        changed = self.seen & (number >= _SHARE * self._count)
        per = 1 / np.maximum(number, 1)
        mean, before = (per * self._per_sector(np.where(strange, of, 0.0)) for of in (off, self._usual))
        change, contrast = off - mean[self._sector], self._usual - before[self._sector]
        squares = [
            per * self._per_sector(np.where(strange, of, 0.0)) for of in (change**2, contrast**2, change * contrast)
        ]
        told = (squares[1] > _UNLIKE**2) & (number >= _LEAST_PLACES)
        shaded = changed & told & (squares[2] > _SLOPE * squares[1])
        alike = changed & ~told & (squares[0] < (_ALIKE * mean) ** 2)
        if (alike | shaded).sum() > _WIDE:
            shaded |= alike
        if (changed & ~shaded).sum() > _MOST * self.seen.sum():
            return none
        if shaded.sum() < _FEW:
            told, shaded = told & ~shaded, shaded & False
        either = changed & ~shaded & ~told
        return Sides(seen=self.seen, other=changed & ~shaded & told, shaded=shaded, either=either)

    def _per_sector(self, values: Array) -> Array:
        return np.asarray(np.bincount(self._sector, values, minlength=SECTORS), np.float64)

    def learn(self, gap_s: float) -> None:
        """Take the newest picture for usual, gap_s after the one before."""
        if self._usual is None or not len(self._now):
            return
        off = self._off()
        weight = 1 / (self._looks + 2) if self._looks < _LEARN_LOOKS else min(1.0, gap_s / _MEMORY_S)
        self._usual = self._usual + weight * (self._now - self._usual)
        self._scatter = self._scatter + weight * (np.abs(off) - self._scatter)
        self._looks += 1

    def _off(self) -> Array:
        assert self._usual is not None
        off = self._now - self._usual
        return np.asarray(off - middle(off), np.float64)
