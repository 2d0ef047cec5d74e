"""Small pictures with a bed in a known place: a sheet of grain whose left half drifts and whose right half is still."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import cv2
import numpy as np
import pytest

from bedwatch.aim.types import Aim, Corners
from bedwatch.bed import Bed, grid_zones
from bedwatch.frames.frame import Frame
from bedwatch.judge.types import Reading
from bedwatch.watch import Happening, Watch

WIDTH_PX, HEIGHT_PX = 200, 150
MM_PER_PX = 1.5
FPS = 15.0


def _bed() -> Bed:
    return Bed(
        name="Gate-latch bed",
        shape="rectangular",
        width_mm=240.0,
        length_mm=160.0,
        surface_below_rim_mm=0.0,
        zones=grid_zones(1, 2, 240.0, 160.0),
    )


def _aim() -> Aim:
    """Seen straight from above, the bed in the middle of the picture."""
    per_mm = 1 / MM_PER_PX
    centre = ((WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2)
    corners = [(-120, 80), (120, 80), (120, -80), (-120, -80)]
    return Aim(
        surface=Corners(corners_px=tuple((centre[0] + x * per_mm, centre[1] - y * per_mm) for x, y in corners)),
        rim=None,
        bed_to_picture=np.array([[per_mm, 0, centre[0]], [0, -per_mm, centre[1]], [0, 0, 1.0]]),
        mm_per_px=MM_PER_PX,
        size_px=(WIDTH_PX, HEIGHT_PX),
        error_mm=1.0,
    )


@lru_cache(maxsize=1)
def _sheet() -> np.ndarray:
    rng = np.random.default_rng(12)
    grain = cv2.GaussianBlur(rng.standard_normal((3 * HEIGHT_PX, WIDTH_PX)).astype(np.float32), (0, 0), 1.4)
    return np.asarray(110 + 25 * grain / grain.std(), np.float32)


class Clip:
    """Frames from start_s on, fps a second; drift_mm_s: how fast the left half goes down the picture."""

    def __init__(self, *, drift_mm_s: float = 12.0, fps: float = FPS, seed: int = 0) -> None:
        self.drift_mm_s, self.fps, self.seed = drift_mm_s, fps, seed

    def picture(self, time_s: float, rng: np.random.Generator) -> np.ndarray:
        sheet = _sheet()
        by_px = (self.drift_mm_s * time_s / MM_PER_PX) % HEIGHT_PX
        whole, part = int(by_px), by_px % 1.0
        top = 2 * HEIGHT_PX - whole
        moved = (1 - part) * sheet[top : top + HEIGHT_PX] + part * sheet[top - 1 : top - 1 + HEIGHT_PX]
        light = sheet[:HEIGHT_PX].copy()
        # The bed is 160 x 107 px in the middle; what lies round it stands still, as a bench does.
        light[22:128, 20 : WIDTH_PX // 2] = moved[22:128, 20 : WIDTH_PX // 2]
        light += 1.5 * rng.standard_normal(light.shape, np.float32)
        picture = np.clip(np.rint(light), 0, 255).astype(np.uint8)
        picture.setflags(write=False)
        return picture

    def frames(self, seconds: float, start_s: float = 0.0) -> Iterator[Frame]:
        rng = np.random.default_rng(self.seed)
        for number in range(round(seconds * self.fps)):
            time_s = start_s + number / self.fps
            yield Frame(picture=self.picture(time_s, rng), time_s=time_s, number=number)


class Room:
    """What the tests work with."""

    Clip = Clip

    @property
    def bed(self) -> Bed:
        return _bed()

    @property
    def aim(self) -> Aim:
        return _aim()

    def watch(self) -> Watch:
        return Watch(_bed(), _aim())

    @staticmethod
    def flat(level: int, seconds: float, start_s: float, fps: float = FPS) -> Iterator[Frame]:
        """Black, white or grey pictures."""
        picture = np.full((HEIGHT_PX, WIDTH_PX), level, np.uint8)
        for number in range(round(seconds * fps)):
            yield Frame(picture=picture, time_s=start_s + number / fps, number=number)

    @staticmethod
    def readings(watch: Watch, happenings: Iterator[Happening] | list[Happening]) -> list[Reading]:
        return [reading for happening in happenings if (reading := watch.step(happening)) is not None]


@pytest.fixture(scope="session")
def room() -> Room:
    return Room()


@pytest.fixture(scope="session")
def twelve_seconds(room: Room) -> list[Reading]:
    """The readings of a plain clip, its last one from `End` included."""
    from bedwatch.watch import End

    watch = room.watch()
    return room.readings(watch, [*Clip().frames(12.0), End()])
