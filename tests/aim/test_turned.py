"""12 o'clock elsewhere, and pictures in a mirror."""

import numpy as np
import pytest

from bedwatch.aim.outline import mm_per_px, outline_of, outline_points, to_picture
from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.turned import is_mirrored, mirrored, turned
from bedwatch.aim.types import Aim
from bedwatch.errors import UserError

SIZE = (640, 480)


@pytest.fixture
def aimed(planes, bed_of):
    def make(shape="round", width=420, length=None):
        bed = bed_of(shape, width, length, 60)
        surface, rim = planes(SIZE, 560.0, 900.0, 12.0, -70.0, (330, 250), 0.0, (0.0, 60.0))
        aim = Aim(
            surface=outline_of(surface, bed),
            rim=outline_of(rim, bed),
            bed_to_picture=surface / surface[2, 2],
            mm_per_px=mm_per_px(surface),
            size_px=SIZE,
        )
        return bed, aim

    return make


def test_a_quarter_turn_puts_twelve_where_three_was(aimed):
    bed, aim = aimed()
    after = turned(aim, bed, 90)
    assert after.pixels(np.array([[0.0, 150.0]])) == pytest.approx(aim.pixels(np.array([[150.0, 0.0]])))
    assert after.pixels(np.array([[150.0, 0.0]])) == pytest.approx(aim.pixels(np.array([[0.0, -150.0]])))
    assert after.surface == aim.surface
    assert after.rim == aim.rim
    assert not is_mirrored(after.bed_to_picture)


def test_turns_add_up_and_a_whole_one_changes_nothing(aimed):
    bed, aim = aimed()
    after = turned(turned(aim, bed, 100), bed, 260)
    assert after.bed_to_picture == pytest.approx(aim.bed_to_picture)


def test_a_mirror_keeps_twelve_and_swaps_left_and_right(aimed):
    bed, aim = aimed()
    after = mirrored(aim, bed)
    assert after.pixels(np.array([[0.0, 150.0]])) == pytest.approx(aim.pixels(np.array([[0.0, 150.0]])))
    assert after.pixels(np.array([[150.0, 20.0]])) == pytest.approx(aim.pixels(np.array([[-150.0, 20.0]])))
    assert is_mirrored(after.bed_to_picture)
    assert not is_mirrored(aim.bed_to_picture)
    assert mirrored(after, bed).bed_to_picture == pytest.approx(aim.bed_to_picture)


@pytest.mark.parametrize("mirror", [False, True])
def test_corners_stay_those_the_homography_draws(aimed, mirror):
    bed, aim = aimed("rectangular", 400, 260)
    after = turned(aim, bed, 180)
    if mirror:
        after = mirrored(after, bed)
    drawn = outline_of(after.bed_to_picture, bed)
    assert outline_points(after.surface) == pytest.approx(outline_points(drawn))
    assert {tuple(c) for c in after.rim.corners_px} == {tuple(c) for c in aim.rim.corners_px}
    # of both outlines the first corner is the one at -x, +y: they lie near one another
    apart = np.array(after.rim.corners_px) - after.surface.corners_px
    assert np.hypot(*apart.T).max() < 60


def test_a_trough_turns_by_half_a_square_one_by_quarters(aimed):
    bed, aim = aimed("rectangular", 400, 260)
    for degrees in (90, 30):
        with pytest.raises(UserError, match="expected 0 or 180"):
            turned(aim, bed, degrees)
    bed, aim = aimed("rectangular", 300, 300)
    after = turned(aim, bed, -90)
    assert outline_points(after.surface) == pytest.approx(outline_points(outline_of(after.bed_to_picture, bed)))
    with pytest.raises(UserError, match="a multiple of 90"):
        turned(aim, bed, 45)


def test_a_mirrored_picture_laid_flat_looks_like_the_plain_one(aimed):
    """A picture and its mirror image, each with its own aim, give the same grid."""
    bed, aim = aimed()
    rng = np.random.default_rng(0)
    picture = np.kron(rng.integers(40, 220, (48, 64)), np.ones((10, 10))).astype(np.uint8)
    flat = Rectifier(aim, bed, SIZE).rectify(picture)
    # seen in the mirror the same bed lies at u' = w - 1 - u; found as if it was none, its x axis runs to the right
    flip = np.array([[-1.0, 0, SIZE[0] - 1], [0, 1, 0], [0, 0, 1]])
    shown = flip @ aim.bed_to_picture @ np.diag([-1.0, 1.0, 1.0])
    found = Aim(
        surface=outline_of(shown, bed),
        rim=None,
        bed_to_picture=shown / shown[2, 2],
        mm_per_px=aim.mm_per_px,
        size_px=SIZE,
    )
    right = to_picture(found.bed_to_picture, np.array([[0.0, 0.0], [100.0, 0.0]]))
    assert right[1, 0] > right[0, 0]
    again = Rectifier(mirrored(found, bed), bed, SIZE).rectify(np.ascontiguousarray(picture[:, ::-1]))
    inside = np.hypot(*np.moveaxis(Rectifier(aim, bed, SIZE).xy_mm, -1, 0)) < 200
    assert np.abs(flat.astype(int) - again)[inside].mean() < 1.0
    wrong = Rectifier(found, bed, SIZE).rectify(np.ascontiguousarray(picture[:, ::-1]))
    assert np.abs(flat.astype(int) - wrong)[inside].mean() > 10
