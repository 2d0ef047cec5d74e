"""Shapes and means on the ground map: what grows, shrinks, hangs together."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
Kernel = NDArray[np.uint8]


def grow(mask: Mask, kernel: Kernel) -> Mask:
    """(rows, cols) marked places and all that the kernel reaches from them."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), kernel)) > 0


def shrink(mask: Mask, kernel: Kernel) -> Mask:
    """(rows, cols) places around which the whole kernel is marked; beyond the map all counts as marked."""
    eroded = cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=1)
    return np.asarray(eroded) > 0


def highest(values: Array, kernel: Kernel) -> Array:
    """(rows, cols) highest value that the kernel reaches."""
    return np.asarray(cv2.dilate(values.astype(np.float32), kernel), np.float32)


def box_sum(values: NDArray[Any], width: int) -> Array:
    """(rows, cols) sum over squares of so many places; nothing beyond the map."""
    summed = cv2.boxFilter(
        values.astype(np.float32), cv2.CV_32F, (width, width), normalize=False, borderType=cv2.BORDER_CONSTANT
    )
    return np.asarray(summed, np.float32)


def median3(values: Array) -> Array:
    """(rows, cols) median of each place and its eight neighbours."""
    return np.asarray(cv2.medianBlur(values.astype(np.float32), 3), np.float64)


def labelled(mask: Mask) -> tuple[int, NDArray[np.intp]]:
    """How many groups of marked places hang together, and (rows, cols) the number of each place's, from 1; 0 for none."""
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    return count - 1, np.asarray(labels, np.intp)


def disc_mean(values: Array, among: Mask, kernel: Kernel) -> Array:
    """(rows, cols) mean of the marked places that the kernel reaches; 0 where it reaches none."""
    weight = kernel.astype(np.float32)
    total = cv2.filter2D(np.where(among, values, 0.0).astype(np.float32), -1, weight, borderType=cv2.BORDER_CONSTANT)
    count = cv2.filter2D(among.astype(np.float32), -1, weight, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(total / np.maximum(count, 1.0), np.float64)


def softened(values: Array, among: Mask, sigma: float) -> Array:
    """(rows, cols) Gaussian mean of the marked places about each, sigma in places; the value itself where none is near."""
    mask = among.astype(np.float32)
    total = np.asarray(cv2.GaussianBlur(np.where(among, values, 0.0).astype(np.float32), (0, 0), sigma))
    weight = np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma))
    return np.asarray(np.where(weight > 0.02, total / np.maximum(weight, 0.02), values), np.float64)
