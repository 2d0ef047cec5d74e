"""Camera problems are named when they are there, and not otherwise."""

import numpy as np
import pytest

from bedwatch.aim.aimfile import agreed
from bedwatch.aim.health.camera import CameraCheck
from bedwatch.aim.health.lookback import look_back
from bedwatch.aim.health.sharpness import blur_px
from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.types import Aim
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
        (lambda p, n: p * (1 + 0.1 * (20 <= n < 33 or n > 52)), "exposure_hunting"),
        (lambda p, n: p * (1 + 0.08 * np.sin(2 * np.pi * n / 60) * np.array([1, 0, -1])), "exposure_hunting"),
    ],
    ids=[
        "dark",
        "overexposed",
        "low_contrast",
        "blurred",
        "flicker",
        "rolling flicker",
        "hunting",
        "steps",
        "white balance",
    ],
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


def test_the_mains_is_named_with_what_to_set(clean):
    check = names(list(changed(clean, lambda p, n: p * (1 + 0.03 * np.sin(2 * np.pi * n / 3 + 0.4)))))[1]
    (problem,) = check.problems()
    assert "50 Hz" in problem.advice
    assert "1/100 s" in problem.advice
    assert "60 Hz" not in problem.advice


def test_white_balance_is_told_from_exposure(clean):
    tint = np.array([1, 0, -1])
    check = names(list(changed(clean, lambda p, n: p * (1 + 0.08 * np.sin(2 * np.pi * n / 60) * tint))))[1]
    assert "white balance" in check.problems()[0].advice


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


@pytest.fixture(scope="module")
def scene(draw):
    return draw(size=SIZE, frames=150, seed=5, noise=1.5, clutter=6)


@pytest.fixture(scope="module")
def aim(scene):
    outlines = {
        "surface": outline_of(scene.homography, scene.bed),
        "rim": outline_of(scene.rim_homography, scene.bed),
    }
    plain = Aim(bed_to_picture=scene.homography, mm_per_px=mm_per_px(scene.homography), **outlines)
    return agreed(plain, scene.bed)


def aimed_names(scene, aim, how=lambda p, _n: p, fps=15.0):
    check = CameraCheck()
    check.aimed(aim, scene.bed)
    for number, picture in enumerate(changed(scene.frames, how)):
        check.add(Frame(picture=picture, time_s=number / fps, number=number))
    return {problem.kind.value for problem in check.problems()}, check


def on_bed(scene):
    v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    x, y, w = np.linalg.inv(scene.homography) @ np.stack([u.ravel(), v.ravel(), np.ones(u.size)])
    return (np.hypot(x / w, y / w) < scene.bed.width_mm / 2).reshape(u.shape)[..., None]


def test_once_aimed_a_sound_camera_gives_no_problem(scene, aim):
    found, check = aimed_names(scene, aim)
    assert found == set()
    assert not check.defocused
    assert not check.place.lost


def test_light_is_judged_on_the_powder_once_it_is_known(scene, aim):
    """A glaring bench harms nothing; a powder surface half of which is white does, on the darkest bench."""
    bed = on_bed(scene)
    assert aimed_names(scene, aim, lambda p, _n: np.where(bed, p, p + 120))[0] == set()
    assert aimed_names(scene, aim, lambda p, _n: np.where(bed, 1.4 * p, p))[0] == {"overexposed"}


def test_focus_that_is_lost_on_the_way_is_told_within_a_second(scene, aim):
    check, told = CameraCheck(), None
    check.aimed(aim, scene.bed)
    for number, picture in enumerate(scene.frames):
        soft = cv2.GaussianBlur(picture, (0, 0), 2.5) if number >= 60 else picture
        check.add(Frame(picture=soft, time_s=number / 15, number=number))
        assert not check.defocused or number >= 60
        told = number if check.defocused and told is None else told
    assert told is not None
    assert told / 15 <= 5.0
    (problem,) = (problem for problem in check.problems() if problem.kind.value == "blurred")
    assert "%" in problem.advice


def test_a_veil_and_specks_are_told_once_the_bed_is_known(scene, aim):
    v, u = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]

    def veiled(p, n):
        thick = (0.35 + 0.15 * np.sin(2 * np.pi * (u / 500 + v / 700 + n / 80)))[..., None]
        return p * (1 - thick) + 170 * thick

    assert aimed_names(scene, aim, veiled)[0] == {"dust_cloud"}
    through = np.ones(SIZE[::-1])
    cv, cu = np.argwhere(on_bed(scene)[..., 0]).mean(axis=0)
    for dv, du in ((-40, -30), (30, 20), (10, -60)):
        through *= 1 - 0.3 / (1 + np.exp((np.hypot(v - cv - dv, u - cu - du) - 9) / 1.5))
    assert aimed_names(scene, aim, lambda p, _n: p * through[..., None])[0] == {"dusty_lens"}


def test_pictures_that_were_kept_are_judged_once_more(scene, aim):
    bed = on_bed(scene)
    kept, times = scene.frames[:48:4], [number / 4 for number in range(12)]
    judged, found = look_back(kept, times, aim, scene.bed)
    assert found == ()
    white = [np.where(bed, np.clip(1.4 * p.astype(np.float32), 0, 255), p).astype(np.uint8) for p in kept]
    (problem,) = look_back(white, times, aim, scene.bed)[1]
    assert problem.kind.value == "overexposed"
    assert problem.kind in judged
