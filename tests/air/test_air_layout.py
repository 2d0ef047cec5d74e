"""Where holes go: equal numbers, equal areas, up to the wall; and which zones touch."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from bedwatch.air import touching_zones
from bedwatch.air.layout import MOST_HOLES, DrillPlan, drill_plan
from bedwatch.bed import Bed, grid_zones, read_bed, ring_zones, zone_index

CALIBRATION = Path(__file__).parents[2] / "calibration"


def ring_bed(*rings: int, first: float = 0.0) -> Bed:
    zones = ring_zones(rings, 210.0, first)
    return Bed(name="b", shape="round", width_mm=420, length_mm=420, surface_below_rim_mm=80, zones=zones)


def drilled(bed: Bed, holes: int, hole_mm: float = 1.0) -> DrillPlan:
    return drill_plan(bed, (holes,) * len(bed.zones), hole_mm)


@pytest.mark.parametrize("rings", [(1,), (7,), (1, 6), (1, 5), (3, 9), (1, 6, 12), (1, 1)])
@pytest.mark.parametrize("holes", [1, 7, 60])
def test_every_zone_gets_its_number_and_they_lie_in_it(rings: tuple[int, ...], holes: int) -> None:
    bed = ring_bed(*rings, first=17.0)
    plan = drilled(bed, holes)
    assert plan.per_zone == (holes,) * len(bed.zones)
    assert (zone_index(bed, plan.holes_mm) == plan.zone).all()
    assert np.bincount(plan.zone).tolist() == list(plan.per_zone)


def test_rows_run_right_up_to_the_wall() -> None:
    """No place on the wall is further from a hole than a corner of a square of the plate is from its middle, and a bit."""
    for rings, holes in (((1, 6), 60), ((1, 6), 150), ((1, 6, 12), 30)):
        plan = drilled(ring_bed(*rings), holes)
        turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        wall = 210 * np.stack([np.sin(turn), np.cos(turn)], axis=1)
        away = np.linalg.norm(wall[:, None] - plan.holes_mm[None], axis=2).min(axis=1)
        assert away.max() < 0.85 * plan.pitch_mm
        assert 0.4 * plan.pitch_mm < plan.wall_mm < 0.65 * plan.pitch_mm


def test_no_hole_crowds_another_and_no_place_is_left_out() -> None:
    plan = drilled(ring_bed(1, 6), 80)
    grid = np.stack(np.meshgrid(np.arange(-205, 206, 5.0), np.arange(-205, 206, 5.0)), axis=-1).reshape(-1, 2)
    inside = grid[np.hypot(*grid.T) < 208]
    away = np.linalg.norm(inside[:, None] - plan.holes_mm[None], axis=2).min(axis=1)
    assert away.max() < 1.1 * plan.pitch_mm
    assert plan.nearest_mm > 0.6 * plan.pitch_mm


def test_the_rows_are_the_holes() -> None:
    """Drilled from the table alone, circle by circle, the plate is the same."""
    bed = ring_bed(1, 6, first=10.0)
    plan = drilled(bed, 44)
    made = [
        (row.radius_mm * math.sin(turn), row.radius_mm * math.cos(turn))
        for row in plan.rows
        for turn in np.radians(row.first_deg + row.step_deg * np.arange(row.holes))
    ]
    assert sum(row.holes for row in plan.rows) == sum(plan.per_zone) == len(made)
    away = np.linalg.norm(np.array(made)[:, None] - plan.holes_mm[None], axis=2)
    assert away.min(axis=1).max() < 1e-4
    assert away.min(axis=0).max() < 1e-4


def test_zones_of_one_ring_with_other_numbers_have_rows_of_their_own() -> None:
    plan = drill_plan(ring_bed(1, 6), (20, 30, 30, 30, 40, 40, 30), 1.0)
    assert plan.per_zone == (20, 30, 30, 30, 40, 40, 30)
    assert {row.zones for row in plan.rows} == {("1",), ("2", "3", "4", "7"), ("5", "6")}


def test_a_rectangular_bed() -> None:
    zones = grid_zones(2, 3, 600, 400)
    bed = Bed(name="b", shape="rectangular", width_mm=600, length_mm=400, surface_below_rim_mm=60, zones=zones)
    plan = drilled(bed, 100)
    assert len(set(plan.per_zone)) == 1
    assert abs(plan.per_zone[0] - 100) <= 5
    assert plan.rows == ()
    assert plan.wall_mm == pytest.approx(plan.border_mm)
    made = [
        (block.first_mm[0] + column * block.step_mm[0], block.first_mm[1] - row * block.step_mm[1])
        for block in plan.blocks
        for row in range(block.rows)
        for column in range(block.columns)
    ]
    assert np.array(made) == pytest.approx(plan.holes_mm)
    # a number somebody has drilled already is kept, rows or not
    assert drill_plan(bed, (101,) * 6, 1.0, exact=True).per_zone == (101,) * 6
    assert (zone_index(bed, plan.holes_mm) == plan.zone).all()


def test_zones_of_any_shape() -> None:
    bed = read_bed(CALIBRATION / "custom.bed.toml")
    plan = drill_plan(bed, (30, 40, 70), 1.0)
    assert plan.per_zone[2] == 70
    assert (zone_index(bed, plan.holes_mm) == plan.zone).all()


def test_what_is_wrong_with_a_pattern_is_said() -> None:
    assert any("weaken" in words for words in drilled(ring_bed(1, 6), 400, 5.0).cautions)
    assert any("still between" in words for words in drilled(ring_bed(1, 6), 10).cautions)
    assert any("border" in words for words in drilled(ring_bed(1, 6), 800, 2.0).cautions)
    assert drilled(ring_bed(1, 6), 100).cautions == ()


@pytest.mark.parametrize("holes", [0, MOST_HOLES])
def test_no_holes_or_far_too_many_are_refused(holes: int) -> None:
    with pytest.raises(ValueError, match="expected at least 1"):
        drilled(ring_bed(1, 6), holes)


def test_zones_that_touch() -> None:
    """Seven zones: the middle touches all six by a sixth of its rim, the six touch in a ring along a radius."""
    found = {(one, other): length for one, other, length in touching_zones(ring_bed(1, 6))}
    inner = 210 / math.sqrt(7)
    assert set(found) == {(0, i) for i in range(1, 7)} | {(i, i + 1) for i in range(1, 6)} | {(1, 6)}
    assert found[0, 3] == pytest.approx(2 * math.pi * inner / 6, rel=0.05)
    assert found[2, 3] == pytest.approx(210 - inner, rel=0.05)


def test_a_corner_is_no_border() -> None:
    zones = grid_zones(2, 2, 400, 400)
    bed = Bed(name="b", shape="rectangular", width_mm=400, length_mm=400, surface_below_rim_mm=60, zones=zones)
    assert {pair[:2] for pair in touching_zones(bed)} == {(0, 1), (0, 2), (1, 3), (2, 3)}
