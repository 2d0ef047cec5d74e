"""The plan: honest spread, a supply that does it or not and to which depth, the weakest zone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bedwatch.air import AirInputs, AirPlan, Span, Supply, plan_air
from bedwatch.air.findings import findings
from bedwatch.air.plate import DESIGN_RATIO
from bedwatch.bed import Bed, ring_zones

BED = Bed(
    name="Gate-latch bed",
    shape="round",
    width_mm=420,
    length_mm=420,
    surface_below_rim_mm=80,
    zones=ring_zones((1, 6), 210.0),
)
PUMP = Supply(flow_m3_s=(0.0, 6e-3), pressure_pa=(6000.0, 0.0))
INPUTS = AirInputs(
    grain_m=Span.of(100e-6),
    density_kg_m3=Span.of(1400.0),
    bulk_kg_m3=Span.of(700.0),
    bulk_known=True,
    sphericity=0.8,
    fines=0.0,
    depth_m=0.15,
    hole_m=1e-3,
    holes_per_zone=(30,) * 7,
    pitch_m=None,
    membrane_pa_s_m=0.0,
    supply=PUMP,
    assumed=(),
)


def plan(**changes: object) -> AirPlan:
    return plan_air(BED, replace(INPUTS, **changes))  # type: ignore[arg-type]


def test_the_minimum_is_never_told_as_better_known_than_by_half() -> None:
    """Correlations scatter by a factor of two on one powder, known or not."""
    for powder in ({}, {"bulk_known": False}, {"grain_m": Span(low=60e-6, middle=100e-6, high=150e-6)}):
        spread = plan(**powder).minimum_m_s
        assert spread.high >= 1.5 * spread.middle
        assert spread.low <= spread.middle / 1.5
    given = plan()
    assert given.minimum_m_s.low <= min(one.value for one in given.estimates)
    assert given.minimum_m_s.high >= max(one.value for one in given.estimates)


def test_with_its_voidage_known_ergun_is_the_middle() -> None:
    """100 µm, 1400 kg/m³, half empty, sphericity 0.8: 8.01 mm/s."""
    assert plan().minimum_m_s.middle == plan().estimates[0].value == pytest.approx(0.00801, rel=2e-3)


def test_what_is_not_known_widens_the_spread() -> None:
    known, guessed = plan(), plan(grain_m=Span(low=60e-6, middle=100e-6, high=150e-6), bulk_known=False)
    assert guessed.minimum_m_s.low < known.minimum_m_s.low
    assert guessed.minimum_m_s.high > known.minimum_m_s.high


def test_pressures_by_hand() -> None:
    """700 kg/m³ of powder, 0.15 m deep, less the air it displaces; 0.12 % open area, orifice law."""
    found = plan()
    assert found.bed_pa.middle == pytest.approx(700 * (1 - 1.204 / 1400) * 9.80665 * 0.15, rel=1e-9)
    share = 210 * 0.785398e-6 / 0.1385442
    speed = found.working_m_s.middle / (found.plate.coefficient * share)
    assert found.plate_pa.middle == pytest.approx(1.204 / 2 * speed**2, rel=1e-4)
    assert 0.68 <= found.plate.coefficient <= 0.70
    assert found.total_m3_s.middle == pytest.approx(2 * found.minimum_m_s.middle * 0.1385442, rel=1e-6)


def test_planned_holes_take_their_share_of_the_pressure() -> None:
    found = plan(holes_per_zone=None)
    assert found.holes_planned
    assert len({zone.holes for zone in found.zones}) == 1
    assert found.ratio.middle == pytest.approx(DESIGN_RATIO, rel=0.05)  # whole holes only
    assert "plate.holes_per_zone" in {one.key for one in found.assumed}


def test_a_membrane_that_takes_its_share_leaves_the_holes_to_feed_it() -> None:
    found = plan(holes_per_zone=None, membrane_pa_s_m=0.5 * 1029 / 0.016)
    assert found.ratio.middle > 0.4
    assert found.zones[0].holes == pytest.approx(0.0197920 / 0.015**2, abs=1)


def test_holes_by_pitch() -> None:
    found = plan(holes_per_zone=None, pitch_m=0.02)
    assert not found.holes_planned
    assert found.zones[0].holes == round(0.0197920 / 0.02**2)


def test_a_supply_that_does_it_and_to_which_depth() -> None:
    found = plan()
    assert found.supply is not None
    assert (found.supply.lifts, found.supply.works) == ("yes", "yes")
    worst = found.supply.cases[2]
    assert worst.deepest_m > 0.15
    assert "does it" in findings(found)[0]
    # planned again at that depth, needed and given meet
    again = plan(depth_m=worst.deepest_m).supply
    assert again is not None
    assert again.cases[2].needed_pa == pytest.approx(again.cases[2].there_pa, rel=1e-9)
    assert plan(depth_m=1.01 * worst.deepest_m).supply.works == "perhaps"  # type: ignore[union-attr]


def test_a_supply_that_is_too_small_says_so_with_figures() -> None:
    weak = plan(supply=Supply(flow_m3_s=(0.0, 6e-3), pressure_pa=(900.0, 0.0)))
    assert weak.supply is not None
    assert (weak.supply.lifts, weak.supply.works) == ("no", "no")
    (words, *_) = findings(weak)
    assert "cannot even lift" in words
    assert f"{weak.supply.cases[0].needed_pa:.0f} Pa" in words
    assert weak.supply.cases[2].times_minimum < 1  # the network knows it too
    small = plan(supply=Supply(flow_m3_s=(0.0, 0.8e-3), pressure_pa=(6000.0, 0.0)))
    assert small.supply is not None
    assert (small.supply.lifts, small.supply.works) == ("perhaps", "no")


def test_the_network_agrees_with_the_depth_it_no_longer_does() -> None:
    """At the deepest bed for twice the minimum, everything open, the solver gives twice the minimum."""
    first = plan().supply
    assert first is not None
    for number in range(3):
        again = plan(depth_m=first.cases[number].deepest_m).supply
        assert again is not None
        assert again.cases[number].times_minimum == pytest.approx(2.0, rel=1e-6)


def test_the_weakest_zone_is_named_with_what_it_lacks() -> None:
    found = plan(holes_per_zone=(30, 30, 18, 30, 30, 30, 42))
    assert found.weakest == "3"
    by_name = {zone.name: zone for zone in found.zones}
    assert by_name["3"].gets < 0.8 < 1.2 < by_name["7"].gets
    assert by_name["3"].equal_holes == 30
    assert any("Zone 3 is the weakest" in words and "30 holes" in words for words in findings(found))
    assert plan().weakest is None


def test_equal_shares_follow_the_area() -> None:
    found = plan()
    assert sum(zone.air_m3_s.middle for zone in found.zones) == pytest.approx(found.total_m3_s.middle)
    assert len({round(zone.air_m3_s.middle, 12) for zone in found.zones}) == 1


def test_a_plate_that_takes_little_lets_zones_steal() -> None:
    found = plan(holes_per_zone=(150,) * 7)
    assert found.ratio.middle < 0.05
    assert found.answer_to_lighter > 0.5
    assert any("steals air" in words for words in findings(found))


def test_a_fine_powder_that_does_not_bubble_yet_is_announced() -> None:
    """60 µm with a tenth of fines: lifts at 2.9 mm/s, first bubbles at 5.9 (Abrahamsen & Geldart 1980), beyond twice that."""
    fine = plan(grain_m=Span.of(60e-6), fines=0.1)
    assert any("glassy" in words and "5.9 mm/s" in words for words in findings(fine))
    assert not any("glassy" in words for words in findings(plan()))


def test_too_many_holes_to_list() -> None:
    found = plan(holes_per_zone=None, hole_m=0.9e-4)
    assert found.drill is None
    assert any("too many to list" in words for words in found.cautions)


def test_without_a_supply_one_is_described() -> None:
    found = plan(supply=None)
    assert found.supply is None
    assert "L/min" in findings(found)[0]
    assert "kPa" in findings(found)[0]


def test_cautions_reach_the_plan_once() -> None:
    found = plan(grain_m=Span.of(25e-6))
    assert found.group.letter == "A or C"
    assert any("stick" in words for words in found.cautions)
    assert len(found.cautions) == len(set(found.cautions))
    beyond = plan(supply=Supply(flow_m3_s=(0.0, 1e-3), pressure_pa=(6000.0, 4000.0)))
    assert any("outside the two points" in words for words in beyond.cautions)


def test_the_same_inputs_give_the_same_plan() -> None:
    assert findings(plan()) == findings(plan())
    assert plan().supply == plan().supply
