"""Dust in the air: a veil before the still surroundings, told from other light and from lost focus.

A veil of transmission t and colour A shows a place of brightness m as t m + A (1 - t) (Koschmieder 1924: contrast falls
by t, dark things are lifted). A longer exposure changes brightness and contrast by one factor; lost focus takes contrast
and leaves brightness.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

_TILE = 26  # small pixels
_LEAST_PIXELS = 60
_LEAST_SPREAD = 1.2  # grey levels of structure a tile must have
_EVERY_S = 0.3
_SMOOTH = 3  # looks
_UNLIKE = 0.3  # of a tile's contrast that its first look does not explain: something else is there
_FAINT = 0.5  # grey levels: so little is noise, whatever share of the contrast it is
_RICH = 6.0  # grey levels of structure beyond which it makes a tile no surer
_LEAST_DIM = 0.03
_WIDE = 0.2  # share of the surroundings that it must lie before at once, most of the time: who walks by hides less
_CLEAR_DIM = 0.06
_WINS = 0.5
_DARKEST_VEIL = 35.0
_LEAST_LOOKS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Haze:
    """dim: typical share of contrast taken or given back by the veil as it drifts (0 to 1). brightness: its grey level."""

    dim: float
    brightness: float


class Veil:
    """Watches tiles of still surroundings.

    mean: (rows, cols) of the first pictures; lines: the same without what varies slowly, which a veil itself may be;
    still: (rows, cols) where they stand still.
    """

    def __init__(self, mean: Array, lines: Array, still: NDArray[np.bool_], window_s: float = 10.0) -> None:
        rows, cols = mean.shape
        across = -(-cols // _TILE)
        v, u = np.nonzero(still[::2, ::2])
        tile = (2 * v // _TILE) * across + 2 * u // _TILE
        level, line = mean[::2, ::2][v, u].astype(np.float64), lines[::2, ::2][v, u].astype(np.float64)
        count = np.bincount(tile, minlength=across * -(-rows // _TILE))
        means = np.bincount(tile, level, minlength=len(count)) / np.maximum(count, 1)
        middles = np.bincount(tile, line, minlength=len(count)) / np.maximum(count, 1)
        spread = np.sqrt(np.bincount(tile, (line - middles[tile]) ** 2, minlength=len(count)) / np.maximum(count, 1))
        good = (count >= _LEAST_PIXELS / 2) & (spread >= _LEAST_SPREAD)
        number = np.where(good, np.cumsum(good) - 1, -1)
        keep = number[tile] >= 0
        self._at = (v[keep], u[keep])
        self._tile = number[tile][keep]
        self._count = count[good].astype(np.float64)
        self._mean, self._variance = means[good], spread[good] ** 2
        self._line = line[keep] - middles[good][self._tile]
        self._looks: deque[tuple[float, Array, Array, Array]] = deque()
        self._window_s = window_s
        self.blind = int(good.sum()) < 3

    def add(self, small: Array, lines: Array, time_s: float) -> None:
        """Look at one small picture that lies as the first ones do."""
        if self.blind or (self._looks and time_s - self._looks[-1][0] < _EVERY_S):
            return
        seen = small[::2, ::2][self._at].astype(np.float64)
        tiles = len(self._count)
        mean = np.bincount(self._tile, seen, minlength=tiles) / self._count
        line = lines[::2, ::2][self._at].astype(np.float64)
        miss = line - (np.bincount(self._tile, line, minlength=tiles) / self._count)[self._tile]
        slope = np.bincount(self._tile, miss * self._line, minlength=tiles) / self._count / self._variance
        variance = np.bincount(self._tile, miss * miss, minlength=tiles) / self._count
        rest = np.maximum(variance - slope * slope * self._variance, 0.0) / np.maximum(variance, 1e-6)
        self._looks.append((time_s, slope, mean, rest))
        while time_s - self._looks[0][0] > self._window_s:
            self._looks.popleft()

    def gains(self) -> NDArray[np.float64] | None:
        """(n, 2): time and ln contrast of the surroundings against the first pictures; None where too little is known."""
        if self.blind or len(self._looks) < _LEAST_LOOKS:
            return None
        slope = np.array([look[1] for look in self._looks])
        fine = np.array([look[3] for look in self._looks]) < _UNLIKE
        if fine.sum(axis=1).min() < 3:
            return None
        ordered = np.sort(np.where(fine, slope, np.inf), axis=1)
        middle = ordered[np.arange(len(ordered)), fine.sum(axis=1) // 2]
        times = np.array([look[0] for look in self._looks])
        return np.asarray(np.column_stack([times, np.log(np.maximum(middle, 0.05))]), np.float64)

    def haze(self, sure: bool = True) -> Haze | None:
        """What a veil before the surroundings did over the window; None when there was none, or other things explain it.

        sure: neither focus nor the camera's place has changed, which take contrast and leave brightness as a veil does that
        is as bright as what lies behind.
        """
        if self.blind or len(self._looks) < _LEAST_LOOKS:
            return None
        slope, mean, rest = (np.array([look[i] for look in self._looks]) for i in (1, 2, 3))
        fine = (rest < _UNLIKE) | (rest * slope**2 * self._variance < _FAINT**2)
        whole = _smooth(fine.astype(np.float64)) > 0.99
        dims = _smooth(1.0 - slope)
        dim, lift = dims[whole], _smooth(mean - self._mean)[whole]
        base = np.broadcast_to(self._mean, whole.shape)[whole]
        # A tile's slope is the surer the more structure it has.
        weight = np.broadcast_to(np.minimum(self._variance, _RICH**2), whole.shape)[whole]
        weight = weight / max(float(weight.mean()), 1e-6)
        if whole.sum() < 0.3 * whole.size or len(dim) < 20:
            return None
        amount = float(np.sqrt(np.mean(weight * dim**2)))
        at_once = float(np.median(((np.abs(dims) > _LEAST_DIM) & whole).sum(axis=1) / np.maximum(whole.sum(axis=1), 1)))
        if amount < _LEAST_DIM or at_once < _WIDE:
            return None
        scaled = lift + base * dim  # zero if all is exposure
        bright = float((weight * dim) @ scaled / ((weight * dim) @ dim))
        veil, exposure, focus = (float(weight @ miss**2) for miss in (scaled - bright * dim, scaled, lift))
        if bright < _DARKEST_VEIL or veil > _WINS * exposure:
            return None
        if veil > _WINS * focus and (not sure or amount < _CLEAR_DIM):
            return None
        return Haze(dim=amount, brightness=min(bright, 255.0))


def _smooth(values: Array) -> Array:
    """Means over _SMOOTH looks that follow one another: (n, tiles) to (n - _SMOOTH + 1, tiles)."""
    return np.asarray(sliding_window_view(values, _SMOOTH, axis=0).mean(axis=-1), np.float64)


__all__ = ["Haze", "Veil"]
