"""How blurred a picture is, from its own strongest edges, and whether it has lost sharpness since the start."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

FINE_PX, COARSE_PX = 1.0, 3.0
MOST_PX = 230_000  # of a larger picture the middle is looked at


def blur_px(picture: Picture) -> float:
    """Standard deviation in pixels of the blur on the picture's clearest edges; NaN when no edge is clear enough.

    An edge of blur s, blurred further by 1 and by 3 px, has steepest slopes in the ratio
    sqrt((s^2 + 9) / (s^2 + 1)) (after Zhuo & Sim 2011, defocus from the gradient ratio of a re-blurred edge). Lines and
    grain read too sharp, never too blurred.
    """
    h, w = picture.shape[:2]
    if h * w > MOST_PX:
        keep = (MOST_PX / (h * w)) ** 0.5 / 2
        cut = slice(int(h * (0.5 - keep)), int(h * (0.5 + keep))), slice(int(w * (0.5 - keep)), int(w * (0.5 + keep)))
        picture = picture[cut]
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) if picture.ndim == 3 else picture
    values = np.asarray(grey, np.float32)
    slopes = []
    for sigma in (FINE_PX, COARSE_PX):
        soft = cv2.GaussianBlur(values, (0, 0), sigma)
        slopes.append(
            cv2.magnitude(
                cv2.Scharr(soft, cv2.CV_32F, 1, 0, scale=1 / 32), cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=1 / 32)
            )
        )
    fine, coarse = slopes
    peak = coarse >= cv2.dilate(coarse, np.ones((9, 9), np.uint8))
    clear = coarse[8:-8, 8:-8][peak[8:-8, 8:-8]]
    if len(clear) < 20:
        return float("nan")
    least = max(1.5, float(np.partition(clear, -20)[-20]) * 0.5)
    ridge = peak & (coarse >= least)
    ridge[:8], ridge[-8:], ridge[:, :8], ridge[:, -8:] = False, False, False, False
    if ridge.sum() < 12:
        return float("nan")
    tall = cv2.dilate(fine, np.ones((5, 5), np.uint8))
    ratio = float(np.percentile(tall[ridge] / coarse[ridge], 60)) ** 2
    if ratio <= 1.0:
        return 8.0
    return float(np.sqrt(max(0.0, (COARSE_PX**2 - ratio * FINE_PX**2) / (ratio - 1.0))))


_PATCH, _PATCHES = 40, 8
_LEARN = 5
_EVERY_S = 0.45
_LOST, _BACK = 0.6, 0.75  # of the first sharpness
_CONTRAST = 5.0  # grey levels a patch must have: in fainter ones the encoder's noise is all the fine structure
_MOSTLY = 0.6  # of a patch that must lie where things stand still
_LEAST = 4


class Focus:
    """Compares the fine structure of patches round the bed with that of the first pictures.

    A patch's sharpness is its mean squared slope over its variance: light and veils change both alike; a blur that widens
    edges k-fold divides it by k. around: (rows, cols, in any size) where things stand still.
    """

    def __init__(self, around: NDArray[np.bool_], level: float | None = None) -> None:
        """level: sharpness to compare with, from before the aim was changed; that of the first pictures otherwise."""
        self._around = around
        self._level = level
        self._places: list[tuple[int, int]] | None = None
        self._first: list[NDArray[np.float64]] = []
        self._seen_s = -np.inf
        self._since_s: float | None = None
        self.share = 1.0  # of the first sharpness that is left
        self.lost = False

    def add(self, picture: Picture, time_s: float, shift_px: tuple[float, float] = (0.0, 0.0)) -> None:
        """Look at one picture, at most every 0.45 s; shift_px: by how much it lies (right, down) of the first one."""
        if time_s - self._seen_s < _EVERY_S:
            return
        self._seen_s = time_s
        plane = picture[..., 1] if picture.ndim == 3 else picture
        if self._places is None:
            self._places = self._choose(plane, _MOSTLY, _CONTRAST)
            if len(self._places) < _LEAST:
                self._places = self._choose(plane, 0.0, 2 * _CONTRAST)  # the powder, where it is all there is
        if len(self._places) < _LEAST:
            return
        sharp = self._measure(plane, shift_px)
        if self._level is None and len(self._first) < _LEARN:
            self._first.append(sharp)
            return
        ratio = sharp / (np.median(self._first, axis=0) if self._level is None else self._level)
        self.share = float(np.nanmedian(ratio)) if np.isfinite(ratio).sum() >= _LEAST else 1.0
        if self.share > (_BACK if self.lost else _LOST):
            self._since_s, self.lost = None, False
        elif self._since_s is None:
            self._since_s = time_s
        else:
            self.lost = True

    @property
    def level(self) -> float | None:
        """The sharpness that is compared with, of the middle patch; None while it is not known."""
        if self._level is not None or len(self._first) < _LEARN:
            return self._level
        level = float(np.nanmedian(np.median(self._first, axis=0)))
        return level if np.isfinite(level) else None

    def _measure(self, plane: Picture, shift_px: tuple[float, float]) -> NDArray[np.float64]:
        assert self._places is not None
        out = np.full(len(self._places), np.nan)
        for index, (top, left) in enumerate(self._places):
            v, u = top + round(shift_px[1]), left + round(shift_px[0])
            if not (0 <= v <= plane.shape[0] - _PATCH and 0 <= u <= plane.shape[1] - _PATCH):
                continue
            part = np.asarray(plane[v : v + _PATCH, u : u + _PATCH], np.float32)
            out[index] = _slope(part) / max(float(part.var()), 1.0)
        return out

    def _choose(self, plane: Picture, least: float, contrast: float) -> list[tuple[int, int]]:
        rows, cols = self._around.shape
        h, w = plane.shape
        if h < 2 * _PATCH or w < 2 * _PATCH:
            return []
        found: list[tuple[float, tuple[int, int]]] = []
        for top in range(_PATCH // 3, h - _PATCH - _PATCH // 3, _PATCH):
            for left in range(_PATCH // 3, w - _PATCH - _PATCH // 3, _PATCH):
                here = self._around[
                    top * rows // h : (top + _PATCH) * rows // h + 1, left * cols // w : (left + _PATCH) * cols // w + 1
                ]
                if here.mean() < least:
                    continue
                part = np.asarray(plane[top : top + _PATCH, left : left + _PATCH], np.float32)
                if part.std() > contrast:
                    found.append((_slope(part), (top, left)))
        found.sort(reverse=True)
        return [place for _, place in found[:_PATCHES]]


def _slope(part: NDArray[np.floating[Any]]) -> float:
    right, down = part[:, 1:] - part[:, :-1], part[1:] - part[:-1]
    return float(np.mean(right * right) + np.mean(down * down))


__all__ = ["Focus", "blur_px"]
