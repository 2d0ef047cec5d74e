"""The lattice of square blocks about 10 mm wide in which motion is solved for, and what one pair of frames says there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.gradients import Image, Slopes

# A block may serve when this share of the window it is solved in sees the powder.
LEAST_SEEN = 0.15
# Neighbouring blocks lend their sums with these weights: a window of about two block widths.
_POOL = np.array([0.25, 0.5, 0.25], np.float32)
# Added to the structure tensor, (per cent per pixel) squared: far below any pattern that can be followed, so that a
# featureless block answers "no shift" and not anything at all.
_LEAST_SLOPE = 1e-3
MOST_PRODUCTS = 6
_EDGE_PX = 2  # half width of the slope filter: nearer to the wall it would mix in the wall


class Lattice:
    """Blocks over one scale of a contrast picture.

    block_px: block width in pixels of that scale. shape: (rows, cols) of the lattice; the same for every scale when
    block_px halves with the picture. seen: (rows, cols) share of each block's own pixels that see powder; window: the same
    share for the window it is solved in; valid: window large enough.
    """

    def __init__(self, visible: NDArray[np.bool_], block_px: int) -> None:
        self.block_px = block_px
        rows, cols = visible.shape[0] // block_px, visible.shape[1] // block_px
        self.shape = (rows, cols)
        self._crop = (slice(0, rows * block_px), slice(0, cols * block_px))
        kernel = np.ones((2 * _EDGE_PX + 1, 2 * _EDGE_PX + 1), np.uint8)
        padded = np.pad(visible.astype(np.uint8), _EDGE_PX)
        inner = cv2.erode(padded, kernel)[_EDGE_PX:-_EDGE_PX, _EDGE_PX:-_EDGE_PX]
        self._weight = np.ascontiguousarray(inner.astype(np.float32))
        seen = self.share(self._weight)
        self.seen = seen
        pooled = self._pool(seen)
        self.window = pooled
        self.valid: NDArray[np.bool_] = pooled >= LEAST_SEEN
        self._per_pooled = np.where(pooled > 1e-3, 1.0 / np.maximum(pooled, 1e-3), 0.0).astype(np.float32)
        # Images of a whole number of blocks lie in it one below the other, each with a row of empty blocks at its end.
        tall = ((rows + 1) * block_px, cols * block_px)
        self._sheet = np.zeros((MOST_PRODUCTS, *tall), np.float32)
        weight = np.zeros((MOST_PRODUCTS, *tall), np.float32)
        weight[:, : rows * block_px] = self._weight[self._crop]
        self._sheet_weight = weight.reshape(-1, tall[1])

    def share(self, image: NDArray[Any]) -> Image:
        """Plain mean over each block. (rows, cols)."""
        rows, cols = self.shape
        return np.asarray(cv2.resize(image[self._crop], (cols, rows), interpolation=cv2.INTER_AREA), np.float32)

    @staticmethod
    def _pool(lattice: Image) -> Image:
        return np.asarray(
            cv2.sepFilter2D(lattice, cv2.CV_32F, _POOL, _POOL, borderType=cv2.BORDER_CONSTANT), np.float32
        )

    def mean(self, image: NDArray[Any]) -> Image:
        """Mean over the powder pixels of each block and, with half weight, its neighbours. (rows, cols)."""
        weighted = self.share(cv2.multiply(image, self._weight))
        return np.asarray(cv2.multiply(self._pool(weighted), self._per_pooled), np.float32)

    def means(self, products: Sequence[tuple[NDArray[Any], NDArray[Any]]]) -> Image:
        """The same of products of two images each, (len(products), rows, cols), in one go.

        images: of the shape of `visible`, float32. At most `MOST_PRODUCTS` of them.
        """
        rows, cols = self.shape
        for number, (one, other) in enumerate(products):
            cv2.multiply(one[self._crop], other[self._crop], dst=self._sheet[number, : rows * self.block_px])
        tall = self._sheet[: len(products)].reshape(-1, self._sheet.shape[2])
        cv2.multiply(tall, self._sheet_weight[: len(tall)], dst=tall)
        # A row of nothing lies below each image, so that the pooling of one does not reach the next.
        pooled = self._pool(_shrunk(tall, self.block_px))
        return np.asarray(pooled.reshape(len(products), rows + 1, cols)[:, :rows] * self._per_pooled, np.float32)


def _shrunk(image: Image, block_px: int) -> Image:
    """Means over squares of block_px pixels; by halves, which OpenCV does several times faster than by quarters."""
    while block_px % 2 == 0:
        size = (image.shape[1] // 2, image.shape[0] // 2)
        image, block_px = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32), block_px // 2
    if block_px == 1:
        return image
    size = (image.shape[1] // block_px, image.shape[0] // block_px)
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What two frames say about every block of one scale; all arrays (rows, cols), lengths in pixels of the scale.

    shift_x, shift_y: displacement from the first frame to the second that explains the change best.
    explained: part of `change` that this displacement accounts for.
    change: mean squared difference of the smoothed contrast, in per cent squared.
    slope: half the trace of the structure tensor along the path, (per cent per pixel) squared.
    alike: the same from slopes of the two frames multiplied crosswise: free of camera noise, and small when the
        texture was replaced.
    spread: trace of the inverse structure tensor: variance of the shift per unit of `change` noise.
    """

    shift_x: Image
    shift_y: Image
    explained: Image
    change: Image
    slope: Image
    alike: Image
    spread: Image


