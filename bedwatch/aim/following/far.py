"""A camera that was knocked far, turned or zoomed: its old surroundings are looked for all over the new picture."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Array = NDArray[np.floating[Any]]
Pose = NDArray[np.float64]

_TURNS_DEG = (0.0, -1.2, 1.2, -2.4, 2.4, -3.6, 3.6)
_ZOOMS = (0.0, -0.022, 0.022, -0.045, 0.045)
_FARTHEST = 0.14  # of the picture's width
_PLAIN = 4.0  # grey levels; what varies less is not enlarged
_ALIKE = 0.25  # correlation from which a place is worth a closer look
_BROAD = 9.0


class Far:
    """Correlates first pictures with a new one under shifts, turns and zooms.

    mean: (rows, cols) of the first pictures, soft. where: (rows, cols) what stands still in them. centre: (u, v) of turns.
    Poses are (right, down, turn in rad, ln zoom), in pixels of these pictures.
    """

    def __init__(self, mean: Array, where: NDArray[np.bool_], centre: tuple[float, float]) -> None:
        self._centre = centre
        self._where = cv2.blur(where.astype(np.float32), (5, 5))
        self._plain = plain(mean) * self._where
        self._shape = mean.shape
        self._reach = max(4, round(_FARTHEST * mean.shape[1]))

    def guesses(self, picture: Array) -> Iterator[Pose]:
        """Poses worth a closer look: a plain shift first, then the best of turns and zooms."""
        seen = self._seen(picture)
        likeness, pose = self._best(seen, 0.0, 0.0)
        if likeness > _ALIKE:
            yield pose
        tried = [
            self._best(seen, float(np.radians(turn)), zoom) for turn, zoom in itertools.product(_TURNS_DEG, _ZOOMS)
        ]
        tried.sort(key=lambda pair: -pair[0])
        for likeness, pose in tried[:3]:
            if likeness > _ALIKE:
                yield pose

    def unmoved(self, picture: Array) -> bool:
        """Whether the first pictures, unturned, are most alike to this one where they were."""
        likeness, pose = self._best(self._seen(picture), 0.0, 0.0)
        return likeness > _ALIKE / 2 and float(np.hypot(pose[0], pose[1])) <= 1.5

    def _seen(self, picture: Array) -> NDArray[np.complexfloating[Any, Any]]:
        return np.asarray(np.fft.rfft2(plain(picture)), np.complex128)

    def _best(self, seen: NDArray[np.complexfloating[Any, Any]], turn: float, zoom: float) -> tuple[float, Pose]:
        """Highest correlation over all shifts, and its pose."""
        model = self._plain
        if turn or zoom:
            scale = float(np.exp(zoom))
            c, s = scale * np.cos(turn), scale * np.sin(turn)
            (u, v) = self._centre
            there = np.array([[c, -s, u - c * u + s * v], [s, c, v - s * u - c * v]])
            size = (self._shape[1], self._shape[0])
            model = np.asarray(cv2.warpAffine(model, there, size, flags=cv2.INTER_LINEAR), np.float32)
        both = np.fft.irfft2(seen * np.conj(np.fft.rfft2(model)), s=self._shape)
        reach = self._reach
        near = np.roll(both, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]
        row, column = np.unravel_index(int(np.argmax(near)), near.shape)
        # Both are about unit variance, so that the model's own energy is what perfect likeness gives.
        likeness = float(near[row, column] / max(float((model * model).sum()), 1e-6))
        return likeness, np.array([column - reach, row - reach, turn, zoom], np.float64)


def plain(picture: Array) -> Array:
    """Structure without light: the picture less its surroundings, over their contrast."""
    low = cv2.GaussianBlur(picture, (0, 0), _BROAD)
    high = cv2.subtract(picture, low)
    spread = np.sqrt(cv2.GaussianBlur(cv2.multiply(high, high), (0, 0), _BROAD))
    return np.asarray(high / (spread + _PLAIN), np.float32)


__all__ = ["Far", "plain"]
