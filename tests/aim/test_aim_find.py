"""Beds are found where they are, and nothing else is taken for one."""

import numpy as np
import pytest
from skimage import data

from bedwatch.aim.finding.search import find_bed, search
from bedwatch.aim.outline import corners_of_rectangle, ellipse_of_circle
from bedwatch.aim.types import Aim, Ellipse, NotFound, ProblemKind

WHITE, BLACK, RED, BLUE = (225, 228, 230), (34, 34, 36), (60, 60, 165), (150, 110, 60)
SCENES = [
    {"tilt_deg": 0.0, "size": (960, 540), "powder": WHITE},
    {"tilt_deg": 12.0, "size": (960, 540), "powder": BLACK, "wall": (120, 120, 125), "moving": False},
    {"tilt_deg": 15.0, "azimuth_deg": -40.0, "powder": RED, "distance": 1300.0, "centre": (500.0, 390.0), "clutter": 7},
    {"tilt_deg": 9.0, "azimuth_deg": 60.0, "size": (640, 480), "powder": BLUE, "jpeg": 75, "noise": 5.0},
    {"tilt_deg": 11.0, "powder": BLACK, "wall": (170, 170, 165), "distance": 800.0},
    {"tilt_deg": 8.0, "size": (960, 540), "hang": True, "powder": WHITE},
]


@pytest.mark.parametrize("number", range(len(SCENES)))
def test_a_round_bed_is_found(draw, plane_error, number):
    scene = draw(seed=number, frames=2, **SCENES[number])
    aim = find_bed(scene.frames, scene.bed)
    assert isinstance(aim, Aim), aim
    centre, edge = plane_error(scene.bed, aim.bed_to_picture, scene.homography)
    assert centre < 2.0
    assert edge < 2.5
    assert aim.surface == ellipse_of_circle(aim.bed_to_picture, scene.bed.width_mm / 2)
    assert isinstance(aim.rim, Ellipse)
    true_rim = ellipse_of_circle(scene.rim_homography, scene.bed.width_mm / 2)
    assert aim.rim.centre_px == pytest.approx(true_rim.centre_px, abs=4.0)
    assert aim.error_mm is not None
    assert edge < 6 * aim.error_mm


@pytest.mark.parametrize(("tilt", "roll", "below"), [(2.0, 5.0, 60.0), (13.0, -3.0, 80.0), (10.0, 0.0, 0.0)])
def test_a_rectangular_bed_is_found(draw, bed_of, plane_error, tilt, roll, below):
    bed = bed_of("rectangular", 500, 320, below)
    scene = draw(bed=bed, tilt_deg=tilt, roll_deg=roll, frames=2, seed=21, azimuth_deg=-75.0, size=(960, 540))
    aim = find_bed(scene.frames, bed)
    assert isinstance(aim, Aim), aim
    assert max(plane_error(bed, aim.bed_to_picture, scene.homography)) < 2.0
    assert aim.surface == corners_of_rectangle(aim.bed_to_picture, 500, 320)


@pytest.mark.parametrize("azimuth", [-90.0, 70.0])
def test_a_full_bed_leans_to_the_right_side(draw, bed_of, plane_error, azimuth):
    bed = bed_of(below=0.0)
    scene = draw(bed=bed, tilt_deg=13.0, azimuth_deg=azimuth, frames=2, seed=6, clutter=1, size=(960, 540))
    aim = find_bed(scene.frames, bed)
    assert isinstance(aim, Aim), aim
    assert max(plane_error(bed, aim.bed_to_picture, scene.homography)) < 2.5


def test_grey_pictures_and_a_single_one_are_enough(draw, plane_error):
    scene = draw(tilt_deg=7.0, frames=1, seed=8, moving=False, size=(960, 540))
    aim = find_bed([np.ascontiguousarray(scene.frames[0][..., 1])], scene.bed)
    assert isinstance(aim, Aim), aim
    assert max(plane_error(scene.bed, aim.bed_to_picture, scene.homography)) < 2.0


# r: looked at for a round bed, f: a round one full to the brim, q: a rectangular one
PICTURES = ["camera r", "coins r", "brick q", "gravel f", "coffee r", "clock f", "logo r", "logo q"]


@pytest.mark.parametrize("picture_and_bed", PICTURES)
def test_a_picture_without_a_bed_is_refused(bed_of, picture_and_bed):
    name, kind = picture_and_bed.split()
    raw = getattr(data, name)()
    picture = np.ascontiguousarray(raw[..., 2::-1] if raw.ndim == 3 else raw)
    picture = (picture * 255).astype(np.uint8) if picture.dtype != np.uint8 else picture
    picture = picture[:: 1 + picture.shape[0] // 350, :: 1 + picture.shape[0] // 350]
    bed = {"r": bed_of(), "f": bed_of(below=0.0), "q": bed_of("rectangular", 400, 300, 50)}[kind]
    found = find_bed([picture], bed)
    assert isinstance(found, NotFound), found
    assert found.reason
    assert found.advice
    assert [problem.kind for problem in found.problems] == [ProblemKind.BED_NOT_FOUND]


def test_a_bench_with_round_things_but_no_bed_is_refused(draw, bed_of):
    scene = draw(bed=bed_of(), centre=(6000.0, 6000.0), clutter=25, seed=0, frames=1, size=(640, 480))
    assert not find_bed(scene.frames, scene.bed)


def test_a_hoop_is_no_full_bed(draw, bed_of):
    """The same texture inside and outside of a ring."""
    hoop = draw(bed=bed_of(below=0.0), powder=(60, 80, 110), wall=(60, 80, 110), clutter=0, frames=1, grain=7.0, seed=2)
    found = find_bed(hoop.frames, hoop.bed)
    assert isinstance(found, NotFound)
    assert "both sides" in found.reason


@pytest.mark.parametrize(("level", "word"), [(2, "black"), (252, "white"), (128, "even tone")])
def test_flat_pictures_are_refused_with_their_own_words(bed_of, level, word):
    noise = np.random.default_rng(0).integers(-2, 3, (480, 640, 3))
    found, candidate = search([np.clip(level + noise, 0, 255).astype(np.uint8)] * 3, bed_of())
    assert isinstance(found, NotFound)
    assert word in found.reason
    assert candidate is None


def test_no_pictures_or_unlike_ones_are_a_mistake_of_the_caller(bed_of):
    with pytest.raises(ValueError, match="one size"):
        find_bed([], bed_of())
    with pytest.raises(ValueError, match="one size"):
        find_bed([np.zeros((480, 640), np.uint8), np.zeros((240, 320), np.uint8)], bed_of())
