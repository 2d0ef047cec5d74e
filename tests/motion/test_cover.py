"""What stands between camera and powder is told; what only changes the light is not."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.motion.cover import Cover

if TYPE_CHECKING:
    from conftest import Bench

FPS = 15.0
BEGIN_S, END_S = 4.0, 6.0
# Asked: told within half a second, over within three.
SOON_S, OVER_S = 0.5, 3.0

Change = Callable[[NDArray[np.float64], float], NDArray[np.float64]]
_ROWS, _COLS = np.mgrid[:224, :224]


def told(bench: Bench, change: Change, seconds: float = 10.0, noise: float = 1.5) -> list[float]:
    """Times at which it says covered, of a still disc whose brightness is changed between BEGIN_S and END_S."""
    rng = np.random.default_rng(3)
    clean = bench.Disc().clean(0.0).astype(np.float64)
    cover, times = Cover(bench.visible, bench.step_mm), []
    for number in range(round(seconds * FPS)):
        time_s = number / FPS
        light = change(clean, time_s) if BEGIN_S <= time_s < END_S else clean
        if cover.add(bench.rounded(light + noise * rng.standard_normal(light.shape)), time_s):
            times.append(time_s)
    return times


def hand(light: NDArray[np.float64], time_s: float) -> NDArray[np.float64]:
    """80 mm wide, smooth, half as bright again, reaching in from the edge."""
    inside = (np.abs(_ROWS - 100) < 32) & (40 + 400 * (time_s - BEGIN_S) > _COLS)
    return np.where(inside & (_COLS < 130), 180.0, light)


def rod(light: NDArray[np.float64], time_s: float) -> NDArray[np.float64]:
    """8 mm thick and dark, 150 mm long, stirring to and fro."""
    at = 112 + 40 * np.sin(6 * time_s)
    return np.where((np.abs(_COLS - at) < 3.2) & (_ROWS < 130), 45.0, light)


def part(light: NDArray[np.float64], _: float) -> NDArray[np.float64]:
    """A grey plate 60 mm square over the middle."""
    return np.where((np.abs(_ROWS - 112) < 24) & (np.abs(_COLS - 112) < 24), 80.0, light)


def casting(light: NDArray[np.float64], time_s: float) -> NDArray[np.float64]:
    """A cast plate 40 mm square, a little brighter than the powder and rough, that swings over its own soft shadow."""
    across = 112 + 20 * np.sin(3 * time_s)
    shade = 1 - 0.22 * np.exp(-(((_ROWS - 132) ** 2 + (_COLS - across - 22) ** 2) / 22.0**2))
    plate = (np.abs(_ROWS - 112) < 16) & (np.abs(_COLS - across) < 16)
    return np.where(plate, 1.17 * light, shade * light)


def cloud(light: NDArray[np.float64], _: float) -> NDArray[np.float64]:
    """Dust over all of it that lets half of the surface through."""
    return 0.5 * light + 0.5 * 130


@pytest.mark.parametrize("thing", [hand, rod, part, casting, cloud])
def test_what_hides_the_surface_is_told_at_once_and_until_it_is_gone(bench: Bench, thing: Change) -> None:
    times = told(bench, thing)
    assert times, "never told"
    assert BEGIN_S <= times[0] <= BEGIN_S + SOON_S
    assert END_S - 1 / FPS - 1e-9 <= times[-1] <= END_S + OVER_S
    within = [time_s for time_s in times if BEGIN_S + SOON_S <= time_s < END_S]
    assert len(within) == sum(BEGIN_S + SOON_S <= n / FPS < END_S for n in range(150))  # without a break


def test_a_thing_that_is_there_from_the_start_and_leaves(bench: Bench) -> None:
    """The bare bed is the usual look, though a plate was seen first."""
    rng = np.random.default_rng(3)
    clean = bench.Disc().clean(0.0).astype(np.float64)
    cover, times = Cover(bench.visible, bench.step_mm), []
    for number in range(round(10 * FPS)):
        light = part(clean, 0.0) if number / FPS < 4.0 else clean
        if cover.add(bench.rounded(light + 1.5 * rng.standard_normal(light.shape)), number / FPS):
            times.append(number / FPS)
    assert all(time_s < 4.0 + OVER_S for time_s in times)


LIGHTS: dict[str, Change] = {
    "a soft shadow": lambda light, _: light * (1 - 0.4 * np.exp(-((_COLS - 80) ** 2) / 50**2)),
    "a moving shadow": lambda light, t: light * (1 - 0.35 * (60 + 40 * (t - BEGIN_S) > _COLS)),
    "another lamp": lambda light, _: light * (0.6 + 0.8 * _COLS / 224),
    "the exposure": lambda light, _: 1.35 * light,
    "haze": lambda light, _: 0.8 * light + 0.2 * 130,
    "no change": lambda light, _: light,
}


@pytest.mark.parametrize("name", LIGHTS)
def test_light_hides_nothing(bench: Bench, name: str) -> None:
    assert told(bench, LIGHTS[name]) == []


def test_eruptions_hide_nothing(bench: Bench) -> None:
    """Domes 30 to 60 mm wide, lit on one side and dark on the other, here and there for a third of a second each."""
    rng = np.random.default_rng(5)
    cover, clean = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0).astype(np.float64)
    domes: list[tuple[float, float, float, float]] = []
    for number in range(round(12 * FPS)):
        time_s = number / FPS
        domes = [dome for dome in domes if time_s - dome[3] < 0.33]
        while len(domes) < 8:
            domes.append((*rng.uniform(20, 204, 2), rng.uniform(12, 24), time_s - rng.uniform(0, 0.3)))
        light = clean.copy()
        for x, y, radius, born in domes:
            gap = ((_COLS - x) ** 2 + (_ROWS - y) ** 2) / radius**2
            high = np.sin(np.pi * np.clip((time_s - born) / 0.33, 0, 1))
            light *= 1 + 0.6 * high * np.clip(1 - gap, 0, None) * (_COLS - x) / radius
        covered = cover.add(bench.rounded(light + 1.5 * rng.standard_normal(light.shape)), time_s)
        assert not covered, time_s


def lively(rng: np.random.Generator) -> NDArray[np.float64]:
    """Powder that is another one at every look: bubbles about 30 mm wide that darken and brighten it by 5 %."""
    coarse = cv2.GaussianBlur(rng.standard_normal((224, 224)), (0, 0), 8.0)
    return np.asarray(1 + 0.05 * coarse / coarse.std())


@pytest.mark.parametrize("tone", [0.7, 1.4])
@pytest.mark.parametrize("turn", [0.0, 1.2])
def test_a_thin_rod_in_a_lively_bed(bench: Bench, tone: float, turn: float) -> None:
    """15 mm thick, from the wall to the middle, slowly stirring."""
    rng = np.random.default_rng(4)
    cover, clean, times = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0).astype(np.float64), []
    for number in range(round(9 * FPS)):
        time_s = number / FPS
        light = clean * lively(rng)
        if 5.0 <= time_s < 7.0:
            angle = turn + 0.1 * np.sin(4 * time_s)
            along = (_COLS - 112) * np.cos(angle) + (_ROWS - 112) * np.sin(angle)
            across = (_ROWS - 112) * np.cos(angle) - (_COLS - 112) * np.sin(angle)
            light = np.where((np.abs(across) < 7.5 / bench.step_mm) & (along > -5), tone * 120.0, light)
        if cover.add(bench.rounded(light + 1.5 * rng.standard_normal(light.shape)), time_s):
            times.append(time_s)
    assert times
    assert 5.0 <= times[0] <= 5.0 + SOON_S
    assert times[-1] <= 7.0 + OVER_S
    assert len([time_s for time_s in times if 5.5 <= time_s < 7.0]) >= 22  # of 22 or 23


def test_a_lively_bed_alone_hides_nothing(bench: Bench) -> None:
    rng = np.random.default_rng(6)
    cover, clean = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0).astype(np.float64)
    for number in range(round(15 * FPS)):
        light = clean * lively(rng) + 1.5 * rng.standard_normal(clean.shape)
        assert not cover.add(bench.rounded(light), number / FPS)


def _lamp(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """A quarter darker, and leaning by a third to either side."""
    return light * 0.75 * (1 + 0.3 * (_COLS - 112) / 112)


@pytest.mark.parametrize("with_hand", [False, True])
def test_another_lamp_over_a_lively_bed(bench: Bench, with_hand: bool) -> None:
    """It stays, and may pass for a thing for a moment; a hand that comes in as it changes is told all the same, and leaves."""
    rng = np.random.default_rng(8)
    cover, clean, times = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0).astype(np.float64), []
    for number in range(round(14 * FPS)):
        time_s = number / FPS
        fine, wide = (cv2.GaussianBlur(rng.standard_normal((224, 224)), (0, 0), sigma) for sigma in (2.5, 12.0))
        # Bubbles 10 mm wide, so that the pattern of a block is now faint, now strong.
        light = clean * (1 + 0.15 * fine / fine.std() * np.exp(0.6 * wide / wide.std()))
        if time_s >= 5.0:
            light = _lamp(light)
        if with_hand and 5.0 <= time_s < 7.0:
            light = np.where((np.abs(_ROWS - 100) < 32) & (_COLS < 130), 180.0, light)
        if cover.add(bench.rounded(light + 1.5 * rng.standard_normal(light.shape)), time_s):
            times.append(time_s)
    if with_hand:
        assert 5.0 <= times[0] <= 5.0 + SOON_S
    assert all(5.0 <= time_s <= (7.0 if with_hand else 5.0) + OVER_S / 2 for time_s in times)


def test_colour_tells_a_rod_as_bright_as_the_powder(bench: Bench) -> None:
    rng = np.random.default_rng(3)
    clean = bench.Disc().clean(0.0)
    cover = Cover(bench.visible, bench.step_mm)
    across, down = cover.size
    told_s = []
    for number in range(round(8 * FPS)):
        time_s = number / FPS
        red, blue = (0.02 * rng.standard_normal((down, across)) for _ in range(2))
        light = clean.copy()
        if 4.0 <= time_s < 5.0:
            red[: down // 2, 10] += 0.2
            light[:112, 80:88] = 120  # smooth wood of the powder's mean brightness
        picture = bench.rounded(light + 1.5 * rng.standard_normal(clean.shape))
        if cover.add(picture, time_s, lambda red=red, blue=blue: [red, blue]):  # type: ignore[misc]
            told_s.append(time_s)
    assert told_s
    assert 4.0 <= told_s[0] <= 4.5
    assert told_s[-1] < 5.0 + OVER_S


def test_a_step_of_the_white_balance_hides_nothing(bench: Bench) -> None:
    rng = np.random.default_rng(3)
    cover, clean = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0)
    across, down = cover.size
    for number in range(round(8 * FPS)):
        step = 0.15 if number / FPS > 4 else 0.0
        uneven = 1 + 0.3 * np.arange(across) / across
        hues = [step * uneven + 0.02 * rng.standard_normal((down, across)), 0.02 * rng.standard_normal((down, across))]
        picture = bench.rounded(clean + 1.5 * rng.standard_normal(clean.shape))
        assert not cover.add(picture, number / FPS, lambda hues=hues: hues)  # type: ignore[misc]


def test_an_encoder_that_changes_a_colour_alone_hides_nothing(bench: Bench) -> None:
    rng = np.random.default_rng(3)
    cover, clean = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0)
    across, down = cover.size
    for number in range(round(8 * FPS)):
        red = 0.01 * rng.standard_normal((down, across))
        if number / FPS > 4:
            red[10:13, 10:13] += 0.15
        picture = bench.rounded(clean + 1.5 * rng.standard_normal(clean.shape))
        assert not cover.add(picture, number / FPS, lambda red=red: [red, red])  # type: ignore[misc]


@pytest.mark.parametrize("at", [{0}, {70}, {70, 71}])
def test_damaged_pictures_hide_nothing(bench: Bench, at: set[int]) -> None:
    """The lower half one grey, as a broken JPEG picture has it: the very first one, or some in between."""
    rng = np.random.default_rng(8)
    cover, clean = Cover(bench.visible, bench.step_mm), bench.Disc().clean(0.0).astype(np.float64)
    for number in range(round(9 * FPS)):
        light = np.where((_ROWS > 112) & (number in at), 128.0 - 60.0 * (_COLS > 90), clean)
        assert not cover.add(bench.rounded(light + 1.5 * rng.standard_normal(clean.shape)), number / FPS), number


@pytest.mark.parametrize("side_mm", [20, 60, 100, 140])
def test_a_small_bed_is_watched_too(side_mm: int) -> None:
    """One too small to tell bars in it (some 120 mm) still shows a hand that covers half of it."""
    cover = Cover(np.ones((side_mm, side_mm), np.bool_), 1.0)
    rng = np.random.default_rng(3)

    def look(number: int, hand: int) -> bool:
        picture = rng.integers(90, 110, (side_mm, side_mm))
        picture[:, : side_mm // 2] += hand
        return cover.add(picture.astype(np.uint8), 0.1 * number)

    assert True not in [look(number, 0) for number in range(40)]
    covered = [look(number, 90) for number in range(40, 48)]
    assert covered[-1] or side_mm < 60  # of a handful of blocks nothing can be told
