"""Ellipses, rectangles and homographies against scikit-image and against what they must be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.measure import EllipseModel
from skimage.transform import ProjectiveTransform

from bedwatch.aim.outline import (
    conic_of_ellipse,
    corners_of_rectangle,
    ellipse_of_circle,
    fit_ellipse,
    homography_of_points,
    mm_per_px,
    outline_points,
    to_bed,
    to_picture,
)
from bedwatch.aim.types import Ellipse

TILTED = np.array([[1.02, 0.05, 640.0], [0.01, -0.98, 370.0], [2e-5, 1.5e-4, 1.0]])


def test_the_ellipse_of_a_circle_passes_through_the_pictures_of_its_points():
    turn = np.linspace(0, 2 * np.pi, 50)
    pixels = to_picture(TILTED, 210 * np.column_stack([np.cos(turn), np.sin(turn)]))
    conic = conic_of_ellipse(ellipse_of_circle(TILTED, 210.0))
    on = np.column_stack([pixels, np.ones(50)])
    assert np.abs(np.einsum("ni,ij,nj->n", on, conic, on)).max() < 1e-9


def test_the_picture_of_the_centre_is_not_the_centre_of_the_ellipse_once_tilted():
    ellipse = ellipse_of_circle(TILTED, 210.0)
    assert np.hypot(ellipse.centre_px[0] - 640.0, ellipse.centre_px[1] - 370.0) > 3


def test_ellipse_fit_agrees_with_scikit_image_on_noisy_points():
    rng = np.random.default_rng(5)
    true = Ellipse(centre_px=(400.0, 300.0), axes_px=(210.0, 190.0), angle_deg=25.0)
    pixels = outline_points(true, 90)[:70] + rng.normal(0, 0.4, (70, 2))
    got = fit_ellipse(pixels)
    other = EllipseModel.from_estimate(pixels)
    assert got.centre_px == pytest.approx(tuple(other.center), abs=0.3)
    assert sorted(got.axes_px) == pytest.approx(sorted(other.axis_lengths), abs=0.4)
    assert got.centre_px == pytest.approx(true.centre_px, abs=0.5)


@settings(max_examples=40, deadline=None)
@given(
    u=st.floats(-200, 2000),
    v=st.floats(-200, 2000),
    a=st.floats(20, 900),
    flat=st.floats(0.5, 0.99),
    t=st.floats(-89, 89),
)
def test_ellipse_fit_returns_the_ellipse_its_points_lie_on(u, v, a, flat, t):
    true = Ellipse(centre_px=(u, v), axes_px=(a, a * flat), angle_deg=t)
    got = fit_ellipse(outline_points(true, 40))
    assert got.centre_px == pytest.approx((u, v), abs=1e-3 * a)
    assert got.axes_px == pytest.approx(true.axes_px, rel=1e-4)
    back = outline_points(got, 4)[0]  # the tip of the long axis
    assert min(np.hypot(*(back - tip)) for tip in outline_points(true, 4)[::2]) < 0.01 * a / (1.001 - flat)


@pytest.mark.parametrize("pixels", [np.zeros((4, 2)), np.column_stack([np.arange(9.0), 2 * np.arange(9.0)])])
def test_points_that_fix_no_ellipse_are_refused(pixels):
    with pytest.raises(ValueError, match="ellipse"):
        fit_ellipse(pixels)


def test_homography_of_points_agrees_with_scikit_image():
    rng = np.random.default_rng(3)
    places = rng.uniform(-250, 250, (12, 2))
    pixels = to_picture(TILTED, places) + rng.normal(0, 0.2, (12, 2))
    other = ProjectiveTransform.from_estimate(places, pixels)
    got = homography_of_points(places, pixels)
    check = rng.uniform(-250, 250, (50, 2))
    assert np.abs(to_picture(got, check) - other(check)).max() < 0.05
    assert np.abs(to_picture(got, check) - to_picture(TILTED, check)).max() < 1.0


def test_four_corners_give_the_homography_back_exactly():
    mm = np.array([[-250, 150], [250, 150], [250, -150], [-250, -150]], float)
    corners = np.array(corners_of_rectangle(TILTED, 500, 300).corners_px)
    assert np.allclose(homography_of_points(mm, corners), TILTED, atol=1e-9)


def test_three_points_on_a_line_fix_no_homography():
    mm = np.array([[0, 0], [1, 0], [2, 0], [0, 1]], float)
    with pytest.raises(ValueError, match="homography"):
        homography_of_points(mm, mm * 3)


def test_there_and_back_is_the_same_place():
    places = np.random.default_rng(1).uniform(-300, 300, (40, 2))
    assert np.allclose(to_bed(TILTED, to_picture(TILTED, places)), places, atol=1e-9)


def test_scale_is_what_a_small_square_says():
    square = to_picture(TILTED, np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]]))
    x, y = square.T
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    assert mm_per_px(TILTED) == pytest.approx(area**-0.5, rel=1e-5)
    assert mm_per_px(3 * TILTED) == pytest.approx(mm_per_px(TILTED))


def test_a_circle_that_reaches_behind_the_camera_is_no_ellipse():
    with pytest.raises(ValueError, match="ellipse"):
        ellipse_of_circle(np.array([[1, 0, 0], [0, -1, 0], [0, 0.02, 1.0]]), 210.0)
