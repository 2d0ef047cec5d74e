"""Straight bars that lie across a bed: what rods, arms and hangers are, and what a bed of powder hardly ever makes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

_TURNS = 12  # directions, 15 degrees apart
_PIECES = 4  # a bar is there when each of so many pieces, one after the other, stands out


class Bars:
    """Looks for bars in every direction. whole: (rows, cols) the cells that lie on the bed, at least one of them.

    piece, width, flank: length and width of a piece and how far to either side it is held against the bed, in cells.
    """

    def __init__(self, whole: Mask, *, piece: int, width: int, flank: int) -> None:
        rows, cols = whole.shape
        self._shape, self._piece, self._width, self._flank = (rows, cols), piece, width, flank
        side = _side(whole)
        y, x = np.mgrid[:side, :side] - (side - 1) / 2
        turns = [(np.cos(angle), np.sin(angle)) for angle in np.pi * np.arange(_TURNS) / _TURNS]
        self._u, self._v = (
            np.concatenate(part).astype(np.float32)
            for part in (
                [cos * x - sin * y + (cols - 1) / 2 for cos, sin in turns],
                [sin * x + cos * y + (rows - 1) / 2 for cos, sin in turns],
            )
        )

        inside = self._pieces(whole.astype(np.float32))
        self._within = (self._least(*self._sides(inside), inside[flank:-flank]) > 0.95).astype(np.float32)

    @staticmethod
    def fit(whole: Mask, *, piece: int, flank: int) -> bool:
        """Whether the bed is large enough for bars of that size."""
        return bool(whole.any()) and _side(whole) > max(2 * flank, _PIECES * piece)

    def _pieces(self, values: Array) -> Array:
        turned = cv2.remap(
            np.asarray(values, np.float32), self._u, self._v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
        return np.asarray(cv2.boxFilter(turned, -1, (self._piece, self._width), borderType=cv2.BORDER_CONSTANT))

    def _sides(self, mean: Array) -> tuple[Array, Array]:
        return mean[: -2 * self._flank], mean[2 * self._flank :]

    def _least(self, *of: Array) -> Array:
        """The least of all that is given, and of four pieces in a row."""
        one = of[0]
        for other in of[1:]:
            one = np.asarray(cv2.min(one, other))
        two = cv2.min(one[:, self._piece :], one[:, : -self._piece])
        return np.asarray(cv2.min(two[:, 2 * self._piece :], two[:, : -2 * self._piece]))

    def strongest(self, off: Array) -> list[tuple[float, tuple[int, int]]]:
        """By how much the clearest bar stands out, and where it is (for `blocks`). off: (rows, cols) or, for several at once,
        (rows, cols, n); 0 outside the bed.

        It stands out by the least of its pieces' differences to the bed on its two sides: neither the edge of a shadow nor
        a bubble does that.
        """
        mean = self._pieces(off)
        here, (left, right) = mean[self._flank : -self._flank], self._sides(mean)
        brighter = self._least(np.asarray(cv2.subtract(here, cv2.max(left, right))))
        darker = self._least(np.asarray(cv2.subtract(cv2.min(left, right), here)))
        found = []
        for one in cv2.split(cv2.max(brighter, darker)):
            _, most, _, at = cv2.minMaxLoc(cv2.multiply(one, self._within))
            found.append((most, (at[1] + self._flank, at[0])))
        return found

    def blocks(self, at: tuple[int, int], size: tuple[int, int]) -> Mask:
        """(rows, cols) of a grid of this size (across, down) that the bar covers."""
        row, col = at
        last = min(col + (_PIECES - 1) * self._piece, self._u.shape[1] - 1)
        scale = size[0] / self._shape[1], size[1] / self._shape[0]
        ends = [
            (round(float(self._u[row, end]) * scale[0]), round(float(self._v[row, end]) * scale[1]))
            for end in (col, last)
        ]
        drawn = np.zeros((size[1], size[0]), np.uint8)
        cv2.line(drawn, ends[0], ends[1], 1, max(1, round(self._width * scale[0])))
        return drawn > 0


def _side(whole: Mask) -> int:
    """Cells along a square that holds the bed however it is turned."""
    rows, cols = whole.shape
    at = np.argwhere(whole) - ((rows - 1) / 2, (cols - 1) / 2)
    return 2 * (int(np.hypot(at[:, 0], at[:, 1]).max()) + 1)
