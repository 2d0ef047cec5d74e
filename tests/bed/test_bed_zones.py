"""Zones against hand formulas: areas, numbering, borders."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bedwatch.bed import Bed, Zone, distance_to_border, grid_zones, inside_bed, ring_zones, zone_index


def _round(diameter_mm: float, rings: list[int], first_deg: float = 0.0) -> Bed:
    zones = ring_zones(rings, diameter_mm / 2, first_deg)
    return Bed(
        name="b",
        shape="round",
        width_mm=diameter_mm,
        length_mm=diameter_mm,
        surface_below_rim_mm=0.0,
        zones=zones,
    )


def _flat(width_mm: float, length_mm: float, zones: tuple[Zone, ...]) -> Bed:
    return Bed(
        name="b", shape="rectangular", width_mm=width_mm, length_mm=length_mm, surface_below_rim_mm=0.0, zones=zones
    )


def _at(clock_deg: float, out_mm: float) -> list[float]:
    turn = math.radians(clock_deg)
    return [out_mm * math.sin(turn), out_mm * math.cos(turn)]


def _zone(bed: Bed, *points: list[float]) -> list[int]:
    return zone_index(bed, np.array(points)).tolist()


@pytest.mark.parametrize(("rings", "n"), [([1, 5], 6), ([1, 6], 7), ([1, 3, 8], 12)])
def test_the_centre_disc_ends_at_r_over_root_n(rings: list[int], n: int) -> None:
    bed = _round(500.0, rings)
    edge = 250.0 / math.sqrt(n)
    for turn in np.linspace(3, 363, 17):
        assert _zone(bed, _at(turn, edge - 0.02)) == [0]
        assert _zone(bed, _at(turn, edge + 0.02)) != [0]
    sector = bed.zones[0].sector
    assert sector is not None
    assert sector.outer_mm == pytest.approx(edge)


def test_zones_2_to_6_of_1_5_are_five_sectors_clockwise_from_the_first_boundary() -> None:
    bed = _round(420.0, [1, 5], 20.0)
    places = [_at(20 + 72 * k + d, 150.0) for k in range(5) for d in (0.01, 36.0, 71.99)]
    assert _zone(bed, *places) == [1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5]
    assert [zone.name for zone in bed.zones] == ["1", "2", "3", "4", "5", "6"]


def test_first_boundary_holds_for_every_ring_of_more_than_one_zone() -> None:
    bed = _round(400.0, [2, 1, 4], -90.0)
    # cumulative zones 2, 3, 7 of 7: rings end at 200 sqrt(2/7) = 106.9, 200 sqrt(3/7) = 130.9, 200
    assert _zone(bed, _at(271, 50), _at(89, 50), _at(91, 50), _at(269, 50)) == [0, 0, 1, 1]
    assert _zone(bed, *(_at(turn, 120) for turn in (0, 89, 91, 180, 269, 271))) == [2] * 6
    assert _zone(bed, _at(271, 150), _at(1, 150), _at(91, 150), _at(181, 150)) == [3, 4, 5, 6]


@given(st.lists(st.integers(1, 9), min_size=1, max_size=4), st.floats(-360, 360), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_rings_share_the_bed_in_equal_parts_without_gaps(rings: list[int], first: float, seed: int) -> None:
    bed = _round(420.0, rings, first)
    random = np.random.default_rng(seed)
    n = 20000
    out, turn = 209.9 * np.sqrt((np.arange(n) + 0.5) / n), np.arange(n) * 2.399963 + random.uniform(0, 6)
    index = zone_index(bed, np.stack([out * np.cos(turn), out * np.sin(turn)], axis=1))
    assert index.min() >= 0
    share = np.bincount(index, minlength=len(bed.zones)) / n
    # sunflower points: a zone's count is off by about its outline over the spacing
    assert share == pytest.approx(1 / sum(rings), rel=0.06, abs=0.001)
    assert [z.area_mm2 for z in bed.zones] == pytest.approx([math.pi * 210**2 / sum(rings)] * sum(rings))
    for zone in bed.zones:  # the outline itself, arcs as polylines, clockwise
        x, y = zone.polygon_mm.T
        area = (np.dot(y, np.roll(x, -1)) - np.dot(x, np.roll(y, -1))) / 2
        assert area == pytest.approx(zone.area_mm2, rel=2e-3)


def test_a_grid_is_numbered_row_by_row_from_12_oclock_left_to_right() -> None:
    bed = _flat(600, 400, grid_zones(2, 3, 600, 400))
    places = [[x, y] for y in (100.0, -100.0) for x in (-200.0, 0.0, 200.0)]
    assert _zone(bed, *places) == [0, 1, 2, 3, 4, 5]
    assert [zone.area_mm2 for zone in bed.zones] == [40000.0] * 6


def test_points_on_borders_belong_to_one_zone_and_points_outside_to_none() -> None:
    bed = _flat(600, 400, grid_zones(2, 3, 600, 400))
    assert _zone(bed, [-100.0, 100.0], [0.0, 0.0], [-100.0, 0.0]) == [1, 1, 1]
    assert _zone(bed, [301.0, 0.0], [0.0, -201.0], [math.nan, 0.0], [math.inf, 0.0]) == [-1] * 4
    round_bed = _round(420.0, [1, 6])
    north, south, centre = _zone(round_bed, [0.0, 100.0], [0.0, -100.0], [0.0, 0.0])
    assert north in (1, 6)
    assert south in (3, 4)
    assert centre == 0
    assert _zone(round_bed, _at(45, 211)) == [-1]
    assert zone_index(round_bed, np.empty((0, 2))).shape == (0,)


def test_wrong_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match=r"expected \(n, 2\)"):
        zone_index(_round(420.0, [1]), np.zeros((2, 3)))


def test_inside_the_bed() -> None:
    points = np.array([[0, 209.9], [148, 148], [149, 149], [0, -210.1], [math.nan, 0]])
    assert inside_bed(_round(420.0, [1, 6]), points).tolist() == [True, True, False, False, False]
    bed = _flat(600, 400, grid_zones(1, 1, 600, 400))
    assert inside_bed(bed, np.array([[300.0, 200.0], [301, 0], [0, -201]])).tolist() == [True, False, False]


def test_distance_to_the_border_of_the_own_zone_in_a_round_bed() -> None:
    bed = _round(420.0, [1, 6])
    edge = 210 / math.sqrt(7)
    points = np.array(
        [
            [0.0, 0.0],
            _at(100, 60),
            _at(30, edge + 5),  # beside the centre disc
            _at(30, 200),  # beside the wall
            _at(3, 150),  # beside the radial border at 12 o'clock
            _at(57, 150),  # beside the one at 2 o'clock
            _at(30, 220),
        ]
    )
    expected = [edge, edge - 60, 5, 10, 150 * math.sin(math.radians(3)), 150 * math.sin(math.radians(3)), math.nan]
    assert distance_to_border(bed, points) == pytest.approx(np.array(expected), abs=1e-9, nan_ok=True)


def test_distance_to_the_border_of_custom_zones_counts_uncovered_parts() -> None:
    triangle = Zone(name="t", polygon_mm=np.array([[-100.0, -100], [-100, 100], [100, -100]]), area_mm2=20000.0)
    bed = _flat(200, 200, (triangle,))
    points = np.array([[-50.0, 0.0], [-95.0, 0.0], [0.0, -99.0], [50.0, 50.0]])
    assert distance_to_border(bed, points) == pytest.approx(np.array([50 / math.sqrt(2), 5, 1, math.nan]), nan_ok=True)


def test_distance_agrees_with_a_search_along_the_borders() -> None:
    bed = _round(420.0, [3, 1, 4], 25.0)
    random = np.random.default_rng(3)
    points = random.uniform(-210, 210, (400, 2))
    index, distance = zone_index(bed, points), distance_to_border(bed, points)
    assert np.array_equal(np.isnan(distance), index < 0)
    for step, sign in ((-0.5, True), (0.5, False)):
        for point, zone, d in zip(points[index >= 0], index[index >= 0], distance[index >= 0], strict=True):
            turn = np.radians(np.arange(0, 360, 0.25))
            ring = point + max(d + step, 0.0) * np.stack([np.cos(turn), np.sin(turn)], axis=1)
            assert np.all(zone_index(bed, ring) == zone) == sign
