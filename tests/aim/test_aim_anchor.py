"""The camera's shift from what stands still round the bed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.aimfile import agreed
from bedwatch.aim.anchor import Anchor, Place
from bedwatch.aim.outline import outline_of
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, read_bed
from bedwatch.frames.cv import cv2

WIDTH, HEIGHT = 640, 480
Grey = NDArray[np.uint8]


@pytest.fixture(scope="module")
def bed(tmp_path_factory: pytest.TempPathFactory) -> Bed:
    file: Path = tmp_path_factory.mktemp("anchor") / "b.bed.toml"
    file.write_text(
        '[bed]\nname = "b"\nshape = "round"\ndiameter = "300 mm"\nsurface_below_rim = "0 mm"\n[zones]\nrings = [1, 3]\n'
    )
    return read_bed(file)


@pytest.fixture(scope="module")
def aim(bed: Bed) -> Aim:
    """1 px = 1 mm, the bed in the middle."""
    homography = np.array([[1.0, 0, WIDTH / 2], [0, -1.0, HEIGHT / 2], [0, 0, 1]])
    plain = Aim(surface=outline_of(homography, bed), rim=None, bed_to_picture=homography, mm_per_px=1.0)
    return agreed(plain, bed)


def scene(seed: int, *, bench: float = 12.0) -> Grey:
    """A bench with wood-like blotches round a bed of other powder every time."""
    fixed = np.random.default_rng(5).normal(size=(HEIGHT, WIDTH)).astype(np.float32)
    fixed = np.asarray(cv2.GaussianBlur(fixed, (0, 0), 4.0))
    picture = 110 + bench * fixed / fixed.std()
    v, u = np.indices(picture.shape)
    powder = np.random.default_rng(seed).normal(150, 20, picture.shape)
    picture = np.where(np.hypot(u - WIDTH / 2, v - HEIGHT / 2) < 150, powder, picture)
    noise = np.random.default_rng(seed + 1000).normal(0, 2, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8)


def moved(picture: Grey, right: float, down: float) -> Grey:
    turn = np.array([[1, 0, right], [0, 1, down]], np.float64)
    size = (picture.shape[1], picture.shape[0])
    return np.asarray(cv2.warpAffine(picture, turn, size, borderMode=cv2.BORDER_REFLECT), np.uint8)


def learnt(aim: Aim, bed: Bed) -> Anchor:
    anchor = Anchor(aim, bed, (WIDTH, HEIGHT))
    for seed in range(8):
        anchor.shift(scene(seed))
    assert not anchor.blind
    return anchor


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.5, -0.3), (2.0, 1.5), (-3.0, 0.0)])
def test_shift_is_found_beside_lively_powder(aim: Aim, bed: Bed, shift: tuple[float, float]) -> None:
    """0.1 px and a tenth of the shift: one straight-line step on a picture at half size, noise of 2 grey levels."""
    found = learnt(aim, bed).shift(moved(scene(50), *shift))
    assert found is not None
    assert np.hypot(found[0] - shift[0], found[1] - shift[1]) < 0.1 + 0.1 * np.hypot(*shift)


def test_light_is_no_shift(aim: Aim, bed: Bed) -> None:
    """Exposure up by 30 %: the place is the same, to the 0.1 px that noise allows."""
    brighter = np.clip(scene(51).astype(np.float64) * 1.3, 0, 255).astype(np.uint8)
    found = learnt(aim, bed).shift(brighter)
    assert found is not None
    assert np.hypot(*found) < 0.1


def test_who_walks_by_does_not_move_the_camera(aim: Aim, bed: Bed) -> None:
    picture = scene(52)
    picture[100:200, :120] = 30
    found = learnt(aim, bed).shift(picture)
    assert found is not None
    assert np.hypot(*found) < 0.2  # a quarter of a pixel at 0.7 mm/px is still under 0.2 mm


def test_a_knock_is_told_from_other_surroundings(aim: Aim, bed: Bed) -> None:
    anchor = learnt(aim, bed)
    assert anchor.shift(moved(scene(53), 60, 15)) is None
    assert anchor.astray
    assert anchor.moved()
    other = np.random.default_rng(9).normal(size=(HEIGHT, WIDTH)).astype(np.float32)
    other = np.asarray(cv2.GaussianBlur(other, (0, 0), 4.0))
    assert anchor.shift(np.clip(110 + 12 * other / other.std(), 0, 255).astype(np.uint8)) is None
    assert anchor.astray
    assert not anchor.moved()


def test_bare_surroundings_are_blind(aim: Aim, bed: Bed) -> None:
    anchor = Anchor(aim, bed, (WIDTH, HEIGHT))
    flat = np.full((HEIGHT, WIDTH), 90, np.uint8)
    for _ in range(9):
        assert anchor.shift(flat) in (None, (0.0, 0.0))
    assert anchor.blind
    assert anchor.shift(flat) is None


def walk(aim: Aim, bed: Bed, shift_at: dict[float, tuple[float, float]]) -> list[tuple[float, Place]]:
    """The place after every tenth of a second; shift_at: from when on the camera stands where."""
    anchor, place, out, shift = Anchor(aim, bed, (WIDTH, HEIGHT)), Place(), [], (0.0, 0.0)
    for step in range(60):
        time_s = step / 10
        shift = shift_at.get(time_s, shift)
        place.follow(anchor, moved(scene(step), *shift), time_s)
        copy = Place()
        copy.shift_px, copy.jolted, copy.lost = place.shift_px, place.jolted, place.lost
        out.append((time_s, copy))
    return out


def test_a_small_bump_is_made_good_and_breaks_the_window_once(aim: Aim, bed: Bed) -> None:
    places = walk(aim, bed, {2.0: (3.0, 0.0)})
    assert [time_s for time_s, place in places if place.jolted] == [2.0]
    assert abs(places[-1][1].shift_px[0] - 3.0) < 0.4  # the tenth that one straight-line step may miss
    assert not places[-1][1].lost


def test_a_knock_is_told_within_two_seconds_and_forgiven_when_put_back(aim: Aim, bed: Bed) -> None:
    places = walk(aim, bed, {2.0: (60.0, 15.0), 4.5: (0.0, 0.0)})
    lost = [time_s for time_s, place in places if place.lost]
    assert 2.0 < lost[0] <= 4.0
    assert lost[-1] < 4.7
    assert not places[-1][1].lost
