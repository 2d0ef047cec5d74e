"""What `aim` tells beside the place of the bed: the camera's noise, a second thought about its problems, the air off."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from bedwatch.frames.frame import Picture

NOISE_GREY = 2.0


@pytest.fixture(scope="module")
def still(pictures: list[Picture], folder: Path) -> Path:
    """Nine seconds of one picture before a camera of known noise: the air is off.

    Lossless, since JPEG would take part of the noise away. A wall of several paints stands beside the bed: a line
    through the noise needs more than one brightness.
    """
    path = folder / "air_off"
    path.mkdir()
    rng = np.random.default_rng(11)
    base = pictures[0].astype(np.float32)
    for bar, grey in enumerate((60, 90, 150, 180, 210)):
        base[48 * bar : 48 * (bar + 1), :28] = grey
    for number in range(135):
        flutter = NOISE_GREY * rng.standard_normal(base.shape[:2]).astype(np.float32)[..., None]
        shown = np.clip(np.rint(base + flutter), 0, 255).astype(np.uint8)
        cv2.imwrite(str(path / f"{number:04}.png"), shown, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return path


@pytest.fixture(scope="module")
def rested(run: Any, still: Path, bed: Path, folder: Path) -> tuple[Any, Path]:
    out = folder / "air_off.aim.toml"
    return run("aim", still, "--bed", bed, "--out", out, "--json", "--air-off", "--pictures-per-second", 15), out


def test_a_look_with_the_air_off_tells_the_least_that_can_be_told(rested: Any) -> None:
    ran, out = rested
    assert ran.status == 0
    assert out.exists()
    assert "Air off during this look: shut it" in ran.err
    rest = ran.objects[0]["rest"]
    assert rest["looked_s"] == pytest.approx(5.0, abs=0.2)
    assert 0.0 <= rest["live"] <= 0.05
    assert 0.0 <= rest["speed_mm_s"] < 1.0
    assert 0.3 * NOISE_GREY < rest["noise_grey"] < 1.1 * NOISE_GREY  # resampling averages up to four pixels
    assert "mm/s and" in ran.err


def test_the_camera_s_noise_is_told_where_the_picture_stands_still(rested: Any) -> None:
    noise = rested[0].objects[0]["noise"]
    middle = (noise["from_grey"] + noise["to_grey"]) / 2
    variance = noise["at_zero_grey2"] + noise["gain_grey"] * middle
    # the same noise at every brightness, and a twelfth for rounding to whole grey levels (twice: picture and grey)
    assert variance == pytest.approx(NOISE_GREY**2 + 1 / 6, rel=0.1)
    assert noise["pairs"] >= 20
    assert "Camera noise:" in rested[0].err


def test_without_the_option_there_was_no_look_with_the_air_off(aimed: Any) -> None:
    assert aimed[0].objects[0]["rest"] is None
    assert "Air off" not in aimed[0].err


def test_a_bed_that_moves_is_aimed_at_and_told_not_to_rest(run: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    out = tmp_path / "a.toml"
    ran = run("aim", clip, "--bed", bed, "--out", out, "--json", "--air-off")
    assert ran.status == 0
    assert out.exists()
    assert ran.objects[0]["rest"] is None
    assert ran.objects[0]["bed_to_picture"] is not None
    (line,) = [line for line in ran.err.splitlines() if line.startswith("bedwatch: --air-off: ")]
    assert "the surface moved" in line
    assert "Shut the air off" in line


def test_a_clip_that_ends_before_the_look_with_the_air_off_is_told_so(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, tmp_path: Path
) -> None:
    short = film("too_short_for_rest", pictures[:46])
    ran = run("aim", short, "--bed", bed, "--out", tmp_path / "a.toml", "--air-off")
    assert ran.status == 0
    assert "bedwatch: --air-off: no picture came after the bed was found" in ran.err


def test_no_noise_and_no_rest_without_a_bed(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, empty: Path
) -> None:
    black = film("black_for_looks", [np.zeros_like(pictures[0])] * 30)
    ran = run("aim", black, "--bed", bed, "--out", empty / "a.toml", "--json", "--air-off")
    assert ran.status == 1
    assert ran.objects[0]["noise"] is None
    assert ran.objects[0]["rest"] is None
    assert "Air off" not in ran.err


def test_a_page_to_click_on_has_no_look_with_the_air_off(run: Any, clip: Path, bed: Path, empty: Path) -> None:
    (line,) = run("aim", clip, "--bed", bed, "--out", empty / "a.toml", "--by-hand", "--air-off").mistakes
    assert "found --by-hand and --air-off, expected only one of them" in line


def test_light_is_judged_on_the_powder_once_it_is_known_where_it_lies(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any, tmp_path: Path
) -> None:
    """A window beside the bed may be as bright as it likes."""
    surface = aimed[0].objects[0]["surface"]
    right = int(surface["centre_px"][0] + 1.35 * max(surface["axes_px"]))
    assert right < pictures[0].shape[1] - 8
    shown = []
    for picture in pictures[:60]:
        lit = picture.copy()
        lit[:, right:] = 255
        shown.append(lit)
    lit_clip = film("window", shown)
    ran = run("aim", lit_clip, "--bed", bed, "--out", tmp_path / "a.toml", "--json")
    assert ran.status == 0
    assert "overexposed" not in [problem["problem"] for problem in ran.objects[0]["problems"]]
