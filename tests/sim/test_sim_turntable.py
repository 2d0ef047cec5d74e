"""The turntable turns at exactly the speed its truth names."""

from __future__ import annotations

import dataclasses
import math

import cv2
import numpy as np
import pytest

from bedwatch.sim.beds import round_bed
from bedwatch.sim.camera import Camera, fitting_focal_px, plane_to_picture, pose
from bedwatch.sim.turntable import Turntable, TurntableSource, rms_radius_mm

SIZE = (480, 360)
CAMERA = Camera(
    size_px=SIZE,
    focal_px=fitting_focal_px(SIZE, 900, 320, 0.95),
    tilt_deg=10.0,
    tilt_azimuth_deg=130.0,
    blur_px=0.6,
)
BED = round_bed(300.0, (1, 4), surface_below_rim_mm=40.0)
TABLE = Turntable(bed=BED, omega_rad_s=0.3, camera=CAMERA, duration_s=0.2)


def plan_view(source: TurntableSource, time_s: float) -> np.ndarray:
    """Clean picture resampled to the bed plane, 1 mm a sample, 280 x 280 mm, y up."""
    left, top, _, _ = source._stage.box
    to_bed = np.array([[1.0, 0, -139.5], [0, -1.0, 139.5], [0, 0, 1.0]])
    shift = np.array([[1.0, 0, -left], [0, 1.0, -top], [0, 0, 1.0]])
    mapping = shift @ plane_to_picture(pose(CAMERA, 40.0)) @ to_bed
    return cv2.warpPerspective(source.render(time_s), mapping, (280, 280), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)


@pytest.mark.parametrize("omega", [0.04, 0.3, -0.3])
def test_the_disc_turns_by_omega_times_time(omega: float) -> None:
    """Rotation and shift between two plan views by direct alignment (Evangelidis & Psarakis 2008, ECC)."""
    source = TurntableSource(dataclasses.replace(TABLE, omega_rad_s=omega))
    first, then = plan_view(source, 0.0), plan_view(source, 0.4)
    middle = 139.5
    y, x = np.mgrid[:280, :280] - middle
    mask = (np.hypot(x, y) < 125).astype(np.uint8)
    start = np.eye(2, 3, dtype=np.float32)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-9)
    _, found = cv2.findTransformECC(first, then, start, cv2.MOTION_EUCLIDEAN, stop, mask, 3)
    angle = -math.atan2(found[1, 0], found[0, 0])  # rows run down, so the sign turns
    assert angle == pytest.approx(omega * 0.4, abs=1e-4)  # 1e-4 rad is 0.015 mm at the wall
    axis = found[:, :2] @ [middle, middle] + found[:, 2]
    np.testing.assert_allclose(axis, middle, atol=0.02)


def test_true_zone_speeds() -> None:
    """Disc of radius a: rms radius a / sqrt 2; ring a to b: sqrt((a² + b²) / 2)."""
    source = TurntableSource(dataclasses.replace(TABLE, omega_rad_s=-0.3))
    inner = 150 / math.sqrt(5)
    ring = math.sqrt((inner**2 + 150**2) / 2)
    expected = [0.3 * inner / math.sqrt(2)] + [0.3 * ring] * 4
    assert source.truth.speed_mm_s == pytest.approx(expected, rel=2e-3)
    square = np.array([[0.0, 0.0], [0.0, 6.0], [6.0, 6.0], [6.0, 0.0]])
    assert rms_radius_mm(square) == pytest.approx(math.sqrt(24.0))


def test_still_disc_differs_by_noise_only_and_rim_never_moves() -> None:
    still = TurntableSource(dataclasses.replace(TABLE, omega_rad_s=0.0))
    np.testing.assert_array_equal(still.render(0.0), still.render(5.0))
    one, two = (f.picture.astype(float) for f in list(still)[:2])
    assert 0.5 < (one - two).std() < 8
    turning = TurntableSource(TABLE)
    a, b = (f.picture for f in list(turning)[:5:4])
    left, top, right, bottom = turning._stage.box
    outside = np.ones(SIZE[::-1], dtype=bool)
    outside[top:bottom, left:right] = False
    assert abs((a.astype(float) - b)[outside].mean()) < 0.1
    assert (a.astype(float) - b)[~outside].std() > 1.5 * (a.astype(float) - b)[outside].std()


def test_contrast_scales_the_texture() -> None:
    full, faint = (
        plan_view(TurntableSource(dataclasses.replace(TABLE, contrast=c)), 0.0)[60:220, 60:220] for c in (1.0, 0.1)
    )
    assert faint.std() / full.std() == pytest.approx(0.1, rel=0.25)
    assert faint.mean() == pytest.approx(TABLE.level_dn, rel=0.05)


@pytest.mark.parametrize("texture", ["grass", "gravel", "brick"])
def test_textures_come_with_scikit_image(texture: str) -> None:
    table = dataclasses.replace(TABLE, texture=texture)  # type: ignore[arg-type]
    assert plan_view(TurntableSource(table), 0.0)[60:220, 60:220].std() > 4
