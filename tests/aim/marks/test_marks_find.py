"""A bed found by its cards: plane, lens and 12 o'clock within what is asked, and refusals that name the cause."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.cards.by_marks import ByMarks, by_marks, find_by_marks
from bedwatch.aim.outline import outline_points
from bedwatch.aim.types import Aim, Ellipse, NotFound
from bedwatch.frames.frame import Picture

Shoot = Callable[..., tuple[Any, Picture]]
WORST_MM, WORST_DEG = 2.0, 0.5  # at the wall
SCENES: dict[str, dict[str, Any]] = {
    "straight down, no bend": {},
    "k1 -0.05": {"k": (-0.05, 0.0), "tilt": 10.0, "middle_off": (5.0, -6.0)},
    "k1 -0.30, 25 deg": {"k": (-0.30, 0.07), "tilt": 25.0, "focal": 760.0, "middle_off": (-6.0, 4.0)},
    "k1 -0.30, near": {"k": (-0.30, 0.06), "tilt": 12.0, "distance": 560.0, "focal": 490.0, "azimuth": 200.0},
    "blurred, noisy, gamma": {"k": (-0.15, 0.02), "tilt": 18.0, "blur": 1.6, "noise": 5.0, "gamma": 2.2},
    "small picture": {"size": (640, 480), "focal": 620.0, "k": (-0.2, 0.03), "tilt": 20.0},
    "upside down": {"roll": 175.0, "tilt": 15.0, "k": (-0.1, 0.0)},
    "cards slid along the wall": {"slid": {3: 8.0, 6: -6.0, 9: -10.0}, "tilt": 15.0, "k": (-0.2, 0.03)},
    "three cards": {"hours": (12, 3, 9), "tilt": 10.0, "k": (-0.1, 0.0)},
    "print 0.4 % small": {"scale": 0.996, "tilt": 8.0},
}


def found_in(shoot: Shoot, **settings: Any) -> tuple[Any, Aim | NotFound]:
    shot, picture = shoot(**settings)
    below = shot.bed.surface_below_rim_mm + shot.lift
    return shot, find_by_marks([picture], shot.bed, 100.0, below)


def around(bed: Any) -> NDArray[np.float64]:
    if bed.shape == "rectangular":
        return np.array([[x * bed.width_mm, y * bed.length_mm] for x in (-0.5, 0, 0.5) for y in (-0.5, 0, 0.5)])
    turn = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    return np.asarray(bed.width_mm / 2 * np.column_stack([np.sin(turn), np.cos(turn)]))


def worst_mm(shot: Any, aim: Aim) -> float:
    places = np.vstack([share * around(shot.bed) for share in (0.0, 0.5, 1.0)])
    return float(np.hypot(*(aim.places(shot.pixels(places)) - places).T).max())


@pytest.mark.parametrize("name", SCENES)
def test_plane_and_twelve_o_clock(shoot: Shoot, name: str) -> None:
    shot, aim = found_in(shoot, **SCENES[name])
    assert aim, aim
    assert worst_mm(shot, aim) <= WORST_MM
    ends = aim.places(shot.pixels(np.array([[0.0, -190.0], [0.0, 190.0]])))
    assert abs(np.degrees(np.arctan2(*(ends[1] - ends[0])))) <= WORST_DEG
    assert aim.error_mm is not None
    assert worst_mm(shot, aim) <= 3.0 * aim.error_mm
    assert aim.error_mm < 2.5


def test_outlines_lie_in_the_real_picture(shoot: Shoot) -> None:
    shot, aim = found_in(shoot, **SCENES["k1 -0.30, 25 deg"])
    assert aim
    assert isinstance(aim.surface, Ellipse)
    assert isinstance(aim.rim, Ellipse)
    for outline, height in ((aim.surface, shot.lift), (aim.rim, shot.lift + 80.0)):
        places = shot.pixels(around(shot.bed), height)
        drawn = outline_points(outline, 720)
        gap = np.hypot(*(places[:, None] - drawn[None]).transpose(2, 0, 1)).min(axis=1)
        # a bent circle is not quite an ellipse
        assert gap.max() < 4.0


def test_pixels_and_places_are_inverse_and_as_opencv_bends(shoot: Shoot) -> None:
    shot, aim = found_in(shoot, **SCENES["k1 -0.30, 25 deg"])
    assert aim
    assert aim.lens is not None
    places = around(shot.bed)
    pixels = aim.pixels(places)
    assert aim.places(pixels) == pytest.approx(places, abs=1e-6)
    lens = aim.lens
    camera = np.array([[lens.focal_px, 0, lens.centre_px[0]], [0, lens.focal_px, lens.centre_px[1]], [0, 0, 1.0]])
    bend = np.array([lens.k1, lens.k2, 0, 0, 0])
    straight = (lens.straighten(pixels) - lens.centre_px) / lens.straight_focal_px
    ahead = np.column_stack([straight, np.ones(len(straight))])
    theirs = cv2.projectPoints(ahead, np.zeros(3), np.zeros(3), camera, bend)[0].reshape(-1, 2)
    assert pixels == pytest.approx(theirs, abs=1e-4)
    straight_off = np.hypot(*(lens.straighten(pixels) - pixels).T)
    assert straight_off.mean() < 6.0  # the straightened picture lies upon the real one along the wall


def test_what_the_camera_sees_is_as_opencv_projects(shoot: Shoot) -> None:
    shot, picture = shoot(**SCENES["k1 -0.30, near"])
    found = by_marks([picture], shot.bed, 100.0, 88.0)
    assert isinstance(found, ByMarks)
    numbers, places = found.fitted.numbers, found.there.places_mm(found.fitted.numbers).reshape(-1, 3)
    focal, (cu, cv) = np.exp(numbers[0]), np.array(found.there.middle_px) + numbers[1:3]
    camera = np.array([[focal, 0, cu], [0, focal, cv], [0, 0, 1.0]])
    bend = np.array([numbers[3], numbers[4], 0, 0, 0])
    theirs = cv2.projectPoints(places, numbers[5:8], numbers[8:11], camera, bend)[0].reshape(-1, 2)
    assert found.there.seen_from(numbers, places) == pytest.approx(theirs, abs=1e-6)


def test_lens_is_found_where_the_slant_fixes_it(shoot: Shoot) -> None:
    shot, aim = found_in(shoot, **SCENES["k1 -0.30, 25 deg"])
    assert aim
    assert aim.lens is not None
    assert aim.lens.focal_px == pytest.approx(shot.focal, rel=0.04)
    edge = np.array([[0.0, 240.0]]) + aim.lens.centre_px
    r = 240.0 / shot.focal
    bent = r * (1 + shot.k[0] * r**2 + shot.k[1] * r**4) * shot.focal
    straight = (edge - aim.lens.centre_px) * aim.lens.straight_focal_px / aim.lens.focal_px
    ours = np.hypot(*(aim.lens.bend(straight + aim.lens.centre_px) - aim.lens.centre_px).T)[0]
    assert ours == pytest.approx(bent, rel=0.01)


def test_rectangular_bed(shoot: Shoot, drawn_bed: Callable[..., Any]) -> None:
    bed = drawn_bed("rectangular", 400.0, 520.0)
    settings = {"bed": bed, "tilt": 15.0, "k": (-0.15, 0.02), "distance": 1100.0, "slid": {12: 15.0, 3: -20.0}}
    shot, aim = found_in(shoot, **settings)
    assert aim, aim
    assert worst_mm(shot, aim) <= WORST_MM
    wanted = shot.pixels(np.array([[-200.0, 260.0], [200, 260], [200, -260], [-200, -260]]))
    assert np.abs(outline_points(aim.surface) - wanted).max() < 2.5


def test_depth_of_the_cards_matters_and_not_telling_it_widens_the_error(shoot: Shoot) -> None:
    shot, picture = shoot(**SCENES["straight down, no bend"])
    told = find_by_marks([picture], shot.bed, 100.0, 88.0)
    untold = find_by_marks([picture], shot.bed)
    assert told
    assert untold
    assert told.error_mm is not None
    assert untold.error_mm is not None
    assert untold.error_mm > told.error_mm + 0.2
    assert worst_mm(shot, untold) <= 2.5 * untold.error_mm


def test_a_print_of_another_size_is_told_and_mended_by_measuring_the_rule(shoot: Shoot) -> None:
    shot, picture = shoot(scale=0.97, tilt=12.0, k=(-0.1, 0.0))
    refused = find_by_marks([picture], shot.bed, 100.0, 88.0)
    assert not refused
    assert isinstance(refused, NotFound)
    assert "97" in refused.reason
    assert "--printed-mm" in refused.advice
    mended = find_by_marks([picture], shot.bed, 97.0, 88.0)
    assert mended
    assert worst_mm(shot, mended) <= WORST_MM


REFUSALS: dict[str, tuple[dict[str, Any], str]] = {
    "no cards": ({"hours": ()}, "no marks"),
    "two cards": ({"hours": (12, 6)}, "2 of 4"),
    "no card of 12": ({"hours": (3, 6, 9)}, "12 o'clock"),
    "two exchanged": ({"swapped": True}, "order 12, 3, 6, 9"),
    "one off the wall": ({"gap": {3: 9.0}}, "3 o'clock"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_refusals_name_the_cause(shoot: Shoot, name: str) -> None:
    settings, words = REFUSALS[name]
    _, refused = found_in(shoot, tilt=10.0, **settings)
    assert not refused
    assert isinstance(refused, NotFound)
    assert words in refused.reason
    assert [problem.kind for problem in refused.problems] == ["bed_not_found"]
    assert words in refused.problems[0].advice


def test_a_mirrored_picture_is_refused_by_name(shoot: Shoot) -> None:
    shot, picture = shoot(**SCENES["k1 -0.05"])
    refused = find_by_marks([np.ascontiguousarray(picture[:, ::-1])], shot.bed)
    assert isinstance(refused, NotFound)
    assert "mirror" in refused.reason


def test_pictures_must_be_there_and_alike(shoot: Shoot) -> None:
    shot, picture = shoot()
    for pictures in ([], [picture, picture[:-2]]):
        with pytest.raises(ValueError, match="one size"):
            find_by_marks(pictures, shot.bed)
