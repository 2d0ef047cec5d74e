"""Powder groups, plates, supplies and valves, and what each says outside its range."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest

from bedwatch.air import Gas, Plate, Powder, Supply, Valve
from bedwatch.air.bubbling import minimum_bubbling_m_s
from bedwatch.air.drops import packed_drop_pa
from bedwatch.air.groups import UNCERTAIN_UM, ac_band_um, geldart_group
from bedwatch.air.minimum import coarse_grain_m_s, correlation_m_s, ergun_m_s, fine_grain_m_s
from bedwatch.air.plate import discharge_coefficient, hole_speed_m_s, open_share, plate_drop_pa, ratio_guidance
from bedwatch.air.supply import (
    open_area_share,
    supply_flow_m3_s,
    supply_pressure_pa,
    valve_area_m2,
    valve_drop_pa,
)


def of(grain_um: float, density: float = 1400.0, **more: float) -> Powder:
    return Powder(grain_m=grain_um * 1e-6, density_kg_m3=density, **more)


@pytest.mark.parametrize(
    ("grain_um", "letter"),
    [(10, "C"), (17, "C"), (19, "A or C"), (31, "A or C"), (60, "A"), (150, "A"), (200, "B"), (800, "B"), (1500, "D")],
)
def test_groups(grain_um: float, letter: str) -> None:
    assert geldart_group(of(grain_um)).letter == letter


@pytest.mark.parametrize("difference", [0.5, 1.0, 1.4, 2.5, 4.0])
def test_the_published_band_lies_within_what_is_called_uncertain(difference: float) -> None:
    low, high = ac_band_um(difference)
    assert UNCERTAIN_UM[0] <= low < high <= UNCERTAIN_UM[1]


def test_a_border_close_by_is_named() -> None:
    assert "A/B border at 161 µm" in geldart_group(of(150)).near
    assert "uncertain A/C border" in geldart_group(of(35)).near
    assert geldart_group(of(80)).near == ""


def test_every_equation_speaks_up_outside_its_range() -> None:
    for fine in (ergun_m_s(of(20)), fine_grain_m_s(of(20)), correlation_m_s("Wen & Yu 1966", of(20))):
        assert "stick" in fine.caution
    assert "below 20" in fine_grain_m_s(of(3000)).caution
    assert "above 1000" in coarse_grain_m_s(of(100)).caution
    assert coarse_grain_m_s(of(20_000)).in_range
    assert "72 µm" in minimum_bubbling_m_s(of(100)).caution
    assert "1100" in minimum_bubbling_m_s(of(60, 900)).caution
    assert minimum_bubbling_m_s(of(60)).in_range
    assert "2300" in packed_drop_pa(20.0, 1.0, of(3000)).caution
    assert "begins at 100" in discharge_coefficient(50).caution
    assert "m/s in the holes" in hole_speed_m_s(20_000, 0.6).caution
    assert ergun_m_s(of(100)).in_range


def test_a_plate_too_open_or_too_fast_says_so() -> None:
    wide = Plate(holes=1000, hole_m=4e-3)
    assert "13%" in open_share(wide, 0.1).caution
    assert "open" in plate_drop_pa(0.02, wide, 0.1).caution
    assert "in the holes" in plate_drop_pa(0.02, Plate(holes=2, hole_m=1e-3), 0.1).caution
    assert plate_drop_pa(0.02, Plate(holes=200, hole_m=1e-3), 0.1).in_range


def test_holes_and_membrane_add_up() -> None:
    holes, sheet = Plate(holes=200, hole_m=1e-3), Plate(membrane_pa_s_m=4e4)
    both = Plate(holes=200, hole_m=1e-3, membrane_pa_s_m=4e4)
    parts = plate_drop_pa(0.02, holes, 0.1).value + plate_drop_pa(0.02, sheet, 0.1).value
    assert plate_drop_pa(0.02, both, 0.1).value == pytest.approx(parts)
    assert plate_drop_pa(0.02, sheet, 0.1).value == pytest.approx(800)
    assert plate_drop_pa(0.04, holes, 0.1).value == pytest.approx(4 * plate_drop_pa(0.02, holes, 0.1).value)


def test_what_was_not_read_again_is_marked() -> None:
    """Only the example of Kunii & Levenspiel counts as read; the rest is told as from memory."""
    marks = {one.source: one.from_memory for one in ratio_guidance(0.42, 0.15)}
    assert [source for source, memory in marks.items() if not memory] == ["Kunii & Levenspiel 1991, Example 4.1"]
    assert len(marks) == 3


@pytest.mark.parametrize("shape", ["straight", "parabola"])
def test_a_supply_runs_through_its_two_points(shape: Any) -> None:
    supply = Supply(flow_m3_s=(1e-3, 3e-3), pressure_pa=(5000.0, 2000.0), shape=shape)
    for flow, pressure in ((1e-3, 5000.0), (3e-3, 2000.0)):
        assert supply_pressure_pa(supply, flow).value == pytest.approx(pressure)
        assert supply_pressure_pa(supply, flow).in_range
        assert supply_flow_m3_s(supply, pressure).value == pytest.approx(flow)
    assert not supply_pressure_pa(supply, 3.1e-3).in_range
    assert not supply_pressure_pa(supply, 0.9e-3).in_range
    assert not supply_flow_m3_s(supply, 1000.0).in_range
    assert supply_flow_m3_s(supply, 1e6).value == 0


def test_the_straight_curve_is_the_cautious_one() -> None:
    points = {"flow_m3_s": (0.0, 4e-3), "pressure_pa": (5000.0, 0.0)}
    straight, bulging = (Supply(**points, shape=shape) for shape in ("straight", "parabola"))  # type: ignore[arg-type]
    for flow in (1e-3, 2e-3, 3e-3):
        assert supply_pressure_pa(straight, flow).value < supply_pressure_pa(bulging, flow).value


def test_a_regulated_supply_holds_its_pressure() -> None:
    flat = Supply(flow_m3_s=(0.0, 4e-3), pressure_pa=(5000.0, 5000.0))
    assert supply_pressure_pa(flat, 2e-3).value == 5000
    assert supply_flow_m3_s(flat, 4000.0).value == math.inf
    assert supply_flow_m3_s(flat, 6000.0).value == 0


@pytest.mark.parametrize("opens", ["linear", "equal-percentage", "quick-opening"])
def test_a_valve_is_shut_at_nothing_open_at_one_and_never_turns_back(opens: Any) -> None:
    shares = [open_area_share(opens, i / 200) for i in range(201)]
    assert shares[0] == 0
    assert shares[-1] == pytest.approx(1)
    steps = [after - before for before, after in pairwise(shares)]
    assert min(steps) > 0
    assert max(steps) < 0.08  # no jump: the steepest is the quick one's first, sqrt(1 / 200)


def test_the_three_ways_a_valve_opens() -> None:
    """IEC 60534-2-4: equal percentage means that equal steps of travel multiply the flow by equal factors."""
    assert open_area_share("linear", 0.3) == 0.3
    assert open_area_share("quick-opening", 0.25) == 0.5
    steps = [
        open_area_share("equal-percentage", x + 0.1) / open_area_share("equal-percentage", x) for x in (0.1, 0.5, 0.9)
    ]
    assert steps == pytest.approx([50**0.1] * 3)


def test_a_valve_drops_with_the_square_of_the_flow() -> None:
    valve = Valve(area_m2=5e-5, opening=0.5)
    assert valve_area_m2(valve) == 2.5e-5
    assert valve_drop_pa(1e-3, valve) == pytest.approx(1.204 / 2 * 40**2)
    assert valve_drop_pa(2e-3, valve) == pytest.approx(4 * valve_drop_pa(1e-3, valve))
    assert valve_drop_pa(1e-3, Valve(opening=0.0)) == math.inf
    assert valve_drop_pa(1e-3, Valve()) == 0


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (Gas, {"density_kg_m3": 0.0}),
        (Powder, {"grain_m": -1e-6, "density_kg_m3": 1400}),
        (Powder, {"grain_m": 1e-4, "density_kg_m3": 1400, "voidage": 1.0}),
        (Powder, {"grain_m": 1e-4, "density_kg_m3": 1400, "sphericity": 1.2}),
        (Powder, {"grain_m": 1e-4, "density_kg_m3": 1400, "fines": 2}),
        (Plate, {}),
        (Plate, {"holes": 3}),
        (Supply, {"flow_m3_s": (1.0, 1.0), "pressure_pa": (2.0, 1.0)}),
        (Supply, {"flow_m3_s": (0.0, 1.0), "pressure_pa": (1.0, 2.0)}),
        (Valve, {"opening": 1.1}),
        (Valve, {"area_m2": math.nan}),
        (Valve, {"rangeability": 1.0}),
    ],
)
def test_what_cannot_be_is_refused(kind: Any, values: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="found"):
        kind(**values)
