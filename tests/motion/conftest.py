"""Flat pictures made by hand: discs of real texture that turn at a known speed, still ones, and a meter to look at them.

Drawn straight into the rectified grid, without camera or aim: what is tested here is the measurement alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, lru_cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.motion.field import MotionField
from bedwatch.motion.meter import MotionMeter

SIZE_PX, STEP_MM = 224, 1.25
WALL_MM = 138.0
FPS = 30.0
# Pixel aperture, lens and resampling of an ordinary camera together, standard deviation in grid pixels.
SOFT_PX = 0.8

Grey = NDArray[np.uint8]
Pictures = Iterator[tuple[Grey, float]]

_Y, _X = np.mgrid[:SIZE_PX, :SIZE_PX] - (SIZE_PX - 1) / 2
RADIUS_MM = np.hypot(_X, _Y) * STEP_MM
VISIBLE = RADIUS_MM <= WALL_MM


def _zones() -> NDArray[np.intp]:
    """The middle is zone 0; three sectors around it are 1 to 3."""
    sector = np.clip((np.arctan2(_Y, _X) + np.pi) // (2 * np.pi / 3), 0, 2).astype(np.intp)
    return np.where(VISIBLE, np.where(RADIUS_MM < 60, 0, 1 + sector), -1).astype(np.intp)


def _cells() -> NDArray[np.intp]:
    """Squares of 16 pixels, 20 mm, numbered row by row."""
    rows, cols = np.indices((SIZE_PX, SIZE_PX)) // 16
    return np.where(VISIBLE, rows * (SIZE_PX // 16) + cols, -1).astype(np.intp)


@lru_cache(maxsize=4)
def _sheet(name: str) -> NDArray[np.float32]:
    """One of scikit-image's own textures, as a deviation from its mean around, relative; 3 samples a grid pixel."""
    from skimage import data

    raw = np.asarray(getattr(data, name)(), np.float32)
    raw = raw - cv2.GaussianBlur(raw, (0, 0), 60)
    fine = cv2.resize(raw[:400, :400], None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.GaussianBlur(fine, (0, 0), 3 * SOFT_PX) / 118.0, np.float32)


@dataclass(frozen=True, kw_only=True)
class Disc:
    """A textured disc turning as a whole; wall_mm_s: speed at the wall. contrast 0: a bare even surface."""

    texture: str = "gravel"
    wall_mm_s: float = 0.0
    contrast: float = 1.0
    level: float = 120.0
    noise_dn: float = 1.5
    fps: float = FPS
    seed: int = 0

    def clean(self, time_s: float) -> NDArray[np.float32]:
        """Brightness at a time, before noise and rounding."""
        sheet = self.level * np.clip(1 + self.contrast * _sheet(self.texture), 0.02, None)
        middle = (sheet.shape[0] - 1) / 2
        turn = cv2.getRotationMatrix2D((middle, middle), np.degrees(self.wall_mm_s / WALL_MM * time_s), 1 / 3)
        turn[:, 2] += (SIZE_PX - 1) / 2 - middle
        return np.asarray(cv2.warpAffine(sheet, turn, (SIZE_PX, SIZE_PX), flags=cv2.INTER_CUBIC), np.float32)

    def pictures(self, seconds: float) -> Pictures:
        rng = np.random.default_rng(self.seed)
        still = self.clean(0.0) if self.wall_mm_s == 0 else None
        for number in range(round(seconds * self.fps)):
            time_s = number / self.fps
            light = self.clean(time_s) if still is None else still
            yield rounded(light + self.noise_dn * rng.standard_normal(light.shape, np.float32)), time_s

    def zone_mm_s(self) -> NDArray[np.float64]:
        """True root mean square speed of every zone."""
        zones = _zones()
        squared = [(RADIUS_MM[zones == number] ** 2).mean() for number in range(4)]
        return np.asarray(self.wall_mm_s / WALL_MM * np.sqrt(squared))


def rounded(light: NDArray[np.floating]) -> Grey:  # type: ignore[type-arg]
    return np.clip(np.rint(light), 0, 255).astype(np.uint8)


class Bench:
    """What the tests draw with."""

    Disc = Disc
    rounded = staticmethod(rounded)
    zone = _zones()
    cell = _cells()
    visible = VISIBLE
    radius_mm = RADIUS_MM
    step_mm = STEP_MM
    x_mm = _X * STEP_MM

    def meter(self) -> MotionMeter:
        return MotionMeter(
            visible=VISIBLE,
            step_mm=STEP_MM,
            cell=self.cell,
            zone=self.zone,
            cell_count=(SIZE_PX // 16) ** 2,
            zone_count=4,
        )

    def look(self, pictures: Pictures) -> MotionField:
        """The field after all the pictures."""
        meter = self.meter()
        for picture, time_s in pictures:
            meter.add(picture, time_s)
        field = meter.field()
        assert field is not None
        return field


@pytest.fixture(scope="session")
def bench() -> Bench:
    return Bench()


@pytest.fixture(scope="session")
def turning(bench: Bench) -> Callable[[str, float], tuple[MotionField, NDArray[np.float64]]]:
    """The field of a disc after four seconds and the zones' true speeds; each disc is looked at once."""

    @cache
    def look(texture: str, wall_mm_s: float) -> tuple[MotionField, NDArray[np.float64]]:
        disc = Disc(texture=texture, wall_mm_s=wall_mm_s)
        return bench.look(disc.pictures(4.0)), disc.zone_mm_s()

    return look