def compare(first: Slopes, second: Slopes, lattice: Lattice) -> Comparison:
    """Least-squares displacement of every block between two frames (Lucas & Kanade 1981, Proc. IJCAI, 674-679).

    The structure tensor is the mean of those of both frames and their cross tensor: Simpson's rule along the path,
    which leaves an error of (k d)^4 / 180 instead of (k d)^2 / 12 for a ripple of wave number k moved by d, so
    that one step without iteration holds to more than a pixel.
    """
    x1, y1, x2, y2 = first.along_x, first.along_y, second.along_x, second.along_y
    change = cv2.subtract(second.value, first.value)
    xs, ys = cv2.add(x1, x2), cv2.add(y1, y2)
    own = _own_tensor(first, lattice) + _own_tensor(second, lattice)
    products = ((x1, x2), (y1, y2), (xs, ys), (xs, change), (ys, change), (change, change))
    cross_x, cross_y, sums_xy, bx, by, changed = lattice.means(products)
    gxx = (own[0] + cross_x) / 3 + _LEAST_SLOPE
    gyy = (own[1] + cross_y) / 3 + _LEAST_SLOPE
    # x1 y1 + x2 y2 + (x1 y2 + x2 y1) / 2, the last from (x1 + x2)(y1 + y2).
    gxy = (own[2] + sums_xy) / 6
    bx, by = bx / 2, by / 2
    determinant = np.maximum(gxx * gyy - gxy * gxy, _LEAST_SLOPE**2)
    shift_x = -(gyy * bx - gxy * by) / determinant
    shift_y = -(gxx * by - gxy * bx) / determinant
    return Comparison(
        shift_x=shift_x,
        shift_y=shift_y,
        explained=-(shift_x * bx + shift_y * by),
        change=changed,
        slope=(gxx + gyy) / 2,
        alike=(cross_x + cross_y) / 2,
        spread=(gxx + gyy) / determinant,
    )


def _own_tensor(slopes: Slopes, lattice: Lattice) -> Image:
    """Block means of x², y² and x y of one frame, (3, rows, cols): most frames are compared several times."""
    known = slopes.tensors.get(lattice)
    if known is None:
        x, y = slopes.along_x, slopes.along_y
        known = slopes.tensors[lattice] = lattice.means(((x, x), (y, y), (x, y)))
    return known
