"""The look with the air off: what a still surface seems to do, and the refusal when it was not still."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from bedwatch.aim.health.rest import NotAtRest, Rest
from bedwatch.aim.types import Aim, Corners
from bedwatch.bed import Bed, grid_zones
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.motion.rest import look_at_rest

WIDE, HIGH = 240, 180
BED = Bed(
    name="Gate-latch bed",
    shape="rectangular",
    width_mm=300.0,
    length_mm=200.0,
    surface_below_rim_mm=0.0,
    zones=grid_zones(1, 2, 300.0, 200.0),
)
PER_MM = 0.7
CENTRE = ((WIDE - 1) / 2, (HIGH - 1) / 2)
AIM = Aim(
    surface=Corners(
        corners_px=tuple(
            (CENTRE[0] + x * PER_MM, CENTRE[1] - y * PER_MM)
            for x, y in ((-150, 100), (150, 100), (150, -100), (-150, -100))
        )
    ),
    rim=None,
    bed_to_picture=np.array([[PER_MM, 0, CENTRE[0]], [0, -PER_MM, CENTRE[1]], [0, 0, 1.0]]),
    mm_per_px=1 / PER_MM,
    level_mm=(82.0, 1.5),
)


def look(
    *, noise: float, seconds: float = 6.0, drift_px: float = 0.0, grain: float = 12.0, fall: float = 0.0
) -> Iterator[Frame]:
    rng = np.random.default_rng(8)
    sheet = cv2.GaussianBlur(rng.standard_normal((HIGH, 3 * WIDE)).astype(np.float32), (0, 0), 1.5)
    sheet = 120 + grain * sheet / sheet.std()
    lamp = 1 - fall * (np.arange(WIDE) / (WIDE - 1) - 0.5)
    for number in range(round(15 * seconds)):
        left = int(number * drift_px)
        light = sheet[:, left : left + WIDE] * lamp + noise * rng.standard_normal((HIGH, WIDE))
        yield Frame(picture=np.clip(np.rint(light), 0, 255).astype(np.uint8), time_s=number / 15, number=number)


@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_a_still_surface_gives_its_floor(noise: float) -> None:
    rest = look_at_rest(look(noise=noise), AIM, BED)
    assert isinstance(rest, Rest)
    assert rest
    assert rest.live <= 0.02
    assert 0.0 <= rest.speed_mm_s < 1.0
    # Resampling from 1.43 to 1.14 mm averages up to four pixels: between half and all of the camera's noise.
    assert 0.5 * noise < rest.noise < 1.05 * np.hypot(noise, 0.3)
    assert rest.brightness == pytest.approx(120, rel=0.03)
    assert rest.texture == pytest.approx(0.1, rel=0.35)
    assert rest.level_mm == (82.0, 1.5)
    assert rest.seconds == pytest.approx(5.0, abs=0.1)


def test_light_that_falls_off_is_told() -> None:
    """10th to 90th of 100 places across a straight fall of 40 % over the picture, 210 of 240 px of it: 28 %."""
    plain, fallen = (look_at_rest(look(noise=1.0, fall=fall), AIM, BED) for fall in (0.0, 0.4))
    assert isinstance(plain, Rest)
    assert isinstance(fallen, Rest)
    assert plain.unevenness < 0.08
    assert fallen.unevenness == pytest.approx(0.28, abs=0.05)


def test_a_surface_that_moves_is_refused() -> None:
    rest = look_at_rest(look(noise=1.0, drift_px=1.0), AIM, BED)
    assert isinstance(rest, NotAtRest)
    assert not rest
    assert "moved" in rest.reason
    assert "air" in rest.advice


def test_too_short_a_look_is_refused() -> None:
    rest = look_at_rest(look(noise=1.0, seconds=1.0), AIM, BED)
    assert isinstance(rest, NotAtRest)
    assert "0.9 s" in rest.reason


def test_a_bare_surface_is_refused() -> None:
    """Without texture motion cannot be told from rest."""
    rest = look_at_rest(look(noise=0.5, grain=0.0001), AIM, BED)
    assert isinstance(rest, NotAtRest)
    assert "texture" in rest.reason
