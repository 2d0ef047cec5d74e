"""Places named by hand: drawn from known views with known errors, and every slip a person can make."""

from typing import Any

import numpy as np
import pytest
from skimage.measure import EllipseModel
from skimage.transform import ProjectiveTransform

from bedwatch.aim.hand.by_hand import aim_by_points, twelve_of
from bedwatch.aim.hand.points import HandPoints
from bedwatch.aim.outline import fit_ellipse, homography_of_points, mm_per_px, outline_of, outline_points, to_picture
from bedwatch.aim.turned import turned
from bedwatch.aim.types import Aim, Corners, Ellipse
from bedwatch.errors import UserError

SIZE = (1280, 720)


def ring(homography: Any, count: int, start_deg: float = 0.0, radius: float = 210.0) -> Any:
    turn = np.radians(start_deg) + 2 * np.pi * np.arange(count) / count
    return to_picture(homography, radius * np.column_stack([np.sin(turn), np.cos(turn)]))


def named(pixels: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(u), float(v)) for u, v in pixels)


def position_error(aim: Aim, true: Any, places: Any) -> float:
    return float(np.sqrt(((aim.places(to_picture(true, places)) - places) ** 2).sum(axis=1).mean()))


NINE = np.vstack(
    [[[0.0, 0.0]], 210 * np.column_stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)])]
)


@pytest.mark.parametrize(
    ("tilt", "azimuth", "centre"), [(2, 30, (640, 360)), (12, -100, (690, 340)), (22, 60, (600, 370))]
)
def test_exact_places_on_wall_and_rim_give_the_plane(planes, bed_of, tilt, azimuth, centre):
    bed = bed_of()
    surface, rim = planes(SIZE, 1090.0, 1000.0, tilt, azimuth, centre, 0.0, (0.0, 80.0))
    wall = ring(surface, 12)
    wall = wall[_inside(np.linalg.inv(rim), wall)]  # nobody names what the near wall hides
    aim = aim_by_points(HandPoints(wall=named(wall), rim=named(ring(rim, 8, 20))), bed, SIZE)
    # what is usual (focal length, a camera that leans little) pulls, by less than the places leave open
    assert aim.error_mm is not None
    assert position_error(aim, surface, NINE) < 0.8 * aim.error_mm
    assert aim.error_mm < 3.0
    assert aim.mm_per_px == pytest.approx(mm_per_px(surface), rel=0.01)
    assert isinstance(aim.rim, Ellipse)
    true = outline_of(rim, bed)
    assert aim.rim.axes_px == pytest.approx(true.axes_px, rel=0.005)
    assert aim.size_px == SIZE


def test_the_stated_error_is_that_of_places_clicked_with_care(planes, bed_of):
    """1.5 px of clicking error: two thirds of the positions within the stated error, nearly all within twice."""
    bed, rng, ratios = bed_of(), np.random.default_rng(5), []
    for _ in range(12):
        focal, distance = 1280 * rng.choice([0.65, 0.85, 1.2]), rng.uniform(850, 1100)
        centre = (640 + rng.uniform(-90, 90), 360 + rng.uniform(-30, 30))
        focal = min(focal, 1.35 * distance)
        tilt, azimuth = rng.uniform(0, 20), rng.uniform(-180, 180)
        surface, rim = planes(SIZE, focal, distance, tilt, azimuth, centre, 0.0, (0.0, 80.0 + rng.normal() * 3))
        wall, top = ring(surface, 8, rng.uniform(0, 45)), ring(rim, 6, rng.uniform(0, 60))
        hidden = ~_inside(np.linalg.inv(rim), wall)
        wall, top = wall[~hidden] + rng.normal(size=(8, 2))[~hidden] * 1.5, top + rng.normal(size=(6, 2)) * 1.5
        top = top[(top > 0).all(axis=1) & (top < np.array(SIZE) - 1).all(axis=1)]
        aim = aim_by_points(HandPoints(wall=named(wall), rim=named(top)), bed, SIZE)
        assert aim.error_mm is not None
        ratios.append(position_error(aim, surface, NINE) / aim.error_mm)
    # with 12 draws: nearly half within one, none beyond three; their mean square near 1
    assert np.mean(np.array(ratios) < 1) > 0.45
    assert max(ratios) < 3
    assert 0.5 < np.sqrt(np.mean(np.square(ratios))) < 1.4


def _inside(back: Any, pixels: Any) -> Any:
    q = np.column_stack([pixels, np.ones(len(pixels))]) @ back.T
    return np.hypot(*(q[:, :2] / q[:, 2:]).T) < 210.0


def test_wall_places_alone_do_from_straight_above_and_say_what_they_leave_open(planes, bed_of):
    bed = bed_of()
    surface = planes(SIZE, 1090.0, 1000.0, 1.0, 40, (640, 360), 0.0, (0.0,))[0]
    aim = aim_by_points(HandPoints(wall=named(ring(surface, 10))), bed, SIZE)
    assert aim.error_mm is not None
    assert position_error(aim, surface, NINE) < aim.error_mm
    assert 1.0 < aim.error_mm < 6.0


