"""Mains light seen at a frame rate: found by its beat, and named where the beat tells which mains it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bedwatch.aim.health.flicker import alias_hz, flicker_of, mains_of
from bedwatch.aim.health.looks import BANDS, Look, Tones

TONES = Tones(low=20, high=200, clipped=0.0)


def looks(
    fps: float,
    seconds: float,
    *,
    light_hz: float = 0.0,
    swing: float = 0.02,
    rows_s: float = 0.0,
    noise: float = 0.001,
    jitter_s: float = 0.0,
    drop: float = 0.0,
    wander: float = 0.0,
) -> list[Look]:
    """rows_s: time a rolling shutter takes for the picture. wander: size of slow, aimless changes of each band."""
    rng = np.random.default_rng(3)
    out, slow = [], np.zeros(BANDS)
    for number in range(round(seconds * fps)):
        slow = 0.9 * slow + np.sqrt(1 - 0.81) * wander * rng.normal(size=BANDS)
        if rng.random() < drop:
            continue
        time_s = number / fps
        rows = time_s + np.arange(BANDS) / BANDS * rows_s
        bands = (
            swing * np.sin(2 * np.pi * light_hz * rows + 0.4) * (light_hz > 0) + slow + noise * rng.normal(size=BANDS)
        )
        out.append(
            Look(
                time_s=time_s + jitter_s * rng.normal(),
                whole=TONES,
                bed=None,
                bands=bands,
                level=0.0,
                tint=(0.0, 0.0),
                lost=0,
                same=False,
                shift_px=None,
            )
        )
    return out


def by_turns(every_one: list[Look], every: int, turns: set[int]) -> list[Look]:
    """As if in rounds of `every` only frames of these numbers had been looked at."""
    kept, passed = [], 0
    for number, look in enumerate(every_one):
        if number % every in turns:
            kept.append(replace(look, frames=1 + passed))
            passed = 0
        else:
            passed += 1
    return kept


# Three of five, three of four, four of seven: some one after the other, so that no beat is hidden.
ROUNDS = ((5, {0, 1, 4}), (4, {0, 1, 3}), (7, {0, 1, 5, 6}))


@pytest.mark.parametrize("rows_s", [0.0, 0.012, 0.028])
@pytest.mark.parametrize(
    ("fps", "light_hz", "mains"),
    [
        (15, 100, 50),
        (24, 100, 50),
        (25, 120, 60),
        (30, 100, 50),
        (29.97, 100, 50),
        (60, 100, 50),
        (12.5, 120, 60),
        (50, 120, 60),
    ],
)
def test_the_mains_is_named(fps: float, light_hz: float, mains: int, rows_s: float) -> None:
    found = flicker_of(looks(fps, 8.0, light_hz=light_hz, rows_s=rows_s))
    assert found is not None
    assert found.mains_hz == mains
    assert found.beat_hz == pytest.approx(alias_hz(light_hz, fps), abs=0.1)
    assert found.share == pytest.approx(0.02, rel=0.1)


@pytest.mark.parametrize(
    ("fps", "light_hz", "mains", "every", "turns"),
    [
        (30, 100, 50, *ROUNDS[0]),
        (29.97, 100, 50, *ROUNDS[0]),
        (27, 120, 60, *ROUNDS[0]),
        (25, 120, 60, *ROUNDS[1]),
        (50, 120, 60, *ROUNDS[2]),
    ],
)
def test_the_mains_is_named_where_frames_are_passed_over(
    fps: float, light_hz: float, mains: int, every: int, turns: set[int]
) -> None:
    for swing, wander in ((0.02, 0.0), (0.008, 0.004)):
        lit = by_turns(looks(fps, 10.0, light_hz=light_hz, rows_s=0.012, swing=swing, wander=wander), every, turns)
        found = flicker_of(lit)
        assert found is not None
        assert found.mains_hz == mains
        assert found.beat_hz == pytest.approx(alias_hz(light_hz, fps), abs=0.1)
        assert found.share == pytest.approx(swing, rel=0.2)


@pytest.mark.parametrize(("every", "turns"), ROUNDS)
def test_frames_passed_over_make_no_flicker(every: int, turns: set[int]) -> None:
    """What wanders, drifts or swings slowly does not come back at the pace of the rounds."""
    assert flicker_of(by_turns(looks(30, 10.0, wander=0.02), every, turns)) is None
    drifting = [replace(look, bands=look.bands + 0.02 * look.time_s) for look in looks(30, 10.0)]
    assert flicker_of(by_turns(drifting, every, turns)) is None
    swinging = [
        replace(look, bands=look.bands + np.clip(0.15 * np.sin(2 * np.pi * look.time_s / 3.0), -0.1, 0.1))
        for look in looks(30, 10.0)
    ]
    assert flicker_of(by_turns(swinging, every, turns)) is None
    stepped = [replace(look, bands=look.bands + 0.2 * (look.time_s > 4.0)) for look in looks(30, 10.0)]
    assert flicker_of(by_turns(stepped, every, turns)) is None


def test_a_beat_of_neither_is_not_named_after_one() -> None:
    found = flicker_of(looks(30, 8.0, light_hz=93.0))  # a lamp with a supply of its own
    assert found is not None
    assert found.mains_hz is None


def test_rates_at_which_both_beat_alike_name_none() -> None:
    """At 44 frames a second both beat 12 times a second."""
    assert alias_hz(100, 44) == pytest.approx(12)
    assert alias_hz(120, 44) == pytest.approx(12)
    assert mains_of(12.0, 44.0) is None


def test_late_stamps_and_lost_frames_hide_nothing() -> None:
    """Live frames are stamped when they arrive, some milliseconds off, and some are lost."""
    found = flicker_of(looks(30, 8.0, light_hz=100.0, jitter_s=0.004, drop=0.1))
    assert found is not None
    assert found.mains_hz == 50


def test_powder_that_wanders_is_no_flicker() -> None:
    assert flicker_of(looks(30, 8.0, wander=0.02)) is None
    assert flicker_of(looks(15, 3.0, wander=0.05)) is None


def test_a_faint_swing_is_let_be() -> None:
    assert flicker_of(looks(30, 8.0, light_hz=100.0, swing=0.002, noise=0.0002)) is None


def test_a_slow_swing_is_no_flicker() -> None:
    """Exposure that hunts in 3 s, with the overtones that clipping makes of it."""
    swung = looks(30, 8.0)
    hunting = []
    for look in swung:
        swing = np.clip(0.15 * np.sin(2 * np.pi * look.time_s / 3.0), -0.1, 0.1)
        hunting.append(
            Look(
                time_s=look.time_s,
                whole=TONES,
                bed=None,
                bands=look.bands + swing,
                level=0.0,
                tint=(0.0, 0.0),
                lost=0,
                same=False,
                shift_px=None,
            )
        )
    assert flicker_of(hunting) is None
    assert flicker_of(hunting[:20]) is None
