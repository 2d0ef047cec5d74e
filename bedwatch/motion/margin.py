"""The strip along the wall that no window is centred on: read from its neighbours by a straight line."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.blocks import Lattice

Array = NDArray[np.floating[Any]]

# Blocks whose window is cut by more than this are read from the line instead of from their own window alone.
_WHOLE = 0.97
_REACH_BLOCKS = 3.5
_LOOK = 6  # blocks whose window may lie within that reach


class Margin:
    """Corrects what blocks at the wall say for where their window really lies.

    A block at the wall is solved in a window that reaches inwards only, so that it reports a place some millimetres further
    in. A weighted straight-line fit (Cleveland 1979, J. Am. Stat. Assoc. 74, 829-836, with a fixed reach) through the
    blocks around, at the places their windows really lie, is read at the middle of the powder in the block.
    """

    def __init__(self, lattice: Lattice, bed: NDArray[np.floating[Any]], wanted: NDArray[np.bool_]) -> None:
        """bed: picture of the lattice's scale, 1 on powder, else 0. wanted: (rows, cols) blocks that are to be read."""
        rows, cols = lattice.shape
        middle, powder = _places(lattice, bed)
        window = np.clip(lattice.window, 0.0, 1.0).astype(np.float64).ravel()
        valid = lattice.valid.ravel()
        self._edge = np.flatnonzero(wanted.ravel() & (window < _WHOLE))
        self._shape = (rows, cols)
        near, there = _around(self._edge, rows, cols)
        offset = (middle[near] - powder[self._edge, None]) / lattice.block_px
        distance = np.hypot(offset[..., 0], offset[..., 1])
        weight = np.where(there & valid[near], window[near], 0.0)
        weight *= np.clip(1 - (distance / _REACH_BLOCKS) ** 3, 0, 1) ** 3
        weight[weight <= 1e-6] = 0.0
        design = np.concatenate([np.ones((*weight.shape, 1)), offset], axis=-1)
        weighted = design * weight[..., None]
        normal = np.einsum("ent,enu->etu", design, weighted) + np.diag([1e-9, 0.05, 0.05])
        line = np.linalg.solve(normal, np.swapaxes(weighted, 1, 2))[:, 0]
        mean = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-9)
        # Flat lists, an entry per pair of a block and one near it.
        self._row, which = np.nonzero(weight)
        self._near, self._line, self._mean = (of[self._row, which] for of in (near, line, mean))

    def read(self, values: Array) -> Array:
        """values (rows, cols) with those at the wall read from the line; never beyond twice what was seen nearby."""
        flat = np.asarray(values, np.float64).ravel().copy()
        count = len(self._edge)
        near = np.bincount(self._row, self._mean * flat[self._near], minlength=count)
        line = np.bincount(self._row, self._line * flat[self._near], minlength=count)
        flat[self._edge] = np.clip(line, np.minimum(0.5 * near, near), np.maximum(2 * near, 0.0))
        return flat.reshape(self._shape)


def _around(blocks: NDArray[np.intp], rows: int, cols: int) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """All that may lie within reach of each block, (blocks, n): its number, and whether it is there at all."""
    down, across = (of.ravel() for of in np.mgrid[-_LOOK : _LOOK + 1, -_LOOK : _LOOK + 1])
    row, col = blocks[:, None] // cols + down, blocks[:, None] % cols + across
    there = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    return np.where(there, row * cols + col, 0), there


def _places(lattice: Lattice, bed: NDArray[np.floating[Any]]) -> tuple[Array, Array]:
    """Middle of every block's window and of its powder, (blocks, 2) in pixels; a block without powder: its window's."""
    places = np.indices(bed.shape).astype(np.float32)
    y, x = np.asarray(places[0]), np.asarray(places[1])
    window = np.column_stack([lattice.mean(x).ravel(), lattice.mean(y).ravel()]).astype(np.float64)
    share = lattice.share(bed)
    powder = np.column_stack([lattice.share(bed * along).ravel() for along in (x, y)]).astype(np.float64)
    powder /= np.maximum(share, 1e-6).ravel()[:, None]
    empty = share.ravel() < 1e-6
    powder[empty] = window[empty]
    return window, powder