def test_wall_places_alone_are_refused_when_the_camera_may_lean_either_way(planes, bed_of):
    bed = bed_of()
    surface = planes(SIZE, 1090.0, 1000.0, 12.0, 40, (640, 360), 0.0, (0.0,))[0]
    with pytest.raises(UserError, match=r"leans.*places of the rim") as refused:
        aim_by_points(HandPoints(wall=named(ring(surface, 12))), bed, SIZE)
    assert len(refused.value.lines) == 1


def test_the_x_axis_is_level_unless_twelve_is_named(planes, bed_of):
    bed = bed_of()
    surface, rim = planes(SIZE, 1090.0, 1000.0, 10.0, 50, (660, 350), 0.0, (0.0, 80.0))
    wall, top = named(ring(surface, 8)), named(ring(rim, 6))
    plain = aim_by_points(HandPoints(wall=wall, rim=top), bed, SIZE)
    left, middle, right = plain.pixels(np.array([[-100.0, 0], [0, 0], [100.0, 0]]))
    assert left[1] == pytest.approx(middle[1], abs=1e-6)
    assert right[1] == pytest.approx(middle[1], abs=1e-6)
    four = np.radians(120)
    for plane, radius in ((surface, 150.0), (surface, 205.0), (rim, 212.0), (rim, 300.0)):
        (place,) = to_picture(plane, radius * np.array([[np.sin(four), np.cos(four)]]))
        aim = aim_by_points(HandPoints(wall=wall, rim=top, twelve=(place[0], place[1])), bed, SIZE)
        # y of the new aim runs towards 4 o'clock of the old one
        x, y = plain.places(aim.pixels(np.array([[0.0, 100.0]])))[0]
        assert np.degrees(np.arctan2(x, y)) == pytest.approx(120, abs=0.5)
        assert (aim.error_mm or 0) >= (plain.error_mm or 0)


def test_a_place_on_the_wall_between_rim_and_powder_tells_twelve_too(planes, bed_of):
    bed = bed_of()
    surface, rim, half = planes(SIZE, 1090.0, 1000.0, 14.0, -90, (640, 380), 0.0, (0.0, 80.0, 40.0))
    wall, top = named(ring(surface, 16)[[0, 1, 2, 3, 4, 12, 13, 14, 15]]), named(ring(rim, 8))
    plain = aim_by_points(HandPoints(wall=wall, rim=top), bed, SIZE)
    two = np.radians(60)
    (place,) = to_picture(half, 210.0 * np.array([[np.sin(two), np.cos(two)]]))
    found = twelve_of(plain, bed, (float(place[0]), float(place[1])))
    x, y = plain.places(found.pixels(np.array([[0.0, 100.0]])))[0]
    assert np.degrees(np.arctan2(x, y)) == pytest.approx(60, abs=0.7)


def test_twelve_near_the_centre_gives_no_direction(planes, bed_of):
    bed = bed_of()
    surface, rim = planes(SIZE, 1090.0, 1000.0, 5.0, 50, (640, 360), 0.0, (0.0, 80.0))
    points = HandPoints(wall=named(ring(surface, 8)), rim=named(ring(rim, 6)), twelve=(645.0, 350.0))
    with pytest.raises(UserError, match=r"12 o'clock: found a place \d+ mm from the bed's centre"):
        aim_by_points(points, bed, SIZE)


@pytest.mark.parametrize("on_rim", [False, True])
def test_corners_in_any_order_give_a_rectangular_bed(planes, bed_of, on_rim):
    bed = bed_of("rectangular", 500, 300, 60)
    surface, rim = planes(SIZE, 1090.0, 1000.0, 15.0, -60.0, (640, 360), 4.0, (0.0, 60.0))
    places = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * [250.0, 150.0]
    pixels = named(to_picture(rim if on_rim else surface, places)[[2, 0, 3, 1]])
    points = HandPoints(rim_corners=pixels) if on_rim else HandPoints(corners=pixels)
    aim = aim_by_points(points, bed, SIZE)
    assert position_error(aim, surface, places) < (2.5 if on_rim else 0.7)
    assert isinstance(aim.surface, Corners)
    assert aim.surface.corners_px[0] == pytest.approx(to_picture(surface, places)[0], abs=4)
    # 12 o'clock on the other long side turns it by half
    (below,) = to_picture(surface, np.array([[0.0, -140.0]]))
    other = aim_by_points(
        HandPoints(corners=points.corners, rim_corners=points.rim_corners, twelve=(below[0], below[1])), bed, SIZE
    )
    assert other.places(np.array([below]))[0][1] == pytest.approx(140, abs=4)
    assert not np.allclose(other.surface.corners_px[0], aim.surface.corners_px[0], atol=50)
    half = turned(aim, bed, 180)
    assert isinstance(half.surface, Corners)
    assert np.allclose(half.surface.corners_px, other.surface.corners_px, atol=0.5)


