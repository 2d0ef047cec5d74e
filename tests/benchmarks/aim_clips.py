"""Clips for what a camera does later on: one scene, rendered once, spoiled in many ways, watched by many watches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim import BedSource, Scene
from bedwatch.sim.shop import shop
from bedwatch.sim.trouble import Trouble
from bedwatch.watch import Watch
from tests.benchmarks.group import JPEG_QUALITY, true_aim

SIZE_PX = (640, 480)
FPS = 15.0


def scene_of(seed: int, number: int, duration_s: float) -> tuple[Scene, str]:
    """A plain shop at 640 by 480: still, well aired or all sorts of air in turn."""
    made = shop(seed, still=number % 3 == 0, bent=0.0, plain=True, size_px=SIZE_PX)
    rng = np.random.default_rng([seed, 3])
    count = len(made.scene.bed.zones)
    air = [(0.0,) * count, tuple(1.7 + 0.4 * rng.random(count)), made.scene.air][number % 3]
    scene = replace(made.scene, air=tuple(map(float, air)), fps=FPS, duration_s=duration_s, start_s=1.0)
    return scene, f"{made.words}, {('still', 'well aired', 'all sorts of air')[number % 3]}"


class Bench:
    """One scene, rendered once for many variants."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.source = BedSource(scene)
        self.aim = true_aim(self.source, scene.bed)

    def watch(self) -> Watch:
        return Watch(self.scene.bed, self.aim)

    def shoot(self, clear: NDArray[np.float32], trouble: Trouble | None, time_s: float) -> Picture:
        spoiled = clear if trouble is None else trouble.spoil(clear, time_s)
        _, data = cv2.imencode(".jpg", self.source.develop(spoiled), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        picture = np.asarray(cv2.imdecode(data, cv2.IMREAD_UNCHANGED), np.uint8)
        picture.setflags(write=False)
        return picture
