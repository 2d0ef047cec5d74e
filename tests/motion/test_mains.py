"""Bands of mains light that roll through the picture: read from what stands still, and taken out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.motion.mains import COLUMNS, ROWS, RowLight

if TYPE_CHECKING:
    from conftest import Bench, Pictures

SIDE = 60  # still surroundings left and right of the disc, pixels
HEIGHT = 224
# A block or two at the wall, where half a row is hidden, may be taken in.
STILL_MM_S, STILL_LIVE = 0.5, 0.04


def row_light(width: int) -> RowLight:
    u = np.rint(np.linspace(0, width - 1, COLUMNS)).astype(np.intp)
    v = np.rint(np.linspace(0, HEIGHT - 1, ROWS)).astype(np.intp)
    at_px = np.stack(np.meshgrid(u, v), axis=-1)
    still = (at_px[..., 0] < SIDE) | (at_px[..., 0] >= width - SIDE)
    row_px = np.repeat(np.arange(HEIGHT, dtype=float)[:, None], width - 2 * SIDE, axis=1)
    return RowLight(at_px, still, row_px)


def bands(time_s: float, mains_hz: float, share: float, readout_s: float) -> NDArray[np.float64]:
    """(HEIGHT, 1) light of every row: twice the mains frequency, read out row after row."""
    rows = np.arange(HEIGHT)[:, None] / HEIGHT * readout_s
    return 1 + share * np.sin(2 * np.pi * 2 * mains_hz * (time_s + rows))


def lit(bench: Bench, mains_hz: float, fps: float, wall_mm_s: float = 0.0, share: float = 0.05) -> Pictures:
    """The disc between two strips of bench, all under the same lamp; what comes out is evened."""
    rng = np.random.default_rng(4)
    disc = bench.Disc(contrast=0.7, wall_mm_s=wall_mm_s)
    sides = 90 + 25 * rng.standard_normal((HEIGHT, 2 * SIDE))
    light = row_light(HEIGHT + 2 * SIDE)
    for number in range(round(4 * fps)):
        time_s = number / fps
        whole = np.hstack([sides[:, :SIDE], disc.clean(time_s), sides[:, SIDE:]]) * bands(
            time_s, mains_hz, share, 0.033
        )
        picture = bench.rounded(whole + 1.5 * rng.standard_normal(whole.shape))
        rows = light.add(picture, time_s, number)
        flat = np.ascontiguousarray(picture[:, SIDE:-SIDE])
        if rows is None:
            assert time_s < 1.0  # seen through within a second
            continue
        yield light.even(flat, rows), time_s


@pytest.mark.parametrize(("mains_hz", "fps"), [(50.0, 30.0), (60.0, 25.0), (50.0, 24.0), (60.0, 26.0)])
def test_bands_do_not_make_a_still_surface_move(bench: Bench, mains_hz: float, fps: float) -> None:
    field = bench.look(lit(bench, mains_hz, fps))
    assert field.zones.live.max() <= STILL_LIVE
    assert field.zones.speed_mm_s.max() < STILL_MM_S


def test_motion_under_bands_is_still_measured(bench: Bench) -> None:
    """8 %: 6 % of the meter and what is left of the bands."""
    field = bench.look(lit(bench, 50.0, 30.0, wall_mm_s=30.0))
    true = bench.Disc(wall_mm_s=30.0).zone_mm_s()
    assert field.zones.speed_mm_s == pytest.approx(true, rel=0.08)


def test_steady_light_is_left_alone(bench: Bench) -> None:
    rng = np.random.default_rng(4)
    light = row_light(HEIGHT + 2 * SIDE)
    scene = 90 + 25 * rng.standard_normal((HEIGHT, HEIGHT + 2 * SIDE))
    for number in range(60):
        moving = scene.copy()
        moving[:, SIDE:-SIDE] = np.roll(scene[:, SIDE:-SIDE], 3 * number, axis=0)  # the bed may do what it likes
        assert light.add(bench.rounded(moving + 2 * rng.standard_normal(scene.shape)), number / 30, number) is None


def test_without_surroundings_it_does_nothing() -> None:
    at_px = np.zeros((ROWS, COLUMNS, 2), np.intp)
    light = RowLight(at_px, np.zeros((ROWS, COLUMNS), np.bool_), np.zeros((8, 8)))
    assert light.blind
    assert light.add(np.zeros((8, 8), np.uint8), 0.0, 0) is None
