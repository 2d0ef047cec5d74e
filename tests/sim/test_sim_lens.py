"""The make-believe lens that bends, and a rolled camera."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from bedwatch.sim import BedSource, Scene, Turntable, TurntableSource, round_bed
from bedwatch.sim.bend import Bend, fold_radius, widest_seen
from bedwatch.sim.camera import Camera, pixel_grid, pose, project
from bedwatch.sim.stage import Lamp, Tub

BENT = Camera(
    size_px=(640, 480), focal_px=520.0, height_mm=700.0, tilt_deg=11.0, tilt_azimuth_deg=50.0,
    off_centre_px=(60.0, -40.0), k1=-0.22, k2=0.03, blur_px=0.0,
)  # fmt: skip


def test_the_bend_is_that_of_opencv() -> None:
    bend = Bend(k1=-0.25, k2=0.04, focal_px=600.0, centre_px=(319.5, 239.5))
    rays = np.random.default_rng(1).uniform(-0.5, 0.5, (50, 2))
    matrix = np.array([[600.0, 0, 319.5], [0, 600.0, 239.5], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(
        np.column_stack([rays, np.ones(50)]), np.zeros(3), np.zeros(3), matrix, np.array([-0.25, 0.04, 0, 0])
    )
    ours = bend.bend(rays * 600.0 + np.array([319.5, 239.5]))
    np.testing.assert_allclose(ours, theirs[:, 0], atol=1e-9)


@pytest.mark.parametrize(("k1", "k2"), [(-0.30, 0.0), (-0.30, 0.054), (-0.05, 0.0), (0.1, 0.0)])
def test_straightening_undoes_bending(k1: float, k2: float) -> None:
    bend = Bend(k1=k1, k2=k2, focal_px=800.0, centre_px=(400.0, 300.0))
    away = np.linspace(0, 0.95 * min(widest_seen(k1, k2), 1.2) * 800.0, 40)
    u, v = bend.straighten(400.0 + away, np.full(40, 300.0))
    np.testing.assert_allclose(bend.bend(np.column_stack([u, v]))[:, 0], 400.0 + away, atol=0.01)


def test_a_lens_folds_over_where_its_slope_is_nothing() -> None:
    assert fold_radius(-0.3, 0.0) == pytest.approx(math.sqrt(1 / 0.9))
    assert fold_radius(-0.3, 0.46 * 0.09) == math.inf  # k2 > 0.45 k1² keeps it rising
    bend = Bend(k1=-0.3, k2=0.0, focal_px=100.0)
    assert np.isnan(bend.bend(np.array([[110.0, 0.0]]))).all()


def test_pixel_grid_and_projection_agree_through_a_bent_lens() -> None:
    at = pose(BENT, 60.0)
    places = np.array([[0.0, 0, 0], [120.0, -80, 0], [-90.0, 100, 0]])
    pixels = project(at, places)
    x, y = pixel_grid(at, 0.0, BENT.size_px)
    for (u, v), place in zip(pixels, places, strict=True):
        near = cv2.getRectSubPix(x, (1, 1), (u, v))[0, 0], cv2.getRectSubPix(y, (1, 1), (u, v))[0, 0]
        assert near == pytest.approx(tuple(place[:2]), abs=0.05)


def test_bed_centre_lies_where_asked_through_a_bent_lens() -> None:
    seen = project(pose(BENT, 60.0), np.zeros((1, 3)))[0]
    np.testing.assert_allclose(seen - np.array([319.5, 239.5]), BENT.off_centre_px, atol=0.01)


def test_powder_is_drawn_where_the_truth_says_through_a_bent_lens() -> None:
    """White powder in a black tub: half way between the two tones lies on the outline that truth gives."""
    bed = round_bed(300.0, (1, 4), surface_below_rim_mm=0.0)
    dark = (0.02, 0.02, 0.02)
    scene = Scene(
        bed=bed, air=(0.0,) * 5, camera=replace(BENT, vignette=0.0), lamp=Lamp(falloff=0.0, ambient=1.0),
        tub=Tub(rim=dark, wall=dark, rim_mm=25.0),
    )  # fmt: skip
    source = BedSource(scene)
    grey = next(iter(source)).picture[..., 1].astype(np.float32)
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    scales = np.linspace(144, 156, 49)
    profile = np.zeros(len(scales))
    for k, radius in enumerate(scales):
        pixels = source.truth.pixels(ring * radius).astype(np.float32)
        profile[k] = cv2.remap(grey, pixels[:, :1], pixels[:, 1:], cv2.INTER_LINEAR).mean()
    middle = (profile[:5].mean() + profile[-5:].mean()) / 2
    edge = np.interp(-middle, -profile, scales)
    assert edge == pytest.approx(150.0, abs=0.3)  # a third of a pixel
    assert source.truth.as_json()["distortion"]["k1"] == BENT.k1


def test_a_straight_lens_leaves_the_truth_file_as_it_was() -> None:
    scene = Scene(bed=round_bed(300.0, (2,)), air=(1.0, 1.0), camera=replace(BENT, k1=0.0, k2=0.0))
    assert "distortion" not in BedSource(scene).truth.as_json()


@pytest.mark.parametrize("roll", [-25.0, 12.0])
def test_roll_turns_the_bed_and_nothing_else(roll: float) -> None:
    straight = Camera(tilt_deg=12.0, tilt_azimuth_deg=40.0, off_centre_px=(30.0, 20.0))
    plain, rolled = (pose(replace(straight, roll_deg=r), 80.0) for r in (0.0, roll))
    turn = math.radians(roll)
    places = np.array([[100.0, 0, 0], [0.0, 80.0, 0], [20.0, -60.0, 80.0]])
    c, s = math.cos(turn), math.sin(turn)
    spun = np.column_stack([c * places[:, 0] - s * places[:, 1], s * places[:, 0] + c * places[:, 1], places[:, 2]])
    np.testing.assert_allclose(project(rolled, places), project(plain, spun), atol=1e-9)


def test_the_turntable_refuses_a_bent_lens() -> None:
    with pytest.raises(ValueError, match="straight lens"):
        TurntableSource(Turntable(bed=round_bed(300.0, (2,)), omega_rad_s=0.1, camera=BENT))
