"""Rolling bands of mains light, read from the still surroundings row by row, and taken out of the rectified picture."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.frame import Picture
from bedwatch.middle import middle

Array = NDArray[np.floating[Any]]

# So many rows and columns of the picture are looked at.
ROWS, COLUMNS = 96, 72
# Of a row's still columns so many are enough. After so many frames without bands three in a row of ten are looked at, or as many
# in a row as come when some are passed over.
_TAKEN = 24
_ALL_FRAMES, _LOOK_OF = 24, (3, 10)
# A row whose surroundings show in fewer columns than this is read from its neighbours.
_LEAST_COLUMNS = 4
# What a place looks like without bands: its mean over this time.
_MEMORY_S = 1.5
_LEARN_FRAMES = 12
# Bands are taken out when they are this strong (root mean square, natural logarithm), as both halves of the picture agree on it.
_BANDS_FROM, _BANDS_UNTIL = 0.0035, 0.002
_SMOOTH = 0.1
_TURNED = 0.7  # change of the change against the change, both squared: 1 for bands that roll on by a sixth from frame to frame
_MOST = 0.3
_LOG = np.log(np.maximum(np.arange(256), 4)).astype(np.float32)


class RowLight:
    """Light of each row of the picture against its own mean over time.

    A rolling shutter reads row after row, so that light of 100 or 120 Hz shows as bands across the whole picture that roll from
    frame to frame. What stands still around the bed tells them from motion.

    at_px: (ROWS, COLUMNS, 2) whole pixels (u, v) that are looked at, a row of them at one v. still: (ROWS, COLUMNS) which of them
    show still surroundings. active: whether there are bands now; began: since this very picture, so that those before it had
    them in. row_px: (rows, cols) picture row, v, behind each pixel of the rectified grid.
    """

    def __init__(self, at_px: NDArray[np.intp], still: NDArray[np.bool_], row_px: Array) -> None:
        enough = still.sum(axis=1) >= _LEAST_COLUMNS
        self._rows = np.flatnonzero(enough)
        self.blind = len(self._rows) < ROWS // 3
        self._v = at_px[:, 0, 1].astype(np.float64)
        chosen = [_spread(np.flatnonzero(still[row])) for row in self._rows]
        columns = np.stack(chosen) if chosen else np.zeros((0, _TAKEN), np.intp)
        rows = self._rows[:, None]
        self._at = (at_px[rows, columns, 1], at_px[rows, columns, 0])
        self._mean: Array | None = None
        self._count = self._frames = self._in_row = self._again_at = 0
        self._before: list[Array] = []  # both halves' rows in the last two frames, newest first
        self._before_frame = -1
        self._last_s = 0.0
        self._agree = [0.0, 0.0]  # mean squares of the change of the rows, and of its change
        self.active = self.began = False
        spacing = max(1e-6, (self._v[-1] - self._v[0]) / (len(self._v) - 1))
        self._row_of: NDArray[np.intp] = np.clip(np.rint((row_px - self._v[0]) / spacing), 0, len(self._v) - 1).astype(
            np.intp
        )

    def add(self, picture: Picture, time_s: float, number: int) -> Array | None:
        """Look at one picture, BGR or grey: (ROWS,) logarithm of each row's light over its mean, None without bands. number: the
        frame's, so that what was passed over is known."""
        self.began = False
        self._frames += 1
        if self.blind or (self._frames > _ALL_FRAMES and not self.active and number < self._again_at):
            return None
        follows = number == self._before_frame + 1
        self._in_row = self._in_row % _LOOK_OF[0] + 1 if follows else 1
        if self._in_row == _LOOK_OF[0]:
            self._again_at = number + 1 + _LOOK_OF[1] - _LOOK_OF[0]
        plane = picture if picture.ndim == 2 else picture[..., 1]
        logs = _LOG[plane[self._at]]
        if self._mean is None:
            self._mean = logs
        off = np.clip(logs - self._mean, -_MOST, _MOST)
        weight = 1 / (self._count + 1) if self._count < _LEARN_FRAMES else min(1.0, (time_s - self._last_s) / _MEMORY_S)
        self._mean = self._mean + np.float32(weight) * (logs - self._mean)
        self._count, self._last_s = self._count + 1, time_s
        halves: Array = np.median(off.reshape(len(off), 2, -1), axis=2).T
        rows = halves.mean(axis=0)
        rows = rows - middle(rows)
        if not follows:
            self._before.clear()
        if self._count > 2 and len(self._before) == 2:
            # Bands go across the whole picture; noise, encoders and a shadow's slant do otherwise on either side of it.
            rolled = halves - self._before[0]
            turned = rolled - self._before[0] + self._before[1]
            for number, (left, right) in enumerate((rolled, turned)):
                agree = float(np.mean((left - middle(left)) * (right - middle(right))))
                self._agree[number] += _SMOOTH * (agree - self._agree[number])
        self._before, self._before_frame = [halves, *self._before[:1]], number
        was = self.active
        strength = np.sqrt(max(0.0, self._agree[0]) / 2)
        self.active = strength > (_BANDS_UNTIL if self.active else _BANDS_FROM)
        # Haze and shadows go on as they went; bands have turned from one change to the next.
        self.active = self.active and self._agree[1] > _TURNED * self._agree[0]
        self.active = self.active and self._count >= _LEARN_FRAMES
        self.began = self.active and not was
        if not self.active:
            return None
        smooth = np.convolve(np.pad(rows, 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
        return np.asarray(np.interp(self._v, self._v[self._rows], smooth), np.float64)

    def even(self, rectified: NDArray[np.uint8], rows: Array) -> NDArray[np.uint8]:
        """The rectified picture without the bands. rows: as `add` gave them."""
        factor = np.exp(-rows).astype(np.float32)[self._row_of]
        return np.asarray(np.clip(rectified * factor + 0.5, 0, 255), np.uint8)


def _spread(columns: NDArray[np.intp]) -> NDArray[np.intp]:
    """_TAKEN of the columns, evenly; some twice where there are fewer."""
    return columns[np.linspace(0, len(columns) - 1, _TAKEN).round().astype(np.intp)]
