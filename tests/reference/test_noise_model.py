"""Camera noise against EMVA Standard 1288 (release 3.1, 2016): how it is measured, modelled, and what rounding adds."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.motion.meter import MotionMeter
from bedwatch.sim.camera import Camera
from bedwatch.sim.sensor import Sensor
from bedwatch.sim.stage import Stage

BLACK = 12.0
SHAPE = (300, 400)


def temporal_variance(a: np.ndarray, b: np.ndarray) -> float:
    """The standard's estimate from two frames of one still scene, grey levels squared: what the whole picture did
    from one to the other (a lamp, an exposure) is taken out."""
    a, b = a.astype(np.float64), b.astype(np.float64)
    return float(((a - b) ** 2).mean() / 2 - (a.mean() - b.mean()) ** 2 / 2)


def frames(sensor: Sensor, count: int = 2) -> list[np.ndarray]:
    return [sensor.expose(np.zeros((4, 4, 3), np.float32)) for _ in range(count)]


def sensor(light_dn: np.ndarray, *, full_well_e: float, read_noise_e: float, seed: int = 1) -> Sensor:
    """A linear camera that looks at a still picture, brightness over black."""
    size = (SHAPE[1], SHAPE[0])
    camera = Camera(
        size_px=size, gamma=1.0, full_well_e=full_well_e, read_noise_e=read_noise_e, black_dn=BLACK, vignette=0.0
    )
    still = np.repeat(np.broadcast_to(light_dn, SHAPE)[..., None], 3, axis=2).astype(np.float32)
    see, vignette = np.zeros(SHAPE, np.float32), np.ones(SHAPE, np.float32)
    return Sensor(camera, Stage(still=still, see=see, vignette=vignette, box=(0, 0, 4, 4)), seed=seed)


def test_the_estimate_from_a_frame_pair_does_not_see_the_light_change() -> None:
    a, b = frames(sensor(np.array(90.0), full_well_e=2000, read_noise_e=8))
    assert temporal_variance(a, b + 5.0) == pytest.approx(temporal_variance(a, b), rel=1e-9)  # exact by algebra
    assert temporal_variance(a, a) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("light_dn", [24.0, 146.0, 219.0])
def test_make_believe_camera_follows_the_standard(light_dn: float) -> None:
    """K = 0.243 grey levels an electron, 8 electrons of read noise: K2 s2 + 1/12 + K (mean - dark). 1 %: four times the
    standard error of a variance from 360 000 values."""
    full_well, read = 1000.0, 8.0
    gain = (255 - BLACK) / full_well
    a, b = frames(sensor(np.array(light_dn), full_well_e=full_well, read_noise_e=read))
    assert temporal_variance(a, b) == pytest.approx(gain**2 * read**2 + 1 / 12 + gain * light_dn, rel=0.01)


@pytest.mark.parametrize(("sigma_dn", "measured_dn2"), [(0.5, 0.3330), (1.0, 1.0842), (0.2, 0.1124)])
def test_rounding_adds_a_twelfth_only_to_noise_that_is_wide_enough(sigma_dn: float, measured_dn2: float) -> None:
    """Gaussian noise, then rounded, averaged over where the mean lies between two whole levels. s2 + 1/12 holds for 0.5 and
    1.0 (0.3333, 1.0833); for 0.2 it would be 0.1233. 2 %: this many pixels give the figures to 1 % (values computed apart)."""
    between = np.broadcast_to(np.linspace(0, 1, SHAPE[1], endpoint=False), SHAPE)
    full_well = 1e7  # shot noise of the light itself is then nothing
    read = sigma_dn * full_well / (255 - BLACK)
    camera = sensor(between, full_well_e=full_well, read_noise_e=read)
    pairs = [temporal_variance(*frames(camera)) for _ in range(3)]
    assert np.mean(pairs) == pytest.approx(measured_dn2, rel=0.02)
    if sigma_dn >= 0.5:
        assert np.mean(pairs) == pytest.approx(sigma_dn**2 + 1 / 12, rel=0.02)


@pytest.mark.parametrize("sigma_dn", [0.1, 0.2, 0.35, 0.49])
def test_noise_that_rounding_hides_here_and_shows_there_is_not_motion(sigma_dn: float) -> None:
    """Below 0.4 grey levels what is seen is 0.012 to 0.25 levels squared, by how the brightness lies between two whole
    levels; the standard sets its floor of 0.24 for this reason. No place may look alive beside one that rounding keeps quiet."""
    rng = np.random.default_rng(1288)
    y, x = np.mgrid[:160, :160]
    still = 90 + 0.02 * x + 1.5 * np.sin(x / 3.0) + 1.5 * np.sin((x + 2 * y) / 5.0)
    index = ((y // 16) * 10 + x // 16).astype(np.intp)
    meter = MotionMeter(
        visible=np.ones(still.shape, np.bool_), step_mm=1.25, cell=index, zone=index, cell_count=100, zone_count=100
    )
    for number in range(90):
        picture = np.rint(still + sigma_dn * rng.standard_normal(still.shape)).astype(np.uint8)
        meter.add(picture, number / 30)
    field = meter.field()
    assert field is not None
    # What is asked of a still scene.
    assert field.bed.live[0] <= 0.02
    assert field.bed.speed_mm_s[0] < 0.5
