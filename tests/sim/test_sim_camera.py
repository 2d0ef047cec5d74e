"""The pinhole camera and the homography it is recorded by."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.sim.camera import Camera, pixel_grid, plane_to_picture, pose, project, scale_mm_per_px
from bedwatch.sim.truth import circle_outline

TILTED = Camera(tilt_deg=14.0, tilt_azimuth_deg=70.0, off_centre_px=(40.0, -25.0))


def test_straight_down_is_a_plain_scaling() -> None:
    at = pose(Camera(size_px=(641, 481), focal_px=800.0, height_mm=900.0), 100.0)
    seen = project(at, np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 100.0, 0.0], [100.0, 0.0, 100.0]]))
    np.testing.assert_allclose(seen, [[320, 240], [400, 240], [320, 160], [320 + 800 / 9, 240]], atol=1e-9)
    assert scale_mm_per_px(at) == pytest.approx(1.25)


@pytest.mark.parametrize("azimuth", [0.0, 50.0, 135.0, 200.0, 310.0])
def test_x_axis_of_the_bed_is_level_in_the_picture_and_points_right(azimuth: float) -> None:
    camera = Camera(tilt_deg=15.0, tilt_azimuth_deg=azimuth, off_centre_px=(60.0, 30.0))
    at = pose(camera, 80.0)
    line = project(at, np.array([[-150.0, 0, 0], [0, 0, 0], [150.0, 0, 0], [0, 150.0, 0]]))
    np.testing.assert_allclose(line[:3, 1], line[1, 1], atol=1e-9)
    assert line[0, 0] < line[1, 0] < line[2, 0]
    assert line[3, 1] < line[1, 1]
    principal = (np.array(camera.size_px) - 1) / 2
    np.testing.assert_allclose(line[1] - principal, camera.off_centre_px, atol=1e-9)


def test_tilt_and_height_are_what_was_asked() -> None:
    at = pose(TILTED, 80.0)
    assert at.centre_mm[2] == pytest.approx(TILTED.height_mm + 80.0)
    inner = np.diag([TILTED.focal_px, TILTED.focal_px, 1.0])
    inner[:2, 2] = (np.array(TILTED.size_px) - 1) / 2
    axis = (np.linalg.inv(inner) @ at.matrix[:, :3])[2]  # third row: the optical axis in the bed frame
    assert math.degrees(math.acos(-axis[2])) == pytest.approx(14.0)


def test_higher_things_lean_away_from_the_foot_of_the_camera() -> None:
    at = pose(Camera(tilt_deg=12.0, tilt_azimuth_deg=0.0), 80.0)  # stands on the 6 o'clock side
    assert at.centre_mm[1] < -50
    low, high = project(at, np.array([[0.0, 0, 0], [0.0, 0, 80.0]]))
    assert high[1] < low[1] - 5


def test_homography_and_pixel_grid_agree_with_the_projection() -> None:
    at = pose(TILTED, 60.0)
    points = np.array([[0.0, 0, 60.0], [120.0, -80.0, 60.0], [-90.0, 150.0, 60.0]])
    h = plane_to_picture(at, 60.0)
    mapped = np.column_stack([points[:, :2], np.ones(3)]) @ h.T
    np.testing.assert_allclose(mapped[:, :2] / mapped[:, 2:], project(at, points), atol=1e-9)
    x, y = pixel_grid(at, 60.0, TILTED.size_px)
    back = project(at, np.array([[x[300, 900], y[300, 900], 60.0]]))
    np.testing.assert_allclose(back, [[900, 300]], atol=0.01)


def test_outline_ellipse_passes_through_the_pictures_of_the_circle() -> None:
    at = pose(TILTED, 80.0)
    outline = circle_outline(plane_to_picture(at), 210.0)
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    seen = project(at, np.column_stack([210 * np.cos(turn), 210 * np.sin(turn), 0 * turn]))
    angle = math.radians(outline["angle_deg"])
    delta = seen - outline["centre_px"]
    along = delta @ [math.cos(angle), math.sin(angle)]
    across = delta @ [-math.sin(angle), math.cos(angle)]
    a, b = outline["axes_px"]
    np.testing.assert_allclose((along / a) ** 2 + (across / b) ** 2, 1.0, atol=1e-9)
    assert a >= b
    assert not np.allclose(outline["centre_px"], project(at, np.zeros((1, 3)))[0], atol=0.5)
