"""Marks in pictures taken at a slant, blurred and noisy, against OpenCV's own detector and its own model of a lens."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import card_of, laid
from bedwatch.aim.cards.marks_seen import grey_mean, is_mirrored, marks_in, of_one_set
from bedwatch.frames.frame import Picture

Shoot = Callable[..., tuple[Any, Picture]]
SHARP = {"tilt": 20.0, "k": (-0.2, 0.04)}
SMALL = {"size": (640, 480), "focal": 640.0, "tilt": 15.0, "noise": 4.0}


def truth(shot: Any, mark: int) -> NDArray[np.float64]:
    one, place = card_of(mark)
    return np.asarray(shot.pixels(laid(one, shot.bed)[place], height=0.0))


@pytest.mark.parametrize("settings", [SHARP, SMALL], ids=["sharp", "small"])
def test_corners_lie_where_opencv_s_model_puts_them(shoot: Shoot, settings: dict[str, Any]) -> None:
    shot, picture = shoot(**settings)
    found = marks_in(grey_mean([picture]))
    assert len(found) >= 16
    miss = np.array([quad - truth(shot, mark) for mark, quad in found.items()])
    # a common inward shift of blurred corners is an unknown of the fit; what counts is scatter
    assert np.sqrt((miss**2).mean()) < 0.25
    assert np.abs(miss.mean(axis=(0, 1))).max() < 0.05


def test_sharpening_beats_opencv_s_corners(shoot: Shoot) -> None:
    shot, picture = shoot(**SHARP)
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, how).detectMarkers(picture)
    theirs = {int(mark): np.reshape(quad, (4, 2)) for mark, quad in zip(np.ravel(ids), corners, strict=True)}
    ours = marks_in(grey_mean([picture]))
    assert set(theirs) <= set(ours)
    rms = [np.sqrt(np.mean([(quads[mark] - truth(shot, mark)) ** 2 for mark in theirs])) for quads in (ours, theirs)]
    assert rms[0] < 0.6 * rms[1]
    assert max(np.abs(ours[mark] - theirs[mark]).max() for mark in theirs) < 3.0


def test_a_mark_seen_twice_is_left_out(shoot: Shoot) -> None:
    _, picture = shoot(**SHARP)
    doubled = np.hstack([picture, picture])
    assert marks_in(doubled.astype(np.float32)) == {}


def test_mirrored_pictures_are_told(shoot: Shoot) -> None:
    _, picture = shoot(**SHARP)
    mirrored = grey_mean([np.ascontiguousarray(picture[:, ::-1])])
    assert marks_in(mirrored) == {}
    assert is_mirrored(mirrored)
    assert not is_mirrored(grey_mean([picture]))


def test_colour_and_several_pictures_are_averaged() -> None:
    dark, bright = np.zeros((4, 6, 3), np.uint8), np.full((4, 6, 3), 100, np.uint8)
    assert grey_mean([dark, bright]).tolist() == np.full((4, 6), 50.0).tolist()


def test_stray_readings_of_another_size_are_left_out() -> None:
    square = np.zeros((4, 2))
    assert set(of_one_set({40: square, 41: square, 45: square, 3: square})) == {40, 41, 45}
    assert of_one_set({}) == {}
