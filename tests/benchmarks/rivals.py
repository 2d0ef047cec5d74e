"""General-purpose methods on the pictures that bedwatch measures: root mean square speed per zone, nothing taken out.

OpenCV's DIS flow (Kroeger et al. 2016) and Farnebäck's (2003), its pyramidal Lucas & Kanade (Bouguet 2001) on a lattice,
OpenPIV's `extended_search_area_piv` on every tenth pair, and plain differencing: change over slope, one frame to the next.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, zone_index
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame

Grey = NDArray[np.uint8]
Array = NDArray[np.float64]
EVERY = 10  # of the pairs one in so many


class Pictures:
    """Pairs of pictures that follow each other, laid flat as the instrument has them."""

    def __init__(self, aim: Aim, bed: Bed, size_px: tuple[int, int]) -> None:
        self._rectifier = Rectifier(aim, bed, size_px)
        self.step_mm = self._rectifier.step_mm
        xy = self._rectifier.xy_mm
        zone = zone_index(bed, xy.reshape(-1, 2)).reshape(xy.shape[:2])
        self.zone: NDArray[np.intp] = np.where(self._rectifier.visible, zone, -1)
        self.zones = len(bed.zones)
        self.pairs: list[tuple[Grey, Grey, float]] = []
        self._before: tuple[Grey, float] | None = None
        self._number = 0

    def take(self, frame: Frame) -> None:
        self._number += 1
        if self._number % EVERY not in (0, 1):
            return
        flat = self._rectifier.rectify(frame.picture).copy()
        if self._before is not None and self._number % EVERY == 1:
            self.pairs.append((self._before[0], flat, frame.time_s - self._before[1]))
        self._before = flat, frame.time_s

    def by_zone(self, squared: Array, of: NDArray[np.intp]) -> Array:
        """(zones,) root mean square of values that each lie in a zone (or in none, -1)."""
        held = of >= 0
        total = np.bincount(of[held], squared[held], self.zones)
        return np.asarray(np.sqrt(total / np.maximum(np.bincount(of[held], minlength=self.zones), 1)))


Dense = Callable[[Grey, Grey], NDArray[np.float32]]


def _dis(first: Grey, second: Grey) -> NDArray[np.float32]:
    method = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    return np.asarray(method.calc(first, second, np.zeros((*first.shape, 2), np.float32)), np.float32)


def _farneback(first: Grey, second: Grey) -> NDArray[np.float32]:
    start = np.zeros((*first.shape, 2), np.float32)
    return np.asarray(cv2.calcOpticalFlowFarneback(first, second, start, 0.5, 4, 21, 3, 7, 1.5, 0), np.float32)


def _by_flow(method: Dense) -> Callable[[Pictures], Array]:
    def speeds(pictures: Pictures) -> Array:
        seen = []
        for first, second, step_s in pictures.pairs:
            flow = method(first, second) * (pictures.step_mm / step_s)
            seen.append((flow.astype(np.float64) ** 2).sum(axis=-1))
        return pictures.by_zone(np.mean(seen, axis=0).ravel(), pictures.zone.ravel())

    return speeds


def _lattice(pictures: Pictures) -> Array:
    rows, cols = np.mgrid[4 : pictures.zone.shape[0] : 8, 4 : pictures.zone.shape[1] : 8]
    zone = pictures.zone[rows, cols].ravel()
    points = np.stack([cols.ravel(), rows.ravel()], axis=-1).astype(np.float32)[:, None]
    squared, of = [], []
    for first, second, step_s in pictures.pairs:
        found, status, _ = cv2.calcOpticalFlowPyrLK(first, second, points, points.copy(), winSize=(15, 15), maxLevel=3)
        kept = status.ravel() > 0
        moved = (found - points)[kept, 0].astype(np.float64) * (pictures.step_mm / step_s)
        squared.append((moved**2).sum(axis=-1))
        of.append(zone[kept])
    return pictures.by_zone(np.concatenate(squared), np.concatenate(of))


def _openpiv(pictures: Pictures) -> Array:
    from openpiv.pyprocess import extended_search_area_piv, get_rect_coordinates

    squared, of = [], []
    for first, second, step_s in pictures.pairs:
        u, v, _ = extended_search_area_piv(
            first.astype(np.int32), second.astype(np.int32), window_size=24, overlap=12, search_area_size=32
        )
        x, y = get_rect_coordinates(first.shape, 32, 12)
        moved = (u**2 + v**2) * (pictures.step_mm / step_s) ** 2
        good = np.isfinite(moved)
        squared.append(np.asarray(moved[good], np.float64))
        of.append(pictures.zone[y[good].astype(int), x[good].astype(int)])
    return pictures.by_zone(np.concatenate(squared), np.concatenate(of))


def _differencing(pictures: Pictures) -> Array:
    change, slope = [], []
    for first, second, step_s in pictures.pairs:
        one, two = first.astype(np.float64), second.astype(np.float64)
        along = np.gradient((one + two) / 2)
        change.append(((two - one) / step_s) ** 2)
        slope.append((along[0] ** 2 + along[1] ** 2) / 2)
    held = pictures.zone.ravel()
    top, bottom = (pictures.by_zone(np.mean(part, axis=0).ravel(), held) for part in (change, slope))
    return np.asarray(top / bottom * pictures.step_mm)


RIVALS: dict[str, Callable[[Pictures], Array]] = {
    "DIS": _by_flow(_dis),
    "Farnebäck": _by_flow(_farneback),
    "pyramidal LK": _lattice,
    "OpenPIV": _openpiv,
    "differencing": _differencing,
}


def speeds_by(name: str, pictures: Pictures) -> Array:
    """(zones,) speed in mm/s by one of `RIVALS`."""
    return RIVALS[name](pictures)
