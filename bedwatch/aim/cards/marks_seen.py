"""Marks in pictures: OpenCV's detector, and its corners made sharper from the straight sides of the marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import MODULES, card_of
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

Grey = NDArray[np.float32]
_LARGE_PX = 2200  # pictures below this are searched at twice their size too: small marks are read better
_ALONG, _STEP_PX = 16, 0.25


@lru_cache(maxsize=1)
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)


def mark_bits(mark: int) -> NDArray[np.bool_]:
    """(7, 7) which modules of a mark are white, upright, its black border included."""
    return np.asarray(cv2.aruco.generateImageMarker(_dictionary(), mark, MODULES) > 127, np.bool_)


def grey_mean(pictures: Sequence[Picture]) -> Grey:
    """The mean (height, width) of pictures of one size, grey: camera noise fades, cards that lie still stay."""
    total = np.zeros(pictures[0].shape[:2], np.float32)
    for picture in pictures:
        cv2.accumulate(picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), total)
    return np.asarray(total / len(pictures), np.float32)


def marks_in(grey: Grey) -> dict[int, Points]:
    """Corners (4, 2) in pixels of each mark seen in a grey picture, clockwise from the upper left of the mark upright.

    A mark that is seen in two places is left out. Pixel centres lie at whole numbers.
    """
    picture = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    found = _read(picture)
    if max(picture.shape) < _LARGE_PX:
        twice = np.asarray(cv2.resize(picture, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC), np.uint8)
        for mark, quads in _read(twice).items():
            known = found.setdefault(mark, [])
            back = [(quad + 0.5) / 2 - 0.5 for quad in quads]
            known += [quad for quad in back if all(np.abs(quad - other).max() > 3.0 for other in known)]
    return {mark: sharpened(grey, quads[0]) for mark, quads in found.items() if len(quads) == 1}


def is_mirrored(grey: Grey) -> bool:
    """Whether marks can be read in the mirror image of the picture only."""
    return len(marks_in(np.ascontiguousarray(grey[:, ::-1]))) >= 3


def _read(picture: NDArray[np.uint8]) -> dict[int, list[Points]]:
    """Where OpenCV reads marks of our cards. Shapes differ between its versions; here they become one."""
    how = cv2.aruco.DetectorParameters()
    how.minMarkerPerimeterRate = 0.01
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax, how.adaptiveThreshWinSizeStep = 5, 45, 10
    corners, ids, _ = cv2.aruco.ArucoDetector(_dictionary(), how).detectMarkers(picture)
    found: dict[int, list[Points]] = {}
    numbers = np.asarray([] if ids is None else ids, np.intp).reshape(-1)
    for mark, quad in zip(map(int, numbers), corners, strict=True):
        found.setdefault(mark, []).append(np.asarray(quad, np.float64).reshape(4, 2))
    return found


def sharpened(grey: Grey, quad: Points) -> Points:
    """Corners (4, 2) of a black square on white from straight lines through its four sides; as given where none fit.

    Along each side the brightness is read across it; the side lies where it is half-way between paper and ink. The
    corners themselves are rounded by blur and are left out.
    """
    lines = []
    for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        line = _side(grey, a, b)
        if line is None:
            return quad
        lines.append(line)
    corners = [np.cross(lines[i - 1], lines[i]) for i in range(4)]
    sharp = np.array([[x / w, y / w] for x, y, w in corners])
    reach = 0.08 * np.hypot(*(quad[2] - quad[0])) + 1.0
    return np.asarray(sharp if np.abs(sharp - quad).max() < reach else quad, np.float64)


def _side(grey: Grey, a: Points, b: Points) -> NDArray[np.float64] | None:
    """The line (l, m, n), l u + m v + n = 0, of the side from a to b of a dark quadrangle that runs clockwise as seen."""
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    outward = np.array([along[1], -along[0]])
    reach = max(1.5, 0.9 * length / MODULES)
    across = np.arange(-reach, reach + 1e-9, _STEP_PX)
    share = np.linspace(0.12, 0.88, _ALONG)
    for _ in range(2):
        at = a + share[:, None] * (b - a)
        u, v = (at[:, None, i] + across * outward[i] for i in (0, 1))
        light = cv2.remap(
            grey, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        crossing = _crossings(np.asarray(light, np.float64), across)
        good = np.isfinite(crossing)
        if good.sum() < _ALONG // 2:
            return None
        good &= np.abs(crossing - np.nanmedian(crossing)) < max(0.5, 0.03 * length)
        if good.sum() < _ALONG // 2:
            return None
        slope, level = np.polyfit(share[good], crossing[good], 1)
        a, b = a + level * outward, b + (level + slope) * outward
        along = (b - a) / np.hypot(*(b - a))
        outward = np.array([along[1], -along[0]])
    return np.array([outward[0], outward[1], -float(outward @ a)])


def _crossings(light: NDArray[np.float64], across: NDArray[np.float64]) -> NDArray[np.float64]:
    """Per row of (n, k) where brightness, rising outward, passes half-way between its ends; NaN where it does not."""
    out = np.full(len(light), np.nan)
    dark = light[:, : len(across) // 2].min(axis=1)
    bright = light[:, len(across) // 2 :].max(axis=1)
    for i, row in enumerate(light):
        half = (dark[i] + bright[i]) / 2
        if bright[i] - dark[i] < 10.0:
            continue
        up = np.flatnonzero((row[:-1] <= half) & (row[1:] > half))
        if len(up) == 0:
            continue
        k = up[np.argmin(np.abs(across[up]))]
        out[i] = across[k] + (half - row[k]) / (row[k + 1] - row[k]) * (across[k + 1] - across[k])
    return out


def of_one_set(found: Mapping[int, Points]) -> dict[int, Points]:
    """The marks of that size of card of which most are seen; others are stray readings."""
    factors = [card_of(mark)[0].factor for mark in found]
    most = max(set(factors), key=factors.count, default=None)
    return {mark: quad for mark, quad in found.items() if card_of(mark)[0].factor == most}


__all__ = ["grey_mean", "is_mirrored", "mark_bits", "marks_in", "of_one_set", "sharpened"]
