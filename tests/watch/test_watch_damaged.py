"""Damaged pictures for some seconds, as a bad cable or radio link sends them: afterwards it goes on as if there had been none."""

from __future__ import annotations

import random

import cv2
import numpy as np
import pytest

from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.types import Aim
from bedwatch.frames.frame import Frame, Picture
from bedwatch.judge.types import State
from bedwatch.sim import BedSource, demo_scene
from bedwatch.watch import Watch

FPS, SIZE_PX = 15.0, (320, 240)
BEGIN_S, END_S = 10.0, 14.0
# A reading needs six seconds of undisturbed picture, and what was seen last must have passed.
AGAIN_S = 9.0


@pytest.fixture(scope="module")
def bed() -> tuple[BedSource, list[bytes]]:
    source = BedSource(demo_scene(size_px=SIZE_PX, fps=FPS, duration_s=12.0))
    pictures = [cv2.imencode(".jpg", frame.picture)[1].tobytes() for frame in source]
    return source, [*pictures, *pictures[-2:0:-1]]


def spoilt(picture: bytes, rng: random.Random) -> bytes:
    """Cut off somewhere, or with forty wrong bytes."""
    if rng.random() < 0.5:
        return picture[: rng.randrange(2, len(picture))]
    data = bytearray(picture)
    for _ in range(40):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def shown(data: bytes) -> Picture | None:
    """What a decoder makes of it; None: nothing of the right size."""
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if picture is None or picture.shape != (SIZE_PX[1], SIZE_PX[0], 3):
        return None
    found = np.asarray(picture, np.uint8)
    found.setflags(write=False)
    return found


@pytest.mark.parametrize(("seed", "one_in"), [(12, 1), (13, 1), (15, 6)])
def test_damaged_pictures_are_forgotten(bed: tuple[BedSource, list[bytes]], seed: int, one_in: int) -> None:
    """one_in: of so many pictures one comes at all, damaged; the others are lost."""
    source, pictures = bed
    homography = source.truth.bed_to_picture
    aim = Aim(
        surface=outline_of(homography, source.scene.bed),
        rim=None,
        bed_to_picture=homography,
        mm_per_px=mm_per_px(homography),
        size_px=source.size_px,
        error_mm=0.5,
    )
    watch, rng, again_s, broken = Watch(source.scene.bed, aim), random.Random(seed), None, 0
    for number in range(round((END_S + AGAIN_S) * FPS)):
        time_s, data = number / FPS, pictures[number % len(pictures)]
        bad = BEGIN_S <= time_s < END_S
        if bad and rng.randrange(one_in):
            continue
        picture = shown(spoilt(data, rng) if bad else data)
        if picture is None:
            continue
        broken += bad
        reading = watch.step(Frame(picture=picture, time_s=time_s, number=number))
        if time_s > END_S and again_s is None and reading is not None and reading.state is State.READING:
            again_s = time_s
    assert broken > 4  # some of them must pass for pictures
    assert again_s is not None
