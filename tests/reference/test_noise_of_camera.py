"""The camera's own noise read from still pictures, against the model of EMVA Standard 1288 (release 3.1, 2016)."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.aim.health.noise import noise_of

BLACK = 12.0
GAIN, READ_E = 0.25, 8.0  # grey levels an electron, electrons: K and sigma_d of the standard
SHAPE = (80, 100)


def frames(
    count: int, *, lamp: float = 0.0, moving: float = 0.0, gamma: float = 1.0, seed: int = 4
) -> list[np.ndarray]:
    """Still pictures of 60 to 860 electrons: shot noise, read noise, rounding; a lamp that swings, a part that moves."""
    rng = np.random.default_rng(seed)
    light = np.repeat(np.linspace(60, 860, SHAPE[1])[None], SHAPE[0], 0)
    out = []
    for number in range(count):
        now = light * (1 + lamp * np.sin(number))
        rows = int(moving * SHAPE[0])
        now[:rows] *= rng.uniform(0.8, 1.2, (rows, SHAPE[1]))
        signal = BLACK + GAIN * (rng.poisson(now) + rng.normal(0, READ_E, SHAPE))
        out.append(np.clip(np.rint(255 * (signal / 255) ** gamma), 0, 255).astype(np.uint8))
    return out


def model(level: float) -> float:
    """Equation of the standard: K^2 sigma_d^2 + 1/12 + K (mean - dark)."""
    return GAIN**2 * READ_E**2 + 1 / 12 + GAIN * (level - BLACK)


@pytest.mark.parametrize("level", [40.0, 120.0, 200.0])
def test_variance_against_brightness_follows_the_standard(level: float) -> None:
    """3 %: 8000 pixels in 20 classes, 45 pairs, give a class to 1.5 %."""
    noise = noise_of(frames(90))
    assert noise is not None
    assert noise.gain == pytest.approx(GAIN, rel=0.03)
    assert float(noise.variance(level)) == pytest.approx(model(level), rel=0.03)
    assert noise.error < 0.05


@pytest.mark.parametrize(("electrons", "variance"), [(100.0, 10.333), (600.0, 41.583), (860.0, 57.833)])
def test_worked_values(electrons: float, variance: float) -> None:
    """K 0.25, 8 electrons of read noise, worked by hand from the equation: 4 + 1/12 + 0.25^2 electrons."""
    noise = noise_of(frames(90, seed=5))
    assert noise is not None
    assert float(noise.variance(BLACK + GAIN * electrons)) == pytest.approx(variance, rel=0.04)


def test_a_lamp_that_swings_is_no_noise() -> None:
    noise = noise_of(frames(90, lamp=0.02))
    assert noise is not None
    assert float(noise.variance(120.0)) == pytest.approx(model(120.0), rel=0.06)


def test_what_moves_is_left_out() -> None:
    """Nearly a third of the picture changes by a fifth from frame to frame."""
    noise = noise_of(frames(90, moving=0.3))
    assert noise is not None
    still = np.ones(SHAPE, np.bool_)
    still[: int(0.3 * SHAPE[0])] = False
    masked = noise_of(frames(90, moving=0.3), still)
    assert masked is not None
    assert float(masked.variance(120.0)) == pytest.approx(model(120.0), rel=0.04)
    # The middle of a class shifts up when a third of its pixels move, by less than their share.
    assert model(120.0) < float(noise.variance(120.0)) < 2.0 * model(120.0)


def test_too_little_tells_nothing() -> None:
    pictures = frames(90)
    assert noise_of(pictures[:8]) is None
    assert noise_of([picture[:, :8] for picture in pictures]) is None  # one brightness: no line
    assert noise_of(pictures, np.zeros(SHAPE, np.bool_)) is None


def test_black_and_white_are_not_used() -> None:
    """Clipping hides noise: half the picture is white, a quarter black, and the line is that of the rest."""
    pictures = []
    for picture in frames(90):
        wide = np.full((SHAPE[0] * 4, SHAPE[1]), 255, np.uint8)
        wide[: SHAPE[0]], wide[SHAPE[0] : 2 * SHAPE[0]] = picture, 0
        pictures.append(wide)
    noise = noise_of(pictures)
    assert noise is not None
    assert noise.gain == pytest.approx(GAIN, rel=0.03)
