"""What is kept of each frame to tell what ails the camera: a coarse lattice of places, and the figures taken from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Picture, pick

PLACES = 6400  # looked at in each frame
BANDS = 16  # bands of rows: a rolling shutter turns flicker into stripes, two to four in a picture
ROUND = 1.10  # of the bed's outline: what lies farther out stands still
LEAST_SHARE = 0.05  # of the places that must lie round the bed for them to be the witness
CLIPPED = 250  # of the brightest channel
REFERENCE_S = 2.0  # memory of what brightness is compared with
_LIMIT = 0.3
_UPDATE_S = 0.15
LOG = np.log(np.arange(256) + 6.0).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tones:
    """low, high: grey levels that 2 and 98 of 100 places stay under. clipped: share of places as bright as
    the camera can tell, in one channel at least."""

    low: float
    high: float
    clipped: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One frame's figures.

    whole, bed: tones of the picture and of the powder surface (None while it is not known where that is).
    bands: (16,) mean ln brightness of rows against the last seconds. level: against the first frame.
    tint: ln red over green and blue over green (0 for grey pictures). lost: how many before it are missing, or were the one
    before again. frames: how many frames on from the look before this one.
    """

    time_s: float
    whole: Tones
    bed: Tones | None
    bands: NDArray[np.float64]
    level: float
    tint: tuple[float, float]
    lost: int
    same: bool
    shift_px: tuple[float, float] | None
    frames: int = 1


class Lattice:
    """Places of a picture: grey levels, and which of them lie on the bed or stand still round it."""

    def __init__(self, shape: tuple[int, ...], aim: Aim | None = None, bed: Bed | None = None) -> None:
        self.shape = shape
        step = max(1, round((shape[0] * shape[1] / PLACES) ** 0.5))
        v, u = np.mgrid[step // 2 : shape[0] : step, step // 2 : shape[1] : step]
        self._at_px = np.stack([u, v], axis=-1).astype(np.int16)
        self.on_bed: NDArray[np.bool_] | None = None
        still = np.ones(u.shape, np.bool_)
        if aim is not None and bed is not None:
            times = outlying(aim, bed, np.stack([u, v], axis=-1).astype(np.float64))
            self.on_bed = times < 0.97
            around = times > ROUND
            if around.mean() >= LEAST_SHARE:
                still = around
            if self.on_bed.sum() < 50:
                self.on_bed = None
        self.still: NDArray[np.bool_] = still
        self._still8 = still.astype(np.uint8)
        self._weight = still.astype(np.float32)
        rows = still.sum(axis=1).astype(np.float64)
        band = np.minimum((np.arange(len(rows)) * BANDS) // max(1, len(rows)), BANDS - 1)
        sums = np.zeros((BANDS, len(rows)))
        sums[band, np.arange(len(rows))] = 1.0
        self.per_band: NDArray[np.float64] = sums @ rows
        self._sums = sums / np.maximum(self.per_band, 1.0)[:, None]
        self._first: NDArray[np.float32] | None = None
        self._reference: NDArray[np.float32] | None = None
        self._last_s = 0.0
        self._drift = 0.0

    def grey(self, frame: Frame) -> Picture:
        """The places of a picture, grey (rows, cols)."""
        part = pick(frame.picture, self._at_px)
        return part if part.ndim == 2 else np.asarray(cv2.cvtColor(part, cv2.COLOR_BGR2GRAY), np.uint8)

    def colours(self, frame: Frame) -> Picture:
        """The places of a picture: (rows, cols, 3) BGR, or (rows, cols) where there is no colour."""
        return frame.colours(self._at_px)

    def compare(self, grey: Picture, time_s: float) -> tuple[NDArray[np.float64], float]:
        """(16,) ln brightness of bands of still places against the last seconds, and all of them against the first."""
        logs = LOG[grey]
        if self._first is None or self._reference is None:
            self._first, self._reference, self._last_s = logs, logs.copy(), time_s
        change = logs - self._reference
        np.clip(change, -_LIMIT, _LIMIT, out=change)
        bands = self._sums @ np.einsum("ij,ij->i", change, self._weight).astype(np.float64)
        level = self._drift + float(bands @ self.per_band) / max(1.0, float(self.per_band.sum()))
        if time_s - self._last_s > _UPDATE_S:
            weight = np.float32(min(1.0, (time_s - self._last_s) / REFERENCE_S))
            self._reference += weight * (logs - self._reference)
            drift = np.clip(self._reference - self._first, -0.5, 0.5)
            self._drift, self._last_s = float(np.vdot(drift, self._weight) / self._weight.sum()), time_s
        return bands, level

    def tint(self, part: Picture) -> tuple[float, float]:
        """ln red over green and blue over green of the still places."""
        if part.ndim == 2:
            return 0.0, 0.0
        blue, green, red, _ = np.log(np.array(cv2.mean(part, self._still8)) + 2.0)
        return float(red - green), float(blue - green)

    def tones(self, part: Picture, grey: Picture) -> tuple[Tones, Tones | None]:
        """Of all places, and of those on the bed."""
        top = np.maximum(np.maximum(part[..., 0], part[..., 1]), part[..., 2]) if part.ndim == 3 else part
        whole = _tones(grey.ravel(), top.ravel())
        return whole, None if self.on_bed is None else _tones(grey[self.on_bed], top[self.on_bed])


def outlying(aim: Aim, bed: Bed, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far out of the bed pixels (..., 2) look: 1 on the outline of the surface, 0 at its centre, infinite behind."""
    places = aim.places(pixels.reshape(-1, 2)).reshape(pixels.shape) / np.array([bed.width_mm / 2, bed.length_mm / 2])
    times = np.hypot(places[..., 0], places[..., 1]) if bed.shape == "round" else np.abs(places).max(axis=-1)
    return np.asarray(np.nan_to_num(times, nan=np.inf), np.float64)


def _tones(grey: Picture, top: Picture) -> Tones:
    count = np.bincount(grey, minlength=256).cumsum() / grey.size
    low, high = np.searchsorted(count, (0.02, 0.98))
    return Tones(low=float(low), high=float(high), clipped=float(np.count_nonzero(top >= CLIPPED) / top.size))


__all__ = ["BANDS", "Lattice", "Look", "Tones", "outlying"]
