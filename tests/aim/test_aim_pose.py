"""The camera model against homographies built another way."""

import numpy as np
import pytest

from bedwatch.aim.outline import ellipse_of_circle
from bedwatch.aim.pose import View, bed_outline_mm, outside_mm

SIZE = (1280, 720)


@pytest.mark.parametrize(
    ("tilt", "azimuth", "centre"), [(0.5, 10, (700, 300)), (13, -70, (600, 380)), (24, 100, (640, 400))]
)
def test_one_of_the_two_poses_of_an_ellipse_is_the_true_one(planes, bed_of, plane_error, tilt, azimuth, centre):
    bed = bed_of()
    surface, rim = planes(SIZE, 1000.0, 900.0, tilt, azimuth, centre, 0.0, (0.0, 80.0))
    view = View(bed=bed, size_px=SIZE)
    found = view.of_circle(ellipse_of_circle(rim, 210.0), 1000.0, 80.0)
    errors = [max(plane_error(bed, view.homography(pose), surface)) for pose in found]
    assert min(errors) < 1e-4
    assert view.focal_px(found[int(np.argmin(errors))]) == pytest.approx(1000.0)


def test_a_rectangles_homography_gives_its_pose_and_no_misfit(planes, bed_of, plane_error):
    bed = bed_of("rectangular", 500, 300, 60)
    surface, rim = planes(SIZE, 1000.0, 900.0, 12.0, -60.0, (600, 380), 7.0, (0.0, 60.0))
    view = View(bed=bed, size_px=SIZE)
    pose, misfit = view.of_homography(rim / rim[2, 2], 1000.0, 60.0)
    assert misfit < 1e-9
    assert max(plane_error(bed, view.homography(pose), surface)) < 1e-6
    assert view.of_homography(rim / rim[2, 2], 500.0, 60.0)[1] > 0.01


def test_the_x_axis_of_a_round_bed_is_horizontal_in_the_picture(planes, bed_of):
    rim = planes(SIZE, 900.0, 800.0, 20.0, -30.0, (700, 450), 0.0, (80.0,))[0]
    view = View(bed=bed_of(), size_px=SIZE)
    for pose in view.of_circle(ellipse_of_circle(rim, 210.0), 900.0, 80.0):
        left, centre, right = view.project(pose, np.array([[-200.0, 0], [0, 0], [200.0, 0]]), 0.0)
        assert left[1] == pytest.approx(centre[1])
        assert right[1] == pytest.approx(centre[1])
        assert right[0] > left[0]


def test_the_near_wall_hides_the_near_edge_only(planes, bed_of, plane_error):
    bed = bed_of()
    surface, rim = planes(SIZE, 1000.0, 900.0, 20.0, -90.0, (640, 360), 0.0, (0.0, 80.0))
    view = View(bed=bed, size_px=SIZE)
    pose = min(
        view.of_circle(ellipse_of_circle(rim, 210.0), 1000.0, 80.0),
        key=lambda one: max(plane_error(bed, view.homography(one), surface)),
    )
    near, far, middle = view.seen(pose, np.array([[0.0, -209.0], [0.0, 209.0], [0.0, 0.0]]))
    assert not near
    assert far
    assert middle


@pytest.mark.parametrize("shape", ["round", "rectangular"])
def test_outline_places_lie_on_the_outline(bed_of, shape):
    bed = bed_of(shape, 400, 400 if shape == "round" else 250)
    assert np.abs(outside_mm(bed, bed_outline_mm(bed, 100))).max() < 1e-9
    assert outside_mm(bed, bed_outline_mm(bed, 100, 5.0)) == pytest.approx(5.0)