def test_the_long_side_of_a_trough_that_stands_upright_in_the_picture_is_known_by_its_length(planes, bed_of):
    bed = bed_of("rectangular", 500, 300, 60)
    surface = planes(SIZE, 1000.0, 1150.0, 6.0, -60.0, (640, 360), 84.0, (0.0,))[0]
    places = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * [250.0, 150.0]
    aim = aim_by_points(HandPoints(corners=named(to_picture(surface, places))), bed, SIZE)
    side = np.array(aim.surface.corners_px)
    assert np.hypot(*(side[1] - side[0])) > 1.4 * np.hypot(*(side[2] - side[1]))


def good(planes: Any) -> tuple[Any, Any]:
    surface, rim = planes(SIZE, 1090.0, 1000.0, 10.0, 50, (640, 360), 0.0, (0.0, 80.0))
    return ring(surface, 9), ring(rim, 7, 10)


def test_one_place_that_is_off_is_named_with_how_far(planes, bed_of):
    wall, rim = good(planes)
    wall[2] += 24 * (wall[2] - [640, 360]) / np.hypot(*(wall[2] - [640, 360]))
    with pytest.raises(UserError, match=r"do not fit a bed of this size: wall place 3 is (2\d) px off") as refused:
        aim_by_points(HandPoints(wall=named(wall), rim=named(rim)), bed_of(), SIZE)
    assert len(refused.value.lines) == 1


def test_a_bed_much_less_deep_does_not_fit(planes, bed_of):
    wall, rim = good(planes)
    with pytest.raises(UserError, match=r"below the rim, the bed file 8 mm|do not fit a bed of this size"):
        aim_by_points(HandPoints(wall=named(wall), rim=named(rim)), bed_of(below=8.0), SIZE)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (
            {"wall": ((100, 100), (200, 100), (300, 200))},
            "found 3 places along the wall and 0 along the rim, expected 5",
        ),
        ({"wall": tuple((100.0 + 90 * i, 300.0 + 2 * i) for i in range(6))}, "the wall places lie on one line"),
        ({"wall": ((100, 100), (1400, 200), (300, 200), (200, 300), (150, 250))}, "wall place 2: found 1400,200"),
        ({"wall": ((100, 100), (100, 100), (300, 200), (200, 300), (150, 250), (99, 9))}, "wall place 2: .* again"),
        ({"corners": ((100, 100), (200, 100), (200, 200), (100, 200))}, "corners for a round bed"),
        ({"twelve": (5.0, 5.0)}, "found 0 places"),
    ],
)
def test_each_slip_gets_one_line(bed_of, points, words):
    with pytest.raises(UserError, match=words) as refused:
        aim_by_points(HandPoints(**points), bed_of(), SIZE)
    assert len(refused.value.lines) == 1


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ({"wall": ((100, 100), (200, 100), (200, 200), (100, 200), (50, 150))}, "places along the wall of a rect"),
        ({"corners": ((100, 100), (200, 100), (200, 200))}, "found 3 corner places, expected four"),
        ({"rim_corners": ((100, 100), (200, 101), (300, 102), (100, 200))}, "do not go round"),
        ({}, "found no corners"),
    ],
)
def test_each_slip_with_corners_gets_one_line(bed_of, points, words):
    with pytest.raises(UserError, match=words) as refused:
        aim_by_points(HandPoints(**points), bed_of("rectangular", 500, 300, 60), SIZE)
    assert len(refused.value.lines) == 1


def test_places_on_a_short_piece_of_wall_are_refused(planes, bed_of):
    surface = planes(SIZE, 1090.0, 1000.0, 4.0, 50, (640, 360), 0.0, (0.0,))[0]
    turn = np.radians(np.linspace(0, 50, 7))
    arc = to_picture(surface, 210 * np.column_stack([np.sin(turn), np.cos(turn)]))
    arc += np.random.default_rng(1).normal(size=arc.shape)
    with pytest.raises(UserError):
        aim_by_points(HandPoints(wall=named(arc)), bed_of(), SIZE)


def test_our_ellipse_is_that_of_another_library(planes):
    """scikit-image fits with the same criterion (Halir & Flusser 1998)."""
    wall = good(planes)[0] + np.random.default_rng(2).normal(size=(9, 2))
    ours = fit_ellipse(wall)
    theirs = EllipseModel.from_estimate(wall)
    assert ours.centre_px == pytest.approx(tuple(theirs.center), abs=1e-3)
    assert sorted(ours.axes_px) == pytest.approx(sorted(theirs.axis_lengths), abs=1e-3)
    assert np.abs(theirs.residuals(outline_points(ours, 40))).max() < 1e-3


def test_our_homography_of_four_corners_is_that_of_another_library(planes):
    surface = planes(SIZE, 1000.0, 900.0, 20.0, -30.0, (700, 380), 8.0, (0.0,))[0]
    places = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * [250.0, 150.0]
    pixels = to_picture(surface, places)
    theirs = ProjectiveTransform.from_estimate(places, pixels)
    inside = np.random.default_rng(0).uniform(-140, 140, (20, 2))
    ours = to_picture(homography_of_points(places, pixels), inside)
    assert np.allclose(ours, theirs(inside), atol=1e-6)
