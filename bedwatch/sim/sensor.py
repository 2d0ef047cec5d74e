"""From clean pictures to what the camera hands out: shot noise, read noise, rounding to 8 bit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim.camera import Camera
from bedwatch.sim.stage import Stage

Image = NDArray[np.float32]
_SLACK = 1_000_003


def noise_table(camera: Camera) -> Image:
    """(256,) standard deviation (coded DN, rounding left out) against coded value.

    EMVA Standard 1288 (release 3.1, 2016), linear camera: variance = K² read² + K (mean - dark), with
    K = 1 / full well; the gamma curve scales it by its slope, taken no steeper than at 1 % of white.
    """
    span = 255.0 - camera.black_dn
    coded = np.clip((np.arange(256) - camera.black_dn) / span, 0, 1)
    light = coded**camera.gamma
    deviation = np.sqrt(camera.read_noise_e**2 + light * camera.full_well_e) / camera.full_well_e
    steepest = 1.0 if camera.gamma == 1.0 else 0.01 ** (1 / camera.gamma - 1)
    slope = np.minimum(np.maximum(light, 1e-9) ** (1 / camera.gamma - 1), steepest) / camera.gamma
    return np.asarray(deviation * slope * span, dtype=np.float32)


class Sensor:
    """Adds what moves to the still part of the picture, then noise; same seed and calls, same pictures.

    Unit noise is drawn once, as one long row, and read from a random place for each picture: white in space
    and from picture to picture, but for a chance repeat of one place in a million.
    """

    def __init__(self, camera: Camera, stage: Stage, seed: int) -> None:
        self._rng = np.random.default_rng([seed, 1288])
        self._bank = self._rng.standard_normal(stage.still.size + _SLACK, dtype=np.float32)
        self._table = noise_table(camera)
        self._still = stage.still + np.float32(camera.black_dn)
        self._deviation = np.asarray(cv2.LUT(cv2.convertScaleAbs(self._still), self._table), dtype=np.float32)
        left, top, right, bottom = stage.box
        self._window = (slice(top, bottom), slice(left, right))
        self._frame: Image = np.empty_like(self._still)

    def clear(self, moving: Image) -> Image:
        """(h, w, 3) coded values, black and all, of the whole picture before any noise; a copy."""
        whole = self._still.copy()
        whole[self._window] += moving
        return whole

    def develop(self, clear: Image) -> Picture:
        """8-bit read-only picture of a whole clear one, whatever was done to that on its way."""
        deviation = np.asarray(cv2.LUT(cv2.convertScaleAbs(clear), self._table), dtype=np.float32)
        start = int(self._rng.integers(0, _SLACK))
        noise = self._bank[start : start + clear.size].reshape(clear.shape)
        picture = np.asarray(cv2.convertScaleAbs(np.maximum(clear + noise * deviation, 0)), dtype=np.uint8)
        picture.setflags(write=False)
        return picture

    def expose(self, moving: Image) -> Picture:
        """8-bit read-only picture; moving: (h, w, 3) coded values, over black, of the stage's box."""
        np.copyto(self._frame, self._still)
        view = self._frame[self._window]
        view += moving
        self._deviation[self._window] = cv2.LUT(cv2.convertScaleAbs(view), self._table)
        start = int(self._rng.integers(0, _SLACK))
        noise = self._bank[start : start + self._frame.size].reshape(self._frame.shape)
        cv2.accumulateProduct(noise, self._deviation, self._frame)
        picture = np.asarray(cv2.convertScaleAbs(self._frame), dtype=np.uint8)
        picture.setflags(write=False)
        return picture
