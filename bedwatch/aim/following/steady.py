"""Whether the camera stands still: patches of the picture are followed, and their common shift is the camera's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

PATCH, PATCHES, TRIED = 64, 8, 20
TRIAL = 10  # pictures after which only the stillest patches are kept
LIKE = 0.5  # share of a patch's contrast that may change before it is no longer the same thing
SOFT_PX = 2.5  # blur before comparing: shifts of this size are still seen
NEAR_PX = 1.5  # farther than this the straight-line estimate is not trusted
FARTHEST_PX = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    """A patch as it was first seen. solver: (2, n) takes brightness differences to a shift (Lucas & Kanade 1981)
    by slopes (2, n). contrast: standard deviation of its brightness.
    """

    top: int
    left: int
    values: NDArray[np.float32]
    solver: NDArray[np.float32]
    slopes: NDArray[np.float32]
    contrast: float


class Steadiness:
    """Shift of the camera against the first frame, from the patches that agree (moving powder disagrees)."""

    def __init__(self) -> None:
        self._patches: list[_Patch] = []
        self._shape: tuple[int, ...] = ()
        self._unlike: NDArray[np.float64] = np.zeros(0)
        self._seen = 0
        self._window = cv2.createHanningWindow((PATCH // 2, PATCH // 2), cv2.CV_32F)

    def shift(self, picture: Picture) -> tuple[float, float] | None:
        """(right, down) in pixels; None when too few patches agree."""
        plane = picture[..., 1] if picture.ndim == 3 else picture
        if plane.shape != self._shape:
            self._shape = plane.shape
            self._patches = _choose(plane)
            self._unlike, self._seen = np.zeros(len(self._patches)), 0
            return (0.0, 0.0) if len(self._patches) >= 3 else None
        if len(self._patches) < 3:
            return None
        seen = [_soft(plane, patch.top, patch.left) for patch in self._patches]
        shifts, unlike = [], []
        for patch, here in zip(self._patches, seen, strict=True):
            miss = (here - patch.values)[1:-1, 1:-1].ravel()
            miss -= miss.mean()
            shift = patch.solver @ miss
            rest = miss + shift @ patch.slopes
            unlike.append(float(np.sqrt((rest @ rest) / rest.size)) / patch.contrast)
            shifts.append(2.0 * shift)
        self._prune(np.array(unlike))
        still = [shift for shift, share in zip(shifts, unlike, strict=True) if share < LIKE]
        found = _common(still, 0.3)
        if found is not None and np.hypot(*found) < NEAR_PX:
            return found
        far = []
        for patch, here in zip(self._patches, seen[: len(self._patches)], strict=False):
            (right, down), alike = cv2.phaseCorrelate(patch.values, here, self._window)
            if alike > LIKE:
                far.append(2.0 * np.array([right, down]))
        return _common(far, 0.8)

    def _prune(self, unlike: NDArray[np.float64]) -> None:
        """After the trial keep the patches that changed least: the bench stands still, powder does not."""
        self._seen += 1
        if self._seen <= TRIAL:
            self._unlike += np.minimum(unlike, 2.0)
        if self._seen == TRIAL:
            order = np.argsort(self._unlike)[:PATCHES]
            self._patches = [self._patches[index] for index in order if self._unlike[index] < LIKE * TRIAL]


def _common(shifts: Sequence[NDArray[np.floating]], within_px: float) -> tuple[float, float] | None:
    """The mean of the shifts that agree with the middle one, if at least half of them do."""
    if len(shifts) < 3:
        return None
    every = np.array(shifts, np.float64)
    middle = np.median(every, axis=0)
    agree = np.hypot(*(every - middle).T) < within_px
    if agree.sum() < max(3, 0.5 * len(every)) or np.abs(middle).max() > FARTHEST_PX:
        return None
    right, down = every[agree].mean(axis=0)
    return float(right), float(down)


def _soft(plane: Picture, top: int, left: int) -> NDArray[np.float32]:
    """A patch at half size, blurred, float32."""
    part = plane[top : top + PATCH, left : left + PATCH].astype(np.float32)
    return np.asarray(cv2.GaussianBlur(part, (0, 0), SOFT_PX)[::2, ::2], np.float32)


def _choose(plane: Picture) -> list[_Patch]:
    """The patches with the clearest structure both ways, those near the picture's border first."""
    h, w = plane.shape
    if h < 2 * PATCH or w < 2 * PATCH:
        return []
    found = []
    for top in np.linspace(2, h - PATCH - 3, min(8, h // PATCH)).astype(int):
        for left in np.linspace(2, w - PATCH - 3, min(12, w // PATCH)).astype(int):
            values = _soft(plane, int(top), int(left))
            gx = (values[1:-1, 2:] - values[1:-1, :-2]).ravel() / 2
            gy = (values[2:, 1:-1] - values[:-2, 1:-1]).ravel() / 2
            tensor = np.array([[gx @ gx, gx @ gy], [gx @ gy, gy @ gy]], np.float64)
            least = float(np.linalg.eigvalsh(tensor)[0])
            edge = max(abs(2 * (left + PATCH / 2) / w - 1), abs(2 * (top + PATCH / 2) / h - 1))
            if least > 0.25 * gx.size:
                solver = -np.linalg.solve(tensor, np.stack([gx, gy]).astype(np.float64)).astype(np.float32)
                slopes = np.stack([gx, gy]).astype(np.float32)
                patch = _Patch(
                    top=int(top),
                    left=int(left),
                    values=values,
                    solver=solver,
                    slopes=slopes,
                    contrast=float(values.std()),
                )
                found.append((min(least, 20.0 * gx.size) * (0.2 + edge**3), patch))
    found.sort(key=lambda pair: -pair[0])
    return [patch for _, patch in found[:TRIED]]
