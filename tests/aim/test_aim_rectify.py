"""The grid in the bed plane, and the check picture."""

import numpy as np
import pytest

from bedwatch.aim.draw import check_picture
from bedwatch.aim.outline import mm_per_px, outline_of, to_picture
from bedwatch.aim.rectify import Rectifier, step_for
from bedwatch.aim.types import Aim, NotFound

SIZE = (1280, 720)


def aim_for(bed, surface, rim=None, size=SIZE):
    return Aim(
        surface=outline_of(surface, bed),
        rim=outline_of(rim, bed) if rim is not None else None,
        bed_to_picture=surface / surface[2, 2],
        mm_per_px=mm_per_px(surface),
        size_px=size,
    )


def waves(places):
    """A smooth pattern in bed millimetres, grey levels."""
    x, y = places[..., 0], places[..., 1]
    return 120 + 50 * np.sin(x / 17.0) + 40 * np.cos((y + 0.5 * x) / 23.0)


@pytest.mark.parametrize(("size", "distance"), [((1280, 720), 900.0), ((1920, 1080), 420.0), ((640, 480), 1100.0)])
def test_a_pattern_in_the_bed_comes_back_in_millimetres(planes, bed_of, size, distance):
    bed = bed_of("round", 300.0, None, 60.0)
    middle = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    surface, rim = planes(size, 0.9 * size[0], distance, 12.0, -70.0, middle, 0.0, (0.0, 60.0))
    v, u = np.mgrid[0 : size[1], 0 : size[0]]
    uvw = np.stack([u, v, np.ones_like(u)], -1) @ np.linalg.inv(surface).T
    picture = np.clip(waves(uvw[..., :2] / uvw[..., 2:]), 0, 255).astype(np.uint8)
    grid = Rectifier(aim_for(bed, surface, rim, size), bed, size)
    flat = grid.rectify(np.dstack([picture] * 3))
    miss = np.abs(flat.astype(float) - waves(grid.xy_mm))[grid.visible]
    assert flat.shape == grid.shape == grid.visible.shape
    assert np.percentile(miss, 99) < 4.0
    assert np.array_equal(grid.rectify(picture), flat)


def test_the_grid_runs_right_and_up_in_millimetres(planes, bed_of):
    bed = bed_of("rectangular", 420, 260, 0)
    surface = planes(SIZE, 1000.0, 900.0, 0.0, -90.0, (640, 360), 0.0, (0.0,))[0]
    grid = Rectifier(aim_for(bed, surface), bed, SIZE)
    assert grid.xy_mm[0, 0] == pytest.approx((-210, 130), abs=grid.step_mm)
    assert grid.xy_mm[-1, -1] == pytest.approx((210, -130), abs=grid.step_mm)
    assert np.diff(grid.xy_mm[0, :, 0]) == pytest.approx(grid.step_mm)
    assert grid.visible.mean() > 0.97


def test_what_the_near_wall_or_the_pictures_edge_hides_is_not_visible(planes, bed_of):
    bed = bed_of()
    surface, rim = planes(SIZE, 1100.0, 700.0, 22.0, -90.0, (1000, 330), 0.0, (0.0, 80.0))
    grid = Rectifier(aim_for(bed, surface, rim), bed, SIZE)
    x, y = grid.xy_mm[..., 0], grid.xy_mm[..., 1]
    on_bed = np.hypot(x, y) < 209
    assert not grid.visible[on_bed & (y < -207)].any()
    assert grid.visible[(np.abs(x) < 20) & (np.abs(y) < 20)].all()
    pixels = to_picture(surface, grid.xy_mm.reshape(-1, 2)).reshape(*grid.shape, 2)
    assert not grid.visible[pixels[..., 0] > SIZE[0] - 1].any()
    assert (pixels[..., 0][on_bed] > SIZE[0] - 1).any()


def test_the_step_follows_bed_and_camera(bed_of):
    assert step_for(bed_of("round", 420.0), 0.7) == pytest.approx(1.25)
    assert step_for(bed_of("round", 200.0), 0.3) == 1.0
    assert step_for(bed_of("round", 420.0), 2.5) == pytest.approx(2.0)


def test_pictures_of_another_size_and_beds_out_of_sight_are_refused(planes, bed_of):
    bed = bed_of()
    surface = planes(SIZE, 1000.0, 900.0, 0.0, -90.0, (640, 360), 0.0, (0.0,))[0]
    grid = Rectifier(aim_for(bed, surface), bed, SIZE)
    with pytest.raises(ValueError, match="640 x 480"):
        grid.rectify(np.zeros((480, 640), np.uint8))
    away = planes(SIZE, 1000.0, 900.0, 0.0, -90.0, (4000, 360), 0.0, (0.0,))[0]
    with pytest.raises(ValueError, match="not in the picture"):
        Rectifier(aim_for(bed, away), bed, SIZE)


def test_the_check_picture_shows_outlines_where_they_are(planes, bed_of):
    bed = bed_of()
    surface, rim = planes(SIZE, 1000.0, 900.0, 10.0, -90.0, (640, 360), 0.0, (0.0, 80.0))
    aim = aim_for(bed, surface, rim)
    picture = np.full((720, 1280), 90, np.uint8)
    shown = check_picture(picture, bed, aim)
    assert shown.shape == (720, 1280, 3)
    assert (picture == 90).all()
    for outline, place in ((surface, (-210.0, 0.0)), (rim, (0.0, 210.0)), (rim, (210.0, 0.0))):
        u, v = np.rint(to_picture(outline, np.array([place]))[0]).astype(int)
        spot = shown[v - 2 : v + 3, u - 2 : u + 3].astype(int)
        assert (spot.max(axis=-1) - spot.min(axis=-1)).max() > 80
    assert (shown[600:610, 100:200] == 90).all()


def test_the_check_picture_of_a_refusal_says_so_and_shows_the_candidate(planes, bed_of):
    bed = bed_of()
    surface = planes(SIZE, 1000.0, 900.0, 10.0, -90.0, (640, 360), 0.0, (0.0,))[0]
    refusal = NotFound(reason="two things look like the bed", advice="Cover one.")
    plain = np.full((720, 1280, 3), 90, np.uint8)
    alone = check_picture(plain, bed, refusal)
    both = check_picture(plain, bed, refusal, aim_for(bed, surface))
    assert (alone != plain).any()
    assert (both[300:500] != alone[300:500]).any()
