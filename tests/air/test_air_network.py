"""Zones in parallel: balance, who feeds whom, and what a lighter zone does."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bedwatch.air import AIR_20C, Leak, Line, Network, Plate, Supply, Valve, shared_at, solve
from bedwatch.air.plate import answer_to_lighter

AREA_M2 = 0.02
PLATE = Plate(holes=30, hole_m=1e-3, coefficient=0.7)
LINE = Line(area_m2=AREA_M2, plate=PLATE, bed_pa=950.0, minimum_m_s=0.006, valve=Valve(area_m2=6e-5))
PUMP = Supply(flow_m3_s=(0.0, 4e-3), pressure_pa=(6000.0, 0.0))
SEVEN = Network(supply=PUMP, lines=(LINE,) * 7)


def with_opening(network: Network, number: int, opening: float) -> Network:
    lines = list(network.lines)
    lines[number] = replace(lines[number], valve=replace(lines[number].valve, opening=opening))
    return replace(network, lines=tuple(lines))


def test_one_zone_by_hand() -> None:
    """Supply p0 - s q meets w + (v + k) q²: the root of a quadratic, written out with nothing of the solver's."""
    valve = 0.5 * AIR_20C.density_kg_m3 / 6e-5**2
    holes = 0.5 * AIR_20C.density_kg_m3 / (0.7 * 30 * math.pi / 4 * 1e-6) ** 2
    steep, square = 6000.0 / 4e-3, valve + holes
    flow = (-steep + math.sqrt(steep**2 + 4 * square * (6000 - 950))) / (2 * square)
    found = solve(Network(supply=PUMP, lines=(LINE,)))
    assert flow > LINE.minimum_m_s * AREA_M2  # it is lifted, as the formula takes for granted
    assert found.total_m3_s == pytest.approx(flow, rel=1e-9)
    assert found.supply_pa == pytest.approx(6000 - steep * flow, rel=1e-9)
    assert found.chamber_pa[0] == pytest.approx(950 + holes * flow**2, rel=1e-9)


def test_a_supply_too_small_leaves_the_powder_at_rest() -> None:
    """Below the minimum the powder resists in proportion to the air: at half of it, half the weight."""
    weak = Supply(flow_m3_s=(0.0, 4e-3), pressure_pa=(500.0, 0.0))
    found = solve(Network(supply=weak, lines=(LINE,)))
    share = found.times_minimum[0]
    assert 0.3 < share < 1
    holes = 0.5 * AIR_20C.density_kg_m3 / (0.7 * PLATE.open_m2) ** 2
    assert found.chamber_pa[0] == pytest.approx(950 * share + holes * found.zone_m3_s[0] ** 2, rel=1e-9)


def test_equal_zones_get_equal_air() -> None:
    found = solve(SEVEN)
    assert found.converged
    assert found.zone_m3_s == pytest.approx(np.full(7, found.total_m3_s / 7), rel=1e-12)


def test_closing_one_valve_feeds_the_others_and_itself_least() -> None:
    before, after = solve(SEVEN), solve(with_opening(SEVEN, 3, 0.2))
    gained = after.zone_m3_s - before.zone_m3_s
    assert gained[3] < 0
    assert (np.delete(gained, 3) > 0).all()
    assert after.plenum_pa > before.plenum_pa
    assert after.total_m3_s < before.total_m3_s


def test_the_supply_valve_moves_every_zone_the_same_way() -> None:
    throttled = replace(SEVEN, supply_valve=Valve(area_m2=2e-4, opening=0.5))
    ratio = solve(throttled).zone_m3_s / solve(SEVEN).zone_m3_s
    assert (ratio < 0.95).all()
    assert np.ptp(ratio) < 1e-9


def test_shut_valves_pass_nothing() -> None:
    assert solve(with_opening(SEVEN, 0, 0.0)).zone_m3_s[0] == 0
    shut = solve(replace(SEVEN, supply_valve=Valve(opening=0.0)))
    assert shut.total_m3_s == 0
    assert shut.converged


