"""Slopes and local contrast."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.motion.gradients import SLOPE_TAPS, SMOOTH_TAPS, Contrast, halve, slopes


def wave(k: float, angle: float = 0.0, phase: float = 0.3) -> np.ndarray:
    y, x = np.mgrid[:96, :96].astype(np.float32)
    return np.sin(k * (x * np.cos(angle) + y * np.sin(angle)) + phase).astype(np.float32)


@pytest.mark.parametrize("k", [0.1, 0.4, 0.8, 1.2, 1.5])
@pytest.mark.parametrize("angle_deg", [0, 90, 30])
def test_slope_of_a_ripple_is_its_wave_number_times_the_smoothed_ripple(k: float, angle_deg: float) -> None:
    """Farid & Simoncelli 2004 make derivative and smoother match: slope over value is k at every wave number, not only at
    small ones. Five taps keep within 1 % up to about 1.5 rad a pixel (four pixels a ripple); a central
    difference is 10 % short at 0.8 already."""
    angle = np.radians(angle_deg)
    got, quarter = slopes(wave(k, angle)), slopes(wave(k, angle, 0.3 + np.pi / 2))
    inside = (slice(8, -8), slice(8, -8))
    along = {0: got.along_x, 90: got.along_y}.get(angle_deg, np.cos(angle) * got.along_x + np.sin(angle) * got.along_y)
    np.testing.assert_allclose(along[inside], k * quarter.value[inside], atol=0.01 * k * np.abs(quarter.value).max())


def test_a_ramp_has_its_own_slope_and_a_flat_picture_none() -> None:
    ramp = np.tile(np.arange(64, dtype=np.float32) * 0.7, (64, 1))
    inside = (slice(4, -4), slice(4, -4))
    # Published taps are printed to 15 places, and the derivative taps reach unit slope within 1 %.
    np.testing.assert_allclose(slopes(ramp).along_x[inside], 0.7, rtol=0.01)
    np.testing.assert_allclose(slopes(ramp).along_y[inside], 0.0, atol=1e-4)
    flat = slopes(np.full((32, 32), 5.0, np.float32))
    np.testing.assert_allclose(flat.along_x[inside], 0.0, atol=1e-5)
    np.testing.assert_allclose(flat.value[inside], 5.0, rtol=1e-5)


def test_taps_are_even_and_odd_and_keep_the_mean() -> None:
    assert SMOOTH_TAPS.sum() == pytest.approx(1.0, abs=1e-4)  # 1.00000 as printed, to rounding of single precision
    np.testing.assert_array_equal(SMOOTH_TAPS, SMOOTH_TAPS[::-1])
    np.testing.assert_array_equal(SLOPE_TAPS, -SLOPE_TAPS[::-1])


def textured(rows: int = 200, cols: int = 200) -> np.ndarray:
    rng = np.random.default_rng(5)
    return np.clip(110 + 20 * rng.standard_normal((rows, cols)), 1, 170).astype(np.uint8)


def test_contrast_is_the_same_in_any_light() -> None:
    """Lamp flicker and exposure multiply the picture; contrast must not see them beyond what rounding to whole grey levels
    does: half a level in 110 is 0.5 %, less after the mean of four pixels."""
    disc = np.hypot(*(np.mgrid[:200, :200] - 99.5)) < 95
    contrast = Contrast(disc, 1.25)
    picture = textured()
    plain = contrast.of(picture)
    bright = contrast.of(np.rint(picture * 1.4).astype(np.uint8))
    assert np.abs(plain).max() > 20
    np.testing.assert_allclose(bright, plain, atol=0.5)


def test_a_slope_of_light_over_the_bed_is_not_contrast() -> None:
    visible = np.ones((256, 256), np.bool_)
    light = 80 + 80 * np.arange(256) / 255  # twice as bright at one wall as at the other
    contrast = Contrast(visible, 1.25).of(np.tile(np.rint(light).astype(np.uint8), (256, 1)))[:128, :128]
    # Away from the wall a straight slope equals its own mean around; what is left is rounding, 0.5 of 80 levels.
    assert np.abs(contrast[:, 30:-30]).max() < 1.0


def test_a_ripple_keeps_its_height_in_per_cent() -> None:
    x = np.arange(256)
    picture = np.tile(np.rint(150 * (1 + 0.2 * np.sin(2 * np.pi * x / 20))), (256, 1)).astype(np.uint8)
    got = Contrast(np.ones((256, 256), np.bool_), 1.25).of(picture)[40:90, 40:90]  # five whole ripples of ten pixels
    # Halving takes 0.4 % away; the mean around does not span whole ripples and takes along up to 1 in 49 of one.
    assert np.sqrt((got**2).mean()) == pytest.approx(20.0 / np.sqrt(2), rel=0.03)


def test_off_the_powder_there_is_nothing_whatever_the_picture_shows() -> None:
    disc = np.hypot(*(np.mgrid[:200, :200] - 99.5)) < 80
    contrast = Contrast(disc, 1.25)
    quiet, loud = textured(), textured()
    rng = np.random.default_rng(1)
    loud[~disc] = rng.integers(0, 255, int((~disc).sum()))
    one, two = contrast.of(quiet), contrast.of(loud)
    assert one.shape == contrast.visible.shape
    assert one.shape[0] % 32 == 0
    assert one.shape[1] % 32 == 0
    assert np.count_nonzero(one[~contrast.visible]) == 0
    np.testing.assert_array_equal(one, two)


def test_halving_keeps_means() -> None:
    rng = np.random.default_rng(2)
    image = rng.standard_normal((64, 96)).astype(np.float32)
    half = halve(image)
    assert half.shape == (32, 48)
    assert half.mean() == pytest.approx(image.mean(), abs=1e-5)  # single precision
