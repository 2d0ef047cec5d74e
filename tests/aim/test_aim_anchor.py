"""The camera's shift from what stands still round the bed."""

from __future__ import annotations

from copy import copy
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.aimfile import agreed
from bedwatch.aim.following.anchor import Anchor
from bedwatch.aim.following.place import Place, moved_aim
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
    """Far off, the old surroundings are found again, to 0.3 px; others are not taken for them."""
    anchor = learnt(aim, bed)
    assert anchor.shift(moved(scene(53), 60, 15)) is None
    assert anchor.astray
    found = anchor.seek()
    assert found is not None
    assert np.hypot(found.shift_px[0] - 60, found.shift_px[1] - 15) < 0.3
    anchor = learnt(aim, bed)
    other = np.random.default_rng(9).normal(size=(HEIGHT, WIDTH)).astype(np.float32)
    other = np.asarray(cv2.GaussianBlur(other, (0, 0), 4.0))
    assert anchor.shift(np.clip(110 + 12 * other / other.std(), 0, 255).astype(np.uint8)) is None
    assert anchor.astray
    assert anchor.seek() is None
    assert not anchor.unmoved


def test_bare_surroundings_are_blind(aim: Aim, bed: Bed) -> None:
    anchor = Anchor(aim, bed, (WIDTH, HEIGHT))
    flat = np.full((HEIGHT, WIDTH), 90, np.uint8)
    for _ in range(9):
        assert anchor.shift(flat) in (None, (0.0, 0.0))
    assert anchor.blind
    assert anchor.shift(flat) is None


def walk(
    aim: Aim, bed: Bed, at: dict[float, tuple[float, float] | str], seconds: float = 6.0
) -> list[tuple[float, Place]]:
    """The place after every tenth of a second; at: from when on the camera stands where, or "away" for another view."""
    anchor, place, out = Anchor(aim, bed, (WIDTH, HEIGHT)), Place(), []
    now: tuple[float, float] | str = (0.0, 0.0)
    for step in range(round(10 * seconds)):
        time_s = step / 10
        now = at.get(time_s, now)
        picture = elsewhere(step) if isinstance(now, str) else moved(scene(step), *now)
        place.follow(anchor, picture, time_s)
        out.append((time_s, copy(place)))
    return out


def elsewhere(seed: int) -> Grey:
    """A view that has nothing of the bench in it."""
    other = np.asarray(cv2.GaussianBlur(np.random.default_rng(9).normal(size=(HEIGHT, WIDTH)), (0, 0), 4.0))
    noise = np.random.default_rng(seed).normal(0, 2, other.shape)
    return np.clip(110 + 12 * other / other.std() + noise, 0, 255).astype(np.uint8)


def test_a_small_bump_is_made_good_and_breaks_the_window_once(aim: Aim, bed: Bed) -> None:
    places = walk(aim, bed, {2.0: (3.0, 0.0)})
    assert [time_s for time_s, place in places if place.jolted] == [2.0]
    assert abs(places[-1][1].shift_px[0] - 3.0) < 0.2
    assert not any(place.lost for _, place in places)
    assert places[25][1].moved_px > 2.5


def test_a_creeping_camera_is_followed_all_the_way(aim: Aim, bed: Bed) -> None:
    """10 px in 5 s. 0.25 px: half of what it creeps within the looks' spacing, and the estimate's own error."""
    creep: dict[float, tuple[float, float] | str] = {
        round(2 + step / 10, 1): (step / 5 * 0.6, step / 5 * 0.8) for step in range(51)
    }
    places = walk(aim, bed, creep, seconds=9.0)
    for time_s, place in places[25:]:
        done = min(time_s - 2.0, 5.0) * 2.0
        assert np.hypot(place.shift_px[0] - 0.6 * done, place.shift_px[1] - 0.8 * done) < 0.25
    assert not any(place.lost for _, place in places)


@pytest.mark.parametrize("shift", [(8.0, 0.0), (-14.0, 14.0), (0.0, 40.0)])
def test_a_knock_is_followed_and_breaks_the_window(aim: Aim, bed: Bed, shift: tuple[float, float]) -> None:
    places = walk(aim, bed, {2.0: shift})
    told = [time_s for time_s, place in places if place.hold or place.jolted]
    assert told[0] == 2.0  # nothing of the jolt is ever trusted
    last = places[-1][1]
    assert np.hypot(last.shift_px[0] - shift[0], last.shift_px[1] - shift[1]) < 0.3
    assert not last.lost
    assert not last.hold
    assert last.moved_px > 0.8 * np.hypot(*shift)


def test_another_view_is_told_within_two_seconds_and_forgiven_when_put_back(aim: Aim, bed: Bed) -> None:
    places = walk(aim, bed, {2.0: "away", 4.5: (0.0, 0.0)})
    assert all(place.hold for time_s, place in places if 2.0 <= time_s < 4.5)
    lost = [time_s for time_s, place in places if place.lost]
    assert 2.0 < lost[0] <= 4.0
    assert lost[-1] < 5.0
    assert not places[-1][1].hold


@pytest.mark.parametrize(("turn_deg", "zoom"), [(2.0, 1.0), (-3.0, 1.0), (0.0, 1.04), (1.0, 0.97)])
def test_a_turn_or_zoom_gives_a_new_aim(aim: Aim, bed: Bed, turn_deg: float, zoom: float) -> None:
    """To 0.7 px where the powder meets the wall: a small pixel of the picture that is looked at is two wide."""
    c, s = zoom * np.cos(np.radians(turn_deg)), zoom * np.sin(np.radians(turn_deg))
    u, v = WIDTH / 2 + 40, HEIGHT / 2 - 30  # not about the bed's centre
    there = np.array([[c, -s, u - c * u + s * v + 3.0], [s, c, v - s * u - c * v - 2.0]])
    anchor, place = Anchor(aim, bed, (WIDTH, HEIGHT)), Place()
    for step in range(40):
        picture = scene(step)
        if step >= 20:
            picture = np.asarray(
                cv2.warpAffine(picture, there, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT), np.uint8
            )
        place.follow(anchor, picture, step / 10)
        assert step < 20 or place.hold
        if place.stand is not None:
            break
    assert place.stand is not None
    found = moved_aim(aim, place.stand)
    wall = np.array([[150.0, 0], [0, 150], [-150, 0], [0, -150]])
    true = aim.pixels(wall) @ there[:, :2].T + there[:, 2]
    assert np.hypot(*(found.pixels(wall) - true).T).max() < 0.7
    assert found.mm_per_px == pytest.approx(1 / zoom, rel=0.004)


def test_where_the_bed_fills_the_picture_its_still_parts_serve(bed: Bed) -> None:
    """A bed that stands, nothing round it: its own texture tells of a knock."""
    homography = np.array([[3.0, 0, WIDTH / 2], [0, -3.0, HEIGHT / 2], [0, 0, 1]])
    close = agreed(Aim(surface=outline_of(homography, bed), rim=None, bed_to_picture=homography, mm_per_px=1 / 3), bed)
    anchor = Anchor(close, bed, (WIDTH, HEIGHT))
    for seed in range(8):
        anchor.shift(elsewhere(seed))
    assert not anchor.blind
    found = anchor.shift(moved(elsewhere(20), 3.0, -2.0))
    assert found is not None
    assert np.hypot(found[0] - 3.0, found[1] + 2.0) < 0.3
