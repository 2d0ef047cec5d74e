"""First guesses of the turn and shift that carry a whole picture to another: from short steps, longer ones and the longest."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.blocks import Comparison
from bedwatch.motion.gradients import Image, Slopes, halve, slopes
from bedwatch.motion.rigid import Level, fit

Array = NDArray[np.floating[Any]]
Scales = tuple[Slopes, Slopes]

# One turn and shift explain this share of the blocks' displacements, or of the coarse picture's change: a few hundredths in a
# bed of powder, a tenth at the most, and nearly all where a piece moves.
_WORTH_A_SEARCH = 0.25
_STEPS = (2, 3)  # of least squares on the coarse and the coarsest picture, where 16 mm are less than two pixels
# Squares that are looked for: their width, how far, and how far apart they lie. Wider ones would turn out of step with the
# fastest discs, smaller ones are found everywhere.
_SQUARE_MM, _REACH_MM, _APART_MM = 30.0, 18.0, 30.0
_ALIKE, _NEAR_PX, _AGREE, _LEAST, _MOST = 0.4, 1.3, 0.6, 6, 40


def by_blocks(pair: Comparison, weight: Array, x_mm: Array, y_mm: Array, px_mm: float) -> Array | None:
    """Turn and shift, rad and mm, that fit the blocks' own displacements best; None where they are no single motion.

    weight: (rows, cols) of every block; x_mm, y_mm: where its window lies. Least squares, a textbook result.
    """
    weight = weight / max(float(weight.sum()), 1e-12)
    shift = (pair.shift_x * px_mm, pair.shift_y * px_mm)
    x, y = weight * x_mm, weight * y_mm
    mean_x, mean_y = float(x.sum()), float(y.sum())
    along_x, along_y = (float((weight * of).sum()) for of in shift)
    around = float((x * shift[1] - y * shift[0]).sum()) - (mean_x * along_y - mean_y * along_x)
    spread = float((x * x_mm + y * y_mm).sum()) - mean_x**2 - mean_y**2
    turn = around / max(spread, 1e-9)
    whole = float((weight * (shift[0] ** 2 + shift[1] ** 2)).sum())
    if turn * around + along_x**2 + along_y**2 <= _WORTH_A_SEARCH * whole:
        return None
    return np.array([turn, along_x + turn * mean_y, along_y - turn * mean_x])


def coarse_to_fine(levels: list[Level], then: Scales, now: Scales) -> Array | None:
    """The same from the coarse pictures, starting with no motion; None where one motion explains little there."""
    moved: Array = np.zeros(3)
    pictures = ((levels[2], _coarser(then[1]), _coarser(now[1]), _STEPS[1]), (levels[1], then[1], now[1], _STEPS[0]))
    for level, one, other, steps in pictures:
        found = fit(level, one, other, moved, steps)
        if found is None:
            return None
        change = cv2.multiply(cv2.subtract(other.value, one.value), found.seen)
        if float((found.rest**2).sum()) > (1 - _WORTH_A_SEARCH) * float((change**2).sum()):
            return None
        moved = found.moved
    return moved


def by_matching(level: Level, then: Image, now: Image) -> Array | None:
    """The same from squares of the fine picture that are looked for all around; None where most do not agree.

    It is the way for patterns so fine that every step is longer than they are. Squares that are found by chance agree with no
    others (consensus of samples: Fischler & Bolles 1981, Commun. ACM 24(6), 381-395; of two squares here, each pair once).
    """
    half, reach, apart = (max(2, round(of / level.px_mm)) for of in (_SQUARE_MM / 2, _REACH_MM, _APART_MM))
    edge = half + reach
    inside = cv2.erode(level.inner, np.ones((2 * half + 1, 2 * half + 1), np.uint8), borderValue=0)
    rows, cols = (np.arange(edge + (size - 2 * edge) % apart // 2, size - edge, apart) for size in inside.shape)
    squares = [(row, col) for row in rows.tolist() for col in cols.tolist() if inside[row, col]]
    at, moves = [], []
    for row, col in squares[:: -(-len(squares) // _MOST) or 1]:
        square = then[row - half : row + half + 1, col - half : col + half + 1]
        around = now[row - edge : row + edge + 1, col - edge : col + edge + 1]
        _, best, _, (x, y) = cv2.minMaxLoc(cv2.matchTemplate(around, square, cv2.TM_CCOEFF_NORMED))
        at.append((level.x_mm[row, col], level.y_mm[row, col]))
        moves.append((x - reach, y - reach) if best > _ALIKE else (np.nan, np.nan))
    px = np.array(moves, np.float64).reshape(-1, 2)
    # Most of a bed of powder stays nearly in its place.
    if np.count_nonzero(np.hypot(px[:, 0], px[:, 1]) > _NEAR_PX) < max(_LEAST, _AGREE * len(px)):
        return None
    return _agreed(np.array(at, np.float64), px * level.px_mm, _NEAR_PX * level.px_mm)


def _agreed(at: Array, moves: Array, near_mm: float) -> Array | None:
    """Turn and shift that most moves (n, 2) of places (n, 2) agree with, within so many mm; None where none has most."""
    one, other = np.triu_indices(len(at), 1)
    along, moved = at[other] - at[one], moves[other] - moves[one]
    turn = (along[:, 0] * moved[:, 1] - along[:, 1] * moved[:, 0]) / (along**2).sum(axis=1)
    across = np.column_stack([-at[:, 1], at[:, 0]])
    shift = moves[one] - turn[:, None] * across[one]
    off = moves[None] - shift[:, None] - turn[:, None, None] * across[None]
    agree = np.hypot(off[..., 0], off[..., 1]) < near_mm
    best = int(agree.sum(axis=1).argmax())
    if agree[best].sum() < max(_LEAST, _AGREE * len(at)):
        return None
    rest = (moves - turn[best] * across)[agree[best]].mean(axis=0)
    return np.array([turn[best], *rest])


def _coarser(scale: Slopes) -> Slopes:
    return slopes(halve(scale.value))
