"""Nothing moves: what noise, light, and missing texture do must not be read as motion."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from conftest import Bench, Pictures

# Asked of a still disc: under 0.5 mm/s and at most 2 % of it live.
STILL_MM_S, STILL_LIVE = 0.5, 0.02


@pytest.mark.parametrize(("texture", "contrast"), [("gravel", 1.0), ("grass", 0.3), ("brick", 1.0)])
@pytest.mark.parametrize("noise_dn", [0.5, 2.0, 5.0])
def test_a_still_surface_is_still(bench: Bench, texture: str, contrast: float, noise_dn: float) -> None:
    disc = bench.Disc(texture=texture, contrast=contrast, noise_dn=noise_dn)
    field = bench.look(disc.pictures(4.0))
    assert field.zones.live.max() <= STILL_LIVE
    assert field.zones.speed_mm_s.max() < STILL_MM_S
    # 0 must be a likely truth: within two stated errors.
    assert (field.zones.speed_mm_s <= 2 * field.zones.speed_error_mm_s + 1e-9).all()


def test_the_very_same_picture_again_and_again_is_still(bench: Bench) -> None:
    field = bench.look(bench.Disc(noise_dn=0.0).pictures(3.0))
    assert field.bed.live[0] == 0.0
    assert field.bed.speed_mm_s[0] == 0.0


@pytest.mark.parametrize(
    ("level", "noise_dn", "seconds"),
    # The whole window where noise is coarse: chance agreement between frames takes that long to average out.
    [(30.0, 0.3, 3.0), (30.0, 2.0, 4.0), (120.0, 1.5, 4.0), (220.0, 0.3, 3.0), (120.0, 5.0, 10.0)],
)
def test_a_bare_surface_is_never_moving(bench: Bench, level: float, noise_dn: float, seconds: float) -> None:
    """No texture at all: unknown, or not live and at a speed that its own error covers."""
    field = bench.look(bench.Disc(contrast=0.0, level=level, noise_dn=noise_dn).pictures(seconds))
    assert np.nan_to_num(field.zones.live, nan=0.0).max() <= STILL_LIVE
    speed = np.nan_to_num(field.zones.speed_mm_s, nan=0.0)
    error = np.nan_to_num(field.zones.speed_error_mm_s, nan=np.inf)
    assert ((speed < STILL_MM_S) | (speed < 2 * error)).all()


def test_a_bare_surface_that_turns_is_not_said_to_stand_still(bench: Bench) -> None:
    """Nobody can see it move: its speed is unknown, or has an error wide enough for the truth."""
    disc = bench.Disc(contrast=0.0, wall_mm_s=60.0)
    field = bench.look(disc.pictures(4.0))
    unknown = np.isnan(field.zones.speed_mm_s)
    miss = np.abs(field.zones.speed_mm_s - disc.zone_mm_s())
    assert (unknown | (miss < 2 * field.zones.speed_error_mm_s)).all()


def test_texture_says_how_much_there_is_to_see(bench: Bench) -> None:
    bare, faint, full = (
        np.nanmean(bench.look(bench.Disc(contrast=contrast).pictures(0.5)).texture) for contrast in (0.0, 0.3, 1.0)
    )
    assert bare < 0.5 * faint  # noise of 1.5 grey levels has slopes too
    # Squares of contrast, 1 : 0.09, and the noise's own slopes on top.
    assert (faint - bare) / (full - bare) == pytest.approx(0.09, rel=0.1)


Light = Callable[[float], float | np.ndarray]

LIGHTS: dict[str, Light] = {
    "flicker of 5 %": lambda t: 1 + 0.05 * np.sin(2 * np.pi * 9.3 * t),
    "exposure step of 20 % up": lambda t: 1.0 if t < 2 else 1.2,
    "exposure step of 20 % down": lambda t: 1.0 if t < 2 else 0.8,
    "slow exposure drift": lambda t: 1 + 0.2 * np.sin(2 * np.pi * t / 5),
}


@pytest.mark.parametrize("name", LIGHTS)
def test_changing_light_is_not_motion(bench: Bench, name: str) -> None:
    def pictures() -> Pictures:
        rng = np.random.default_rng(8)
        clean = bench.Disc(contrast=0.7).clean(0.0)
        for number in range(120):
            time_s = number / 30
            lit = clean * LIGHTS[name](time_s) + 1.5 * rng.standard_normal(clean.shape)
            yield bench.rounded(lit), time_s

    field = bench.look(pictures())
    assert field.zones.live.max() <= STILL_LIVE
    # One step in four seconds, or a light that never rests, may leave a little; twice the still bound.
    assert field.zones.speed_mm_s.max() < 2 * STILL_MM_S


def test_a_still_half_beside_a_moving_half(bench: Bench) -> None:
    """The moving half is a strip pattern that slides along the border between the halves."""

    def pictures() -> Pictures:
        rng = np.random.default_rng(9)
        still = bench.Disc(texture="grass").clean(0.0)
        slide = np.vstack([bench.Disc(texture="gravel").clean(0.0)] * 2)
        for number in range(120):
            time_s = number / 30
            offset = 20.0 * time_s / bench.step_mm  # 20 mm/s down the picture
            whole = int(offset)
            part = offset - whole
            at = 224 - whole
            moving = (1 - part) * slide[at : at + 224] + part * slide[at - 1 : at + 223]
            light = np.where(bench.x_mm < 0, moving, still) + 1.5 * rng.standard_normal((224, 224))
            yield bench.rounded(light), time_s

    field = bench.look(pictures())
    columns = np.array([bench.x_mm[bench.cell == n].mean() if (bench.cell == n).any() else np.nan for n in range(196)])
    # Windows reach 15 mm beyond a block's middle and cells are 20 mm wide: clear of the border from 30 mm on.
    moving, still = columns < -30, columns > 30
    assert np.nanmean(field.cells.live[moving]) > 0.97
    assert np.nanmean(field.cells.live[still]) <= STILL_LIVE
    assert np.nanmedian(field.cells.speed_mm_s[moving]) == pytest.approx(20.0, rel=0.06)
    assert np.nanmedian(field.cells.speed_mm_s[still]) < STILL_MM_S
    assert 0.4 < field.bed.live[0] < 0.6  # half, to the width of a window at the border
