"""Dust in the air and on the lens, told from what looks like it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.health.specks import Dust
from bedwatch.aim.health.veil import Veil
from bedwatch.frames.cv import cv2

Grey = NDArray[np.float32]
ROWS, COLS = 200, 320
V, U = np.mgrid[0:ROWS, 0:COLS]
BED = np.hypot(V - ROWS / 2, U - COLS / 2) < 80


def soft(seed: int, sigma: float) -> Grey:
    grain = np.random.default_rng(seed).normal(size=(ROWS, COLS)).astype(np.float32)
    grain = np.asarray(cv2.GaussianBlur(grain, (0, 0), sigma))
    return np.asarray(grain / grain.std(), np.float32)


BENCH = np.asarray(120 + 8 * soft(1, 2.5) + np.where(U < COLS / 2, 0, 40), np.float32)


def lines(picture: Grey) -> Grey:
    return np.asarray(picture - cv2.blur(picture, (21, 21)), np.float32)


def watched(how: Callable[[Grey, float], Grey]) -> Veil:
    veil = Veil(BENCH, lines(BENCH), ~BED)
    rng = np.random.default_rng(2)
    for step in range(40):
        seen = how(BENCH, step / 4) + rng.normal(0, 0.2, BENCH.shape)
        veil.add(np.asarray(seen, np.float32), lines(np.asarray(seen, np.float32)), step / 4)
    return veil


def drifting(time_s: float) -> Grey:
    """Thickness of a veil that drifts over the picture, 0.15 to 0.5."""
    return np.asarray(0.32 + 0.17 * np.sin(2 * np.pi * (U / 260 + V / 300 + time_s / 7)), np.float32)


@pytest.mark.parametrize("colour", [60.0, 140.0, 210.0])
def test_a_drifting_veil_is_told_with_its_brightness(colour: float) -> None:
    """To 25 grey levels: its mean thickness, which the first pictures already have, is not known."""
    first = BENCH * (1 - drifting(0)) + colour * drifting(0)
    veil = Veil(first, lines(first), ~BED)
    for step in range(40):
        thick = drifting(step / 4)
        seen = np.asarray(BENCH * (1 - thick) + colour * thick, np.float32)
        veil.add(seen, lines(seen), step / 4)
    haze = veil.haze()
    assert haze is not None
    assert haze.dim > 0.1
    assert haze.brightness == pytest.approx(colour, abs=25)


def test_clear_air_shows_no_veil() -> None:
    assert watched(lambda bench, _: bench).haze() is None


def test_exposure_is_no_veil_and_its_gain_is_known() -> None:
    veil = watched(lambda bench, time_s: np.asarray(bench * (1 + 0.12 * np.sin(time_s)), np.float32))
    assert veil.haze() is None
    gains = veil.gains()
    assert gains is not None
    assert np.abs(gains[:, 1] - np.log(1 + 0.12 * np.sin(gains[:, 0]))).max() < 0.02


def test_a_shadow_that_passes_is_no_veil() -> None:
    def shaded(bench: Grey, time_s: float) -> Grey:
        shade = 1 - 0.3 * np.exp(-(((U - 30 * time_s) / 60) ** 2))
        return np.asarray(bench * shade, np.float32)

    assert watched(shaded).haze() is None


def test_lost_focus_is_no_veil() -> None:
    def blurred(bench: Grey, time_s: float) -> Grey:
        return np.asarray(cv2.GaussianBlur(bench, (0, 0), 3.0) if time_s > 4 else bench, np.float32)

    assert watched(blurred).haze(sure=False) is None


def test_who_stands_about_is_no_veil() -> None:
    def walked(bench: Grey, time_s: float) -> Grey:
        out = bench.copy()
        left = int(20 * time_s)
        out[:, left : left + 50] = 50 + 8 * soft(7, 2.0)[:, left : left + 50]
        return out

    assert watched(walked).haze() is None


def test_bare_surroundings_know_nothing() -> None:
    bare = np.full((ROWS, COLS), 100, np.float32)
    assert Veil(bare, lines(bare), ~BED).blind
    assert Veil(bare, lines(bare), ~BED).haze() is None


def lens(strength: float, places: tuple[tuple[int, int], ...] = ((80, 150), (120, 190), (130, 130))) -> Grey:
    """Share of the light that dust on the lens lets through."""
    through = np.ones((ROWS, COLS), np.float32)
    for v, u in places:
        through *= 1 - strength / (1 + np.exp(np.hypot(V - v, U - u) - 5.0))
    return through


def dusty(powder: Callable[[int], Grey], through: Grey, seconds: float = 9.0) -> Dust:
    dust = Dust(BED)
    for step in range(round(seconds / 0.15)):
        dust.add(np.asarray(powder(step) * through, np.float32), step * 0.15)
    return dust


def lively(step: int) -> Grey:
    """Powder whose pattern is another one after half a second."""
    a, b, part = soft(100 + step // 4, 2.0), soft(101 + step // 4, 2.0), (step % 4) / 4
    return np.asarray(130 * (1 + 0.05 * (np.sqrt(1 - part) * a + np.sqrt(part) * b)), np.float32)


def resting(step: int) -> Grey:
    noise = np.random.default_rng(step).normal(0, 0.3, (ROWS, COLS))
    return np.asarray(130 * (1 + 0.05 * soft(100, 2.0)) + noise, np.float32)


@pytest.mark.parametrize("strength", [0.15, 0.3, -0.2])
def test_specks_before_moving_powder_are_counted(strength: float) -> None:
    specks = dusty(lively, lens(strength)).specks
    assert specks is not None
    assert specks.number == 3


def test_a_clean_lens_has_none() -> None:
    assert dusty(lively, lens(0.0)).specks is None


def test_before_powder_that_rests_nothing_can_be_told() -> None:
    assert dusty(resting, lens(0.3)).specks is None


def test_a_lamp_and_a_shadows_edge_are_no_specks() -> None:
    light = 1 - 0.3 * ((U - 160) / 160) ** 2 - 0.25 / (1 + np.exp((V - 70 - 0.1 * U) / 3.0))
    assert dusty(lively, np.asarray(light, np.float32)).specks is None


def test_places_that_stir_more_or_less_are_no_specks() -> None:
    """Spouts lie dark and boil; dead patches are another colour and do not move."""

    def with_spouts(step: int) -> Grey:
        rng = np.random.default_rng(step)
        out = lively(step)
        for v, u, depth, stir in (
            (80, 150, 0.8, 0.15),
            (120, 190, 0.8, 0.15),
            (130, 130, 0.85, 0.0),
            (90, 120, 0.85, 0.0),
        ):
            here = 1 / (1 + np.exp(np.hypot(V - v, U - u) - 6.0))
            there = 130 * depth * (1 + stir * rng.normal())
            out = out * (1 - here) + there * here
        return np.asarray(out, np.float32)

    assert dusty(with_spouts, lens(0.0)).specks is None


def test_blobs_of_a_surface_that_lies_still_are_no_specks() -> None:
    """A noisy picture of resting powder with lumps: what changes there is noise alone."""
    still = np.where(BED, 120 * lens(0.25) * (1 + 0.01 * soft(5, 1.2)), BENCH)

    def noisy(step: int) -> Grey:
        return np.asarray(still + np.random.default_rng(step).normal(0, 0.9, still.shape), np.float32)

    assert dusty(noisy, np.ones((ROWS, COLS), np.float32)).specks is None
