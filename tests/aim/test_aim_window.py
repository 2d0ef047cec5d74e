"""The bed's part of the picture: whole bed in it, and the aim goes with it."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.aim.lens import Lens
from bedwatch.aim.types import Aim, Corners, Ellipse
from bedwatch.aim.window import Window, aim_in, bed_window

SIZE_PX = (1280, 720)


def aim_of(surface: Ellipse | Corners, lens: Lens | None = None) -> Aim:
    tilted = np.array([[1.3, 0.05, 600.0], [0.02, -1.2, 330.0], [1e-5, 2e-4, 1.0]])
    return Aim(surface=surface, rim=None, bed_to_picture=tilted, mm_per_px=0.8, size_px=SIZE_PX, lens=lens)


@pytest.mark.parametrize(
    "lens", [None, Lens(k1=-0.1, focal_px=900.0, centre_px=(640.0, 360.0), straight_focal_px=880.0)]
)
def test_places_stay_where_they_are(lens: Lens | None) -> None:
    aim = aim_of(Ellipse(centre_px=(600.0, 330.0), axes_px=(270.0, 250.0), angle_deg=3.0), lens)
    window = bed_window(aim, SIZE_PX)
    places = np.array([[0.0, 0.0], [150.0, -90.0], [-200.0, 10.0]])
    there = aim_in(aim, window)
    np.testing.assert_allclose(
        there.pixels(places) + np.array([window.left, window.top]), aim.pixels(places), atol=1e-6
    )
    assert there.size_px == (window.width, window.height)
    assert isinstance(there.surface, Ellipse)
    assert there.surface.centre_px == (600.0 - window.left, 330.0 - window.top)


def test_the_window_holds_the_bed_with_a_margin_and_ends_at_the_picture() -> None:
    whole = bed_window(aim_of(Ellipse(centre_px=(600.0, 330.0), axes_px=(250.0, 250.0), angle_deg=0.0)), SIZE_PX)
    assert whole.left < 340 < 860 < whole.left + whole.width
    assert whole.top < 75
    assert whole.top + whole.height > 585
    cut = bed_window(aim_of(Ellipse(centre_px=(600.0, 330.0), axes_px=(700.0, 350.0), angle_deg=0.0)), SIZE_PX)
    assert cut == Window(left=0, top=0, width=1280, height=720)


def test_corners_go_along() -> None:
    corners = Corners(corners_px=((100.0, 80.0), (501.0, 90.0), (510.0, 400.0), (95.0, 390.0)))
    aim = aim_of(corners)
    window = bed_window(aim, SIZE_PX)
    assert window.width % 2 == window.height % 2 == 0
    moved = aim_in(aim, window).surface
    assert isinstance(moved, Corners)
    assert moved.corners_px[1] == (501.0 - window.left, 90.0 - window.top)