def test_the_same_network_gives_the_same_answer() -> None:
    leaky = replace(with_opening(SEVEN, 2, 0.3), leaks=(Leak(one=2, other=3, m3_s_pa=1e-7),))
    one, other = solve(leaky), solve(leaky)
    assert (one.zone_m3_s == other.zone_m3_s).all()


def test_a_leak_feeds_the_starved_chamber_and_the_total_still_balances() -> None:
    starved = with_opening(SEVEN, 2, 0.1)
    tight = solve(starved)
    leaky = solve(replace(starved, leaks=(Leak(one=2, other=3, m3_s_pa=3e-7),)))
    assert leaky.converged
    assert leaky.zone_m3_s[2] > tight.zone_m3_s[2]
    assert leaky.zone_m3_s[3] < tight.zone_m3_s[3]
    assert leaky.zone_m3_s.sum() == pytest.approx(leaky.total_m3_s, rel=1e-9)
    # the pump's curve still holds at the total
    assert leaky.supply_pa == pytest.approx(6000 * (1 - leaky.total_m3_s / 4e-3), rel=1e-9)


def test_a_wide_leak_makes_two_chambers_one() -> None:
    wide = replace(with_opening(SEVEN, 2, 0.0), leaks=(Leak(one=2, other=3, m3_s_pa=1e-3),))
    found = solve(wide)
    assert found.converged
    assert found.chamber_pa[2] == pytest.approx(found.chamber_pa[3], rel=1e-3)
    assert found.zone_m3_s[2] == pytest.approx(found.zone_m3_s[3], rel=1e-2)


def test_air_that_crosses_in_the_bed_is_not_lost() -> None:
    ring = tuple((i, i % 6 + 1) for i in range(1, 7)) + tuple((0, i) for i in range(1, 7))
    crossed = replace(with_opening(SEVEN, 2, 0.1), neighbours=ring, crossing=0.15)
    found = solve(crossed)
    assert (found.surface_m_s * AREA_M2).sum() == pytest.approx(found.total_m3_s, rel=1e-12)
    own = found.zone_m3_s[2] / AREA_M2
    assert found.surface_m_s[2] > own  # the poor zone gains
    # 85 % of its own, and 5 % of each of its three neighbours but the middle one, which has six to give to
    others = (0.05 * found.zone_m3_s[1] + 0.05 * found.zone_m3_s[3] + 0.025 * found.zone_m3_s[0]) / AREA_M2
    assert found.surface_m_s[2] == pytest.approx(0.85 * own + others, rel=1e-9)


def random_network(seed: int) -> Network:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 10))
    kinds: Any = ("linear", "equal-percentage", "quick-opening")
    lines = tuple(
        Line(
            area_m2=float(rng.uniform(0.005, 0.05)),
            plate=Plate(
                holes=int(rng.integers(10, 300)), hole_m=1e-3, membrane_pa_s_m=float(rng.choice([0.0, 2e4, 2e5]))
            ),
            bed_pa=float(rng.uniform(300, 2500)),
            minimum_m_s=float(rng.uniform(0.002, 0.02)),
            valve=Valve(
                area_m2=float(10 ** rng.uniform(-5, -3.5)),
                opening=float(rng.choice([0.0, 0.03, 0.2, 0.6, 1.0])),
                opens=kinds[int(rng.integers(3))],
            ),
        )
        for _ in range(count)
    )
    leaks = tuple(
        Leak(one=i, other=(i + 1) % count, m3_s_pa=float(10 ** rng.uniform(-9, -5))) for i in range(count - 1)
    )
    supply = Supply(
        flow_m3_s=(0.0, float(10 ** rng.uniform(-4, -1.5))),
        pressure_pa=(float(10 ** rng.uniform(3, 4.5)), 0.0),
        shape="parabola" if seed % 2 else "straight",
    )
    return Network(
        supply=supply, lines=lines, leaks=leaks, supply_valve=Valve(area_m2=float(10 ** rng.uniform(-5, -3)))
    )


