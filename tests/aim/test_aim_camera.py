"""Camera problems are named when they are there, and not otherwise."""

import numpy as np
import pytest

from bedwatch.aim.camera import CameraCheck
from bedwatch.aim.sharpness import blur_px
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame

COUNT, SIZE = 64, (640, 480)


@pytest.fixture(scope="module")
def clean(draw):
    """A bed that moves before a sound camera."""
    return draw(size=SIZE, frames=COUNT, seed=3, noise=2.0, tilt_deg=6.0, jpeg=90).frames


def names(pictures, fps=30.0, **marks):
    check = CameraCheck()
    for number, picture in enumerate(pictures):
        check.add(
            Frame(picture=picture, time_s=number / fps, number=number, **{k: m[number] for k, m in marks.items()})
        )
    return {problem.kind.value for problem in check.problems()}, check


def changed(pictures, how):
    rng = np.random.default_rng(7)
    for number, picture in enumerate(pictures):
        yield np.clip(how(picture.astype(np.float32), number) + rng.random(picture.shape) - 0.5, 0, 255).astype(
            np.uint8
        )


def shaken(pictures, spread):
    rng = np.random.default_rng(1)
    for picture in pictures:
        move = np.float32([[1, 0, rng.normal(0, spread)], [0, 1, rng.normal(0, spread)]])
        yield cv2.warpAffine(picture, move, SIZE, borderMode=cv2.BORDER_REPLICATE)


def test_a_sound_camera_gives_no_problem(clean):
    found, check = names(clean)
    assert found == set()
    assert not check.blank


def test_a_still_scene_gives_no_problem(draw):
    still = draw(size=SIZE, frames=COUNT, seed=9, moving=False, noise=1.0, jpeg=85).frames
    found, check = names(still)
    assert found == set()
    assert not check.blank
    assert not check.frozen


@pytest.mark.parametrize(
    ("how", "name"),
    [
        (lambda p, _n: 0.1 * p, "dark"),
        (lambda p, _n: 1.7 * p, "overexposed"),
        (lambda p, _n: 0.06 * p + 120, "low_contrast"),
        (lambda p, _n: cv2.GaussianBlur(p, (0, 0), 5.0), "blurred"),
        (lambda p, n: p * (1 + 0.03 * np.sin(2 * np.pi * n / 3 + 0.4)), "flicker"),
        (lambda p, n: p * (1 + 0.03 * np.sin(2 * np.pi * (n / 3 + np.arange(480) / 200)))[:, None, None], "flicker"),
        (lambda p, n: p * (1 + 0.08 * np.sin(2 * np.pi * n / 60)), "exposure_hunting"),
    ],
    ids=["dark", "overexposed", "low_contrast", "blurred", "flicker", "rolling flicker", "hunting"],
)
def test_what_ails_the_picture_is_named_and_nothing_else(clean, how, name):
    found, _ = names(list(changed(clean, how)))
    assert found == {name}


@pytest.mark.parametrize("spread", [0.5, 1.5, 4.0])
def test_a_shaking_camera(clean, spread):
    assert names(list(shaken(clean, spread)))[0] == {"shaking"}


def test_every_problem_carries_its_figure_and_advice(clean):
    check = names(list(changed(clean, lambda p, _n: 0.1 * p)))[1]
    (problem,) = check.problems()
    assert any(letter.isdigit() for letter in problem.advice)
    assert "light" in problem.advice


def test_frame_rate_and_lost_frames(clean):
    assert names(clean[:40], fps=8.0)[0] == {"low_frame_rate"}
    lost = [3 if number % 20 == 10 else 0 for number in range(COUNT)]
    assert names(clean, dropped_before=lost)[0] == {"dropped_frames"}
    assert names(clean, repeated=[number % 9 == 4 for number in range(COUNT)])[0] == {"dropped_frames"}
    assert names(clean, dropped_before=[int(number == 5) for number in range(COUNT)])[0] == set()


def test_blank_and_frozen_pictures(clean):
    rng = np.random.default_rng(2)
    black = [rng.integers(0, 4, (480, 640, 3), dtype=np.uint8) for _ in range(10)]
    white = [255 - picture for picture in black]
    assert names(black)[1].blank
    assert names(white)[1].blank
    frozen = names([clean[0]] * 110)[1]
    assert frozen.frozen
    assert frozen.blank
    assert not names([*black, *clean[:10]])[1].blank
    assert not CameraCheck().blank
    assert CameraCheck().problems() == ()


@pytest.mark.parametrize("blur", [1.2, 1.8, 2.6, 4.0])
def test_blur_is_read_from_an_edge(blur):
    step = np.full((400, 400), 60.0, np.float32)
    cv2.circle(step, (200, 200), 120, 190.0, -1, cv2.LINE_AA)
    noisy = cv2.GaussianBlur(step, (0, 0), blur) + np.random.default_rng(0).normal(0, 1, step.shape)
    assert blur_px(np.clip(noisy, 0, 255).astype(np.uint8)) == pytest.approx(blur, rel=0.2, abs=0.15)
