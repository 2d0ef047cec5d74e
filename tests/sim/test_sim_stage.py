"""What of the powder the wall hides, and the camera's noise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.bed.model import Bed
from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.camera import Camera, pose, project
from bedwatch.sim.sensor import Sensor
from bedwatch.sim.stage import Lamp, Stage, Tub, build_stage, distance_inside, surface_light

CAMERA = Camera(
    size_px=(640, 480),
    focal_px=1000.0,
    height_mm=1200.0,
    tilt_deg=14.0,
    tilt_azimuth_deg=25.0,
    blur_px=0.0,
)
ROUND = round_bed(300.0, (1, 4), surface_below_rim_mm=80.0)
SQUARE = rectangular_bed(280.0, 240.0, (2, 2), surface_below_rim_mm=60.0)


def stage(bed: Bed, camera: Camera = CAMERA) -> Stage:
    return build_stage(bed, camera, Lamp(), Tub(), 0.6)


@pytest.mark.parametrize("bed", [ROUND, SQUARE], ids=["round", "rectangular"])
def test_powder_is_seen_where_the_line_to_the_lens_clears_the_wall(bed: Bed) -> None:
    """Cast lines from points of the surface to the lens: seen when they leave through the rim's opening."""
    at = pose(CAMERA, bed.surface_below_rim_mm)
    built = stage(bed)
    rng = np.random.default_rng(1)
    points = rng.uniform(-bed.width_mm / 2, bed.width_mm / 2, (4000, 2))
    inside = distance_inside(bed, points[:, 0], points[:, 1])
    points = points[inside > 2]
    share = bed.surface_below_rim_mm / at.centre_mm[2]  # of the way to the lens, at the rim's height
    at_rim = points + share * (at.centre_mm[:2] - points)
    room = distance_inside(bed, at_rim[:, 0], at_rim[:, 1])
    pixels = np.round(project(at, np.column_stack([points, np.zeros(len(points))]))).astype(int)
    seen = built.see[pixels[:, 1], pixels[:, 0]]
    assert (seen[room > 2] > 0.99).all()
    assert (seen[room < -2] < 0.01).all()
    assert (room < -2).sum() >= 5  # some of the near side is hidden at this tilt


def test_no_wall_is_seen_when_the_powder_reaches_the_rim() -> None:
    full = round_bed(300.0, (1, 4), surface_below_rim_mm=0.0)
    at = pose(CAMERA, 0.0)
    built = stage(full)
    turn = np.linspace(0, 2 * math.pi, 40)
    edge = np.column_stack([146 * np.cos(turn), 146 * np.sin(turn), 0 * turn])
    pixels = np.round(project(at, edge)).astype(int)
    assert (built.see[pixels[:, 1], pixels[:, 0]] > 0.99).all()


def test_rim_wall_and_bench_differ() -> None:
    at = pose(CAMERA, 80.0)
    built = stage(ROUND)
    far = math.radians(90)  # the far wall, seen from inside the tub
    places = np.array(
        [[150 * math.cos(far), 150 * math.sin(far), 40.0], [154 * math.cos(far), 154 * math.sin(far), 80.0]]
    )
    (wall, rim) = (built.still[v, u].mean() for u, v in np.round(project(at, places)).astype(int))
    assert rim - wall > 20
    assert built.still[5:60, 5:60].std() > 1  # the bench has a texture


def test_wall_on_the_side_of_the_lamp_shades_the_powder() -> None:
    lamp = Lamp(azimuth_deg=90.0, elevation_deg=20.0, wall_shadow=0.5, falloff=0.0)
    x = np.array([[-100.0, 140.0]], dtype=np.float32)
    light = surface_light(ROUND, lamp, x, np.zeros_like(x))
    assert light[0, 1] < light[0, 0] - 0.1
    bright = surface_light(round_bed(300.0, (2,), surface_below_rim_mm=0.0), lamp, x, np.zeros_like(x))
    assert bright.tolist() == [[1.0, 1.0]]


@pytest.mark.parametrize("electrons", [100.0, 300.0, 600.0, 900.0])
def test_noise_follows_the_standard_model(electrons: float) -> None:
    """EMVA Standard 1288 (release 3.1): variance = K² read² + 1/12 + K (mean - dark), linear camera."""
    black, well, read = 12.0, 1000.0, 8.0
    camera = Camera(size_px=(400, 300), gamma=1.0, full_well_e=well, read_noise_e=read, black_dn=black, vignette=0.0)
    gain = (255.0 - black) / well
    flat = Stage(
        still=np.full((300, 400, 3), electrons * gain, dtype=np.float32),
        see=np.zeros((300, 400), dtype=np.float32),
        vignette=np.ones((300, 400), dtype=np.float32),
        box=(0, 0, 4, 4),
    )
    sensor = Sensor(camera, flat, seed=1)
    nothing = np.zeros((4, 4, 3), dtype=np.float32)
    a, b = (sensor.expose(nothing).astype(float) for _ in range(2))
    measured = ((a - b) ** 2).mean() / 2
    expected = gain**2 * read**2 + 1 / 12 + gain * (electrons * gain)
    assert measured == pytest.approx(expected, rel=0.02)
    assert a.mean() == pytest.approx(black + electrons * gain, abs=0.05)
