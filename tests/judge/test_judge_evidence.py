"""Which cells have the say in a zone where a fault lies."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.judge.advisor import look_of
from bedwatch.judge.evidence import ZoneView
from bedwatch.judge.types import HintWord

if TYPE_CHECKING:
    from conftest import Table

    from bedwatch.motion.field import MotionField


def _with_patch(table: Table, zone: int, reach_mm: float) -> tuple[MotionField, np.ndarray]:
    """All gentle but a patch about the middle of a zone: dead in it, slowed down for 15 mm around it; and where it is dead."""
    field = table.field("gentle")
    centre = table.cells.centre_mm[table.cells.zone == zone].mean(axis=0)
    far = np.hypot(*(table.cells.centre_mm - centre).T)
    speed = np.where(far < reach_mm, 0.0, np.where(far < reach_mm + 15, 12.0, 25.0))
    mine = table.cells.zone == zone
    zones = field.zones.speed_mm_s.copy()
    zones[zone] = np.sqrt(np.mean(speed[mine] ** 2))
    return replace(
        field,
        cells=replace(field.cells, speed_mm_s=speed, live=np.where(far < reach_mm, 0.0, field.cells.live)),
        zones=replace(field.zones, speed_mm_s=zones),
        duty=np.where(far < reach_mm + 15, 0.05, field.duty),
    ), far < reach_mm


@pytest.mark.parametrize("zone", [1, 4])
def test_a_dead_patch_says_nothing_of_the_air_around_it(seven: Table, zone: int) -> None:
    """Nor does the powder right beside it, which it holds back."""
    field, dead = _with_patch(seven, zone, 30.0)
    view = ZoneView(seven.bed, seven.cells)
    with_patch, clean = view.read(field, dead)[zone], view.read(seven.field("gentle"))[zone]
    assert with_patch.speed_mm_s < 0.9 * clean.speed_mm_s
    assert with_patch.clear_mm_s == pytest.approx(clean.speed_mm_s)
    assert with_patch.restless == pytest.approx(clean.restless)
    assert with_patch.live == pytest.approx(clean.live)
    other = view.read(field, dead)[6]
    assert other.clear_mm_s == other.speed_mm_s


def test_a_zone_whose_inner_part_is_all_fault_is_judged_by_the_rest(seven: Table) -> None:
    field, _ = _with_patch(seven, 3, 20.0)
    dead = (seven.cells.zone == 3) & seven.cells.inner
    seen = ZoneView(seven.bed, seven.cells).read(field, dead)[3]
    assert seen.known
    assert seen.cells >= 2


def test_the_speed_that_the_plan_goes_by_is_in_the_log(seven: Table) -> None:
    """So that the advice of a later day rests on the same."""
    field, _ = _with_patch(seven, 3, 30.0)
    reading = seven.judge().read(10.0, field)
    signs = reading.zones[3].signs
    assert signs is not None
    assert look_of(reading).seen[3].speed_mm_s == signs.speed_mm_s
    assert reading.zones[3].hint is not HintWord.WAIT
