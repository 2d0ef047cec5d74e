"""What comes in over the wall shows beside the bed; light and the camera's noise do not pass for it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.motion.beside import SECTORS, Beside, Sides

SIDE_PX, MIDDLE = 320, 160
_DOWN, _RIGHT = np.mgrid[:SIDE_PX, :SIDE_PX]
_RADIUS = np.hypot(_RIGHT - MIDDLE, _DOWN - MIDDLE)
Change = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def strip() -> Beside:
    """Watches what lies 120 to 150 pixels from the middle, every 4 pixels."""
    v, u = np.nonzero((_RADIUS > 120) & (_RADIUS < 150) & (_DOWN % 4 == 0) & (_RIGHT % 4 == 0))
    turn = np.arctan2(MIDDLE - v, u - MIDDLE) / (2 * np.pi) % 1.0
    return Beside(np.column_stack([u, v]).astype(np.float64), (turn * SECTORS).astype(np.intp))


def seen(change: Change, *, contrast: float = 30.0) -> Sides:
    """What it says of a changed picture, after two seconds of the plain one. contrast: of a bright rim against the bench."""
    rng = np.random.default_rng(1)
    clean = 70.0 + contrast * (_RADIUS < 135)
    beside = strip()
    for number in range(21):
        light = change(clean) if number == 20 else clean
        picture = np.clip(np.rint(light + 2.0 * rng.standard_normal(clean.shape)), 0, 255).astype(np.uint8)
        sides = beside.look(picture)
        if number < 20:
            assert not (sides.other | sides.shaded).any()
            beside.learn(0.1)
    return sides


@pytest.mark.parametrize("tone", [30.0, 150.0])
@pytest.mark.parametrize("half_px", [5, 25])
@pytest.mark.parametrize("contrast", [0.0, 30.0])
def test_an_arm_from_the_right(tone: float, half_px: int, contrast: float) -> None:
    sides = seen(
        lambda light: np.where((np.abs(_DOWN - MIDDLE) < half_px) & (_RIGHT > MIDDLE), tone, light), contrast=contrast
    )
    said = sides.other if contrast and half_px > 5 else sides.other | sides.either
    assert said[0] or said[-1]
    assert not (sides.other | sides.either)[4:-4].any()


def test_a_broad_shadow_is_light() -> None:
    sides = seen(lambda light: light * (1 - 0.4 * np.exp(-(((_RIGHT - 200) / 90) ** 4))))
    assert sides.shaded.sum() >= 12
    assert sides.other.sum() <= 5  # at its edges


def test_another_lamp_is_light() -> None:
    sides = seen(lambda light: light * (0.6 + 0.8 * _RIGHT / SIDE_PX))
    assert sides.shaded.sum() >= 9
    assert not sides.other.any()


def test_a_camera_that_jumps_tells_nothing() -> None:
    sides = seen(lambda light: np.roll(light, 12, axis=(0, 1)))
    assert sides.other.sum() < 0.6 * SECTORS
