"""What moves on the make-believe surface, and what does not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.eruption import life_s
from bedwatch.sim.feed import BLEED_END_MM, DeadPatch, Grid, Spout, air_maps
from bedwatch.sim.physics import bubble_mm, eruptions_per_mm2_s
from bedwatch.sim.powder import POWDERS
from bedwatch.sim.surface import Surface

WHITE = POWDERS["white"]
PAIR = rectangular_bed(240.0, 200.0, (1, 2))
ONE = rectangular_bed(200.0, 200.0, (1, 1))


def run(surface: Surface, seconds: float, step_s: float = 1 / 30) -> None:
    for _ in range(round(seconds / step_s)):
        surface.advance(step_s)


def test_eruption_rate_and_size_follow_the_formulas() -> None:
    surface = Surface(Grid(ONE, 1.5), (2.0,), WHITE, seed=4)
    run(surface, 4.0)
    excess = np.array([WHITE.minimum_mm_s])
    # spread_sizes keeps the mean volume, so the plain rate holds for the number
    expected = float(eruptions_per_mm2_s(excess, 150.0)[0]) * 200.0**2 * 4.0
    found = len(surface.events)
    assert abs(found - expected) < 4 * math.sqrt(expected)
    sizes = np.array([e[2] for e in surface.events])
    assert np.cbrt(np.mean(sizes**3)) == pytest.approx(float(bubble_mm(excess, 150.0)[0]), rel=0.05)


@pytest.mark.parametrize(("air", "low", "high"), [(1.6, 15, 25), (2.2, 15, 26), (4.5, 35, 60), (6.5, 35, 60)])
def test_visible_width_of_an_eruption(air: float, low: float, high: float) -> None:
    """Median width of dome or crater as seen in the relief: about 1.5 to 2 bubbles."""
    excess = np.array([(air - 1) * WHITE.minimum_mm_s])
    size = float(bubble_mm(excess, 150.0)[0])
    surface = Surface(
        Grid(ONE, 1.0),
        (0.5,),
        WHITE,
        spouts=(Spout(x_mm=0, y_mm=0, bubble_mm=size, per_s=3.0),),
    )
    surface.free[:] = 1.0
    widths = []
    for _ in range(60):
        surface.advance(1 / 60)
        height = np.abs(surface.height_mm)
        if height.max() > 0.15 * size:
            area = float((height > 0.03 * size).sum())
            widths.append(math.sqrt(4 * area / math.pi))
    assert low < np.median(widths) < high


def test_eruptions_take_a_fraction_of_a_second() -> None:
    _, gentle = life_s(np.array([12.0]))
    _, rough = life_s(np.array([25.0]))
    assert 0.1 < gentle[0] < rough[0] < 0.4


def test_no_place_is_preferred() -> None:
    """Chi-square over 36 patches of 1600 mm² against uniform; 66.6 is the 99.9 % point for 35 degrees."""
    bed = rectangular_bed(300.0, 300.0, (1, 1))
    surface = Surface(Grid(bed, 2.0), (1.9,), WHITE, seed=11)
    run(surface, 5.0, 0.05)
    places = np.array([e[:2] for e in surface.events])
    inner = places[(np.abs(places) < 120).all(axis=1)]
    counts, _, _ = np.histogram2d(inner[:, 0], inner[:, 1], bins=6, range=[[-120, 120], [-120, 120]])
    statistic = float(((counts - counts.mean()) ** 2 / counts.mean()).sum())
    assert counts.mean() > 20
    assert statistic < 66.6


def test_nothing_moves_at_or_below_the_minimum() -> None:
    surface = Surface(Grid(PAIR, 1.5), (1.05, 0.7), WHITE, seed=2)
    run(surface, 1.0)
    assert surface.events == []
    assert not surface.height_mm.any()
    assert not surface.moved_mm.any()
    assert not surface.offset_mm.any()


@pytest.mark.parametrize("air", [2.0, 6.0])
def test_starved_zone_moves_near_its_border_only(air: float) -> None:
    surface = Surface(Grid(PAIR, 1.5), (air, 0.9), WHITE, seed=3)
    run(surface, 2.0)
    beyond = surface.grid.x > BLEED_END_MM + 2 * 1.5
    moved = np.abs(surface.offset_mm).max(axis=0) + np.abs(surface.height_mm)
    assert not moved[beyond].any()
    near = (surface.grid.x > 1) & (surface.grid.x < 12) & surface.grid.in_bed
    assert (moved[near] > 0.05).mean() > 0.3
    live = surface.grid.in_bed & (surface.grid.x < -10)
    assert (moved[live] > 0.05).mean() > 0.9


def test_violent_air_heaves_the_whole_zone() -> None:
    gentle, rough = (Surface(Grid(ONE, 2.0), (air,), WHITE, seed=3) for air in (2.0, 5.5))
    for surface in (gentle, rough):
        run(surface, 0.5)
    assert (np.abs(rough.height_mm) > 1.0).mean() > 0.6
    assert (np.abs(gentle.height_mm) > 1.0).mean() < 0.4


def test_zones_on_the_grid_have_their_areas() -> None:
    bed = round_bed(420.0, (1, 6), first_boundary_deg=20.0)
    grid = Grid(bed, 1.0)
    for index, zone in enumerate(bed.zones):
        assert (grid.zone == index).sum() == pytest.approx(zone.area_mm2, rel=0.01)
    x, y = 150 * math.sin(math.radians(50)), 150 * math.cos(math.radians(50))  # 20 to 80 degrees: zone 2
    nearest = np.argmin(np.hypot(grid.x - x, grid.y - y))
    assert grid.zone.ravel()[nearest] == 1


def test_spout_stays_and_dead_patch_is_still() -> None:
    patch = DeadPatch(x_mm=60.0, y_mm=-40.0, radius_mm=22.0)
    spout = Spout(x_mm=-50.0, y_mm=30.0, start_s=0.5)
    surface = Surface(Grid(ONE, 1.5), (1.8,), WHITE, seed=8, spouts=(spout,), dead=(patch,))
    run(surface, 2.0)
    near = [e for e in surface.events if math.hypot(e[0] + 50, e[1] - 30) < 9]
    assert all(e[3] > 0.4 for e in near if e[2] > 15)
    assert sum(1 for e in near if e[2] > 15) >= 8
    gap = np.hypot(surface.grid.x - 60, surface.grid.y + 40)
    assert not surface.offset_mm[:, gap < 16].any()
    assert np.abs(surface.offset_mm[:, (gap > 30) & (gap < 45)]).max() > 1


def test_bleed_ends_where_it_should() -> None:
    grid = Grid(PAIR, 1.0)
    excess, free, _ = air_maps(grid, (2.0, 0.8), WHITE.minimum_mm_s)
    middle = np.argmin(np.abs(grid.y[:, 0]))
    x = grid.x[middle]
    assert excess[middle, x > BLEED_END_MM + 1].max() == 0
    assert excess[middle, (x > 3) & (x < 6)].min() > 0.3
    assert excess[middle, (x < -25) & (x > -115)].min() == pytest.approx(WHITE.minimum_mm_s, rel=0.01)
    assert free[middle, (x > -115) & (x < 5)].min() == 1


def test_skin_is_carried_by_what_it_says_it_moved() -> None:
    """Where no burst renews the skin, offsets are minus the summed displacement (drift only, small steps)."""
    surface = Surface(Grid(ONE, 2.0), (2.0,), WHITE, seed=6)
    total = np.zeros_like(surface.moved_mm)
    renewed = np.zeros(surface.grid.shape, dtype=bool)
    for _ in range(6):
        surface.advance(1 / 60)
        total += surface.moved_mm
        for x, y, size in surface.burst_now:
            renewed |= np.hypot(surface.grid.x - x, surface.grid.y - y) < 2.5 * size
    calm = ~renewed & (np.abs(total).max(axis=0) < 0.8) & (np.abs(total).max(axis=0) > 0.1)
    assert calm.sum() > 300
    error = np.abs(surface.offset_mm[:, calm] + total[:, calm])
    assert np.quantile(error, 0.99) < 0.15
    assert error.mean() < 0.01