def test_every_network_is_solved() -> None:
    """Drawn networks from nearly shut to wide open, leaks from none to wide: all balance to a millionth."""
    worst = max(solve(random_network(seed)).balance for seed in range(150))
    assert worst < 1e-6


def test_flows_agree_with_the_laws_they_come_from() -> None:
    """Not through the solver's own balance: pressures are walked from the pump to the open air, zone by zone."""
    for seed in range(20):
        network = replace(random_network(seed), leaks=())
        found = solve(network)
        half = AIR_20C.density_kg_m3 / 2
        for line, flow, chamber in zip(network.lines, found.zone_m3_s, found.chamber_pa, strict=True):
            speed = flow / line.area_m2
            powder = min(1.0, speed / line.minimum_m_s) * line.bed_pa
            plate = (
                half * (flow / (line.plate.coefficient * line.plate.open_m2)) ** 2 + line.plate.membrane_pa_s_m * speed
            )
            assert chamber == pytest.approx(plate + powder, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("ratio", [0.1, 0.2, 0.3, 0.4, 1.0])
def test_what_a_lighter_zone_steals(ratio: float) -> None:
    """One plenum, a zone that loses a tenth of its weight: sqrt(1 + 0.1 / R) - 1 with holes, 0.1 / R with a membrane.

    From the balance of pressures (no publication); R 0.1 gives 41 % and 100 %, R 0.3 gives 15 % and 33 %.
    """
    speed, bed = 0.012, 950.0
    holes = Plate(holes=50, hole_m=1e-3, coefficient=0.7)
    sized = replace(holes, coefficient=0.7 * math.sqrt(_drop(holes, speed) / (ratio * bed)))
    assert answer_to_lighter(sized, AREA_M2, speed, 0.1 * bed) == pytest.approx(
        math.sqrt(1 + 0.1 / ratio) - 1, rel=1e-9
    )
    sheet = Plate(membrane_pa_s_m=ratio * bed / speed)
    assert answer_to_lighter(sheet, AREA_M2, speed, 0.1 * bed) == pytest.approx(0.1 / ratio, rel=1e-9)
    # and the network does the same when its plenum is held
    held = Supply(flow_m3_s=(0.0, 1.0), pressure_pa=((1 + ratio) * bed, (1 + ratio) * bed))
    line = Line(area_m2=AREA_M2, plate=sized, bed_pa=bed, minimum_m_s=0.006)
    lighter = replace(line, bed_pa=0.9 * bed)
    flow = solve(Network(supply=held, lines=(line, lighter))).zone_m3_s
    assert flow[1] / flow[0] - 1 == pytest.approx(math.sqrt(1 + 0.1 / ratio) - 1, rel=1e-6)


def _drop(plate: Plate, speed: float) -> float:
    return AIR_20C.density_kg_m3 / 2 * (speed * AREA_M2 / (plate.coefficient * plate.open_m2)) ** 2


def test_a_given_total_is_shared_like_the_network_shares_it() -> None:
    network = with_opening(SEVEN, 5, 0.4)
    found = solve(network)
    assert shared_at(found.total_m3_s, network.lines) == pytest.approx(found.zone_m3_s, rel=1e-6)


def test_no_open_valve_has_nothing_to_share() -> None:
    with pytest.raises(ValueError, match="no open valve"):
        shared_at(1e-3, (replace(LINE, valve=Valve(opening=0.0)),))


@pytest.mark.parametrize(
    "change",
    [
        {"leaks": (Leak(one=0, other=0, m3_s_pa=1e-7),)},
        {"leaks": (Leak(one=0, other=7, m3_s_pa=1e-7),)},
        {"leaks": (Leak(one=0, other=1, m3_s_pa=-1.0),)},
        {"crossing": 1.5},
        {"lines": ()},
    ],
)
def test_a_network_that_cannot_be_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="found"):
        replace(SEVEN, **change)
