"""Whether the camera stands still: small patches of the picture are followed, and their common shift is the camera's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.frame import Picture

PATCH, PATCHES = 48, 10
FARTHEST_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    """A patch as it was first seen. solver: (2, n) takes brightness differences to a shift (Lucas & Kanade 1981)."""

    top: int
    left: int
    values: NDArray[np.float32]
    solver: NDArray[np.float32]
    grain: float


class Steadiness:
    """Shift of the camera against the first frame, from the patches that agree (moving powder disagrees)."""

    def __init__(self) -> None:
        self._patches: list[_Patch] = []
        self._shape: tuple[int, ...] = ()

    def shift(self, picture: Picture) -> tuple[float, float] | None:
        """(right, down) in pixels, about +-4 at most; None when too few patches agree."""
        plane = picture[..., 1] if picture.ndim == 3 else picture
        if plane.shape != self._shape:
            self._shape = plane.shape
            self._patches = _choose(plane)
            return (0.0, 0.0)
        shifts = []
        for patch in self._patches:
            here = plane[patch.top : patch.top + PATCH, patch.left : patch.left + PATCH].astype(np.float32)
            miss = here - patch.values
            miss -= miss.mean()
            shift = patch.solver @ miss[1:-1, 1:-1].ravel()
            if np.abs(shift).max() < FARTHEST_PX:
                shifts.append(shift)
        if len(shifts) < 3:
            return None
        all_ = np.array(shifts)
        middle = np.median(all_, axis=0)
        agree = np.hypot(*(all_ - middle).T) < 0.25 + 0.3 * float(np.hypot(*middle))
        if agree.sum() < max(3, 0.4 * len(self._patches)):
            return None
        right, down = all_[agree].mean(axis=0)
        return float(right), float(down)


def _choose(plane: Picture) -> list[_Patch]:
    """The patches with the clearest structure both ways, most of them near the picture's border."""
    h, w = plane.shape
    if h < 2 * PATCH or w < 2 * PATCH:
        return []
    tops = np.linspace(2, h - PATCH - 3, min(8, h // PATCH)).astype(int)
    lefts = np.linspace(2, w - PATCH - 3, min(12, w // PATCH)).astype(int)
    found = []
    for top in tops:
        for left in lefts:
            values = plane[top : top + PATCH, left : left + PATCH].astype(np.float32)
            gx = (values[1:-1, 2:] - values[1:-1, :-2]).ravel() / 2
            gy = (values[2:, 1:-1] - values[:-2, 1:-1]).ravel() / 2
            tensor = np.array([[gx @ gx, gx @ gy], [gx @ gy, gy @ gy]])
            least = float(np.linalg.eigvalsh(tensor)[0])
            edge = max(abs(2 * (left + PATCH / 2) / w - 1), abs(2 * (top + PATCH / 2) / h - 1))
            if least > 1.5 * gx.size:
                solver = -np.linalg.solve(tensor, np.stack([gx, gy])).astype(np.float32)
                one = _Patch(top=int(top), left=int(left), values=values, solver=solver, grain=least)
                found.append((least * (0.3 + edge**2), one))
    found.sort(key=lambda pair: -pair[0])
    return [one for _, one in found[:PATCHES]]
