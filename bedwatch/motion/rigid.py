"""Fits one turn and one shift that carry a whole picture to another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.gradients import Image, Slopes

Array = NDArray[np.floating[Any]]

# The slope filters, and the resampling, reach so far over the wall, in pixels, fine to coarse.
_RIM_PX = (4, 2, 2)
_RIDGE = 1e-4  # of the mean slope, so that a way of moving that nothing shows stays at none


@dataclass(frozen=True, slots=True)
class Level:
    """One size of picture. inner: 1 where no filter reaches the wall. x_mm, y_mm: places from the bed's axis; reach_mm: their
    root mean square distance from it."""

    inner: Image
    x_mm: Image
    y_mm: Image
    px_mm: float
    middle_px: Array
    reach_mm: float

    def source(self, moved: Array) -> Array:
        """(2, 3) from pixels of the second picture to where they were in the first. moved: turn in rad, shift in mm."""
        cos, sin = np.cos(moved[0]), np.sin(moved[0])
        back = np.array([[cos, sin], [-sin, cos]])
        return np.column_stack([back, self.middle_px - back @ (self.middle_px + moved[1:] / self.px_mm)])


@dataclass(frozen=True, slots=True)
class Fit:
    """moved: turn (rad) and shift (mm). seen: 1 where both pictures see powder. rest: what it leaves of the change.
    lopsided: slopes across the steepest way of moving against those across the flattest, squared."""

    moved: Array
    seen: Image
    rest: Image
    lopsided: float


def levels(visible: NDArray[np.bool_], px_mm: float, middle_px: Array) -> list[Level]:
    """The picture's own size and its halves. visible: (rows, cols) powder; middle_px: (2,) x and y of the bed's axis."""
    made = []
    for rim_px in _RIM_PX:
        kernel = np.ones((2 * rim_px + 1, 2 * rim_px + 1), np.uint8)
        inner = cv2.erode(np.pad(visible.astype(np.uint8), rim_px), kernel)[rim_px:-rim_px, rim_px:-rim_px]
        y, x = np.mgrid[: visible.shape[0], : visible.shape[1]].astype(np.float32)
        x_mm, y_mm = ((of - np.float32(at)) * np.float32(px_mm) for of, at in zip((x, y), middle_px, strict=True))
        reach_mm = float(np.sqrt((x_mm**2 + y_mm**2)[inner > 0].mean())) if inner.any() else 0.0
        made.append(Level(np.ascontiguousarray(inner, np.float32), x_mm, y_mm, px_mm, middle_px, reach_mm))
        halves = visible.reshape(visible.shape[0] // 2, 2, visible.shape[1] // 2, 2)
        visible = np.asarray(halves.all(axis=(1, 3)), np.bool_)
        px_mm, middle_px = 2 * px_mm, (middle_px - 0.5) / 2
    return made


def fit(level: Level, then: Slopes, now: Slopes, moved: Array, steps: int, among: Image | None = None) -> Fit | None:
    """Gauss & Newton's steps to the turn and shift that leave least of the change (Baker & Matthews 2004, Int. J. Comput. Vis.
    56(3), 221-255). Where they end, the filters' gain and the noise in the slopes have no say.

    moved: where to begin, turn (rad) and shift (mm). among: (rows, cols) 1 where the picture has a say. None where
    nothing is seen.

    Resampling is Lanczos': the simpler ones shift a ripple of some pixels by several hundredths of a pixel.
    """
    if level.reach_mm == 0.0:
        return None
    size = (now.value.shape[1], now.value.shape[0])
    along_x, along_y = now.along_x / np.float32(level.px_mm), now.along_y / np.float32(level.px_mm)
    turned = cv2.subtract(cv2.multiply(along_y, level.x_mm), cv2.multiply(along_x, level.y_mm))
    ways = np.stack([turned, along_x, along_y]).reshape(3, -1)
    unit = np.array([1 / level.reach_mm, 1.0, 1.0])
    for _ in range(steps):
        source = level.source(moved)
        seen = cv2.warpAffine(level.inner, source, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
        seen = cv2.multiply(seen, level.inner)
        carried = cv2.warpAffine(then.value, source, size, flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP)
        rest = cv2.multiply(cv2.subtract(now.value, carried), seen)
        weighted = ways * (seen if among is None else cv2.multiply(seen, among)).ravel()
        tensor = (weighted @ ways.T) * np.outer(unit, unit)
        pull = (weighted @ rest.ravel()) * unit
        mean = float(np.trace(tensor)) / 3
        if not mean > 0:
            return None
        moved = moved - unit * np.linalg.solve(tensor + _RIDGE * mean * np.eye(3), pull)
    least, *_, most = np.linalg.eigvalsh(tensor)
    return Fit(moved, np.asarray(seen, np.float32), np.asarray(rest, np.float32), float(most / max(least, 1e-12)))
