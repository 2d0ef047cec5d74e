"""Equal-area cells: each in one zone, alike in size, inner ones clear of the borders."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bedwatch.bed import (
    Bed,
    Cells,
    Zone,
    cell_index,
    clock_position,
    distance_to_border,
    grid_zones,
    make_cells,
    read_bed,
    ring_zones,
    zone_index,
)

CALIBRATION = Path(__file__).parents[2] / "calibration"


def _round(diameter_mm: float, rings: list[int], first_deg: float = 0.0) -> Bed:
    return Bed(
        name="b",
        shape="round",
        width_mm=diameter_mm,
        length_mm=diameter_mm,
        surface_below_rim_mm=0.0,
        zones=ring_zones(rings, diameter_mm / 2, first_deg),
    )


def _flat(width_mm: float, length_mm: float, zones: tuple[Zone, ...]) -> Bed:
    return Bed(
        name="b", shape="rectangular", width_mm=width_mm, length_mm=length_mm, surface_below_rim_mm=0.0, zones=zones
    )


def _custom(name: str, *corners: tuple[float, float]) -> Zone:
    polygon = np.array(corners, np.float64)
    x, y = polygon.T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    return Zone(name=name, polygon_mm=polygon, area_mm2=float(area))


def _lattice(bed: Bed, pitch_mm: float) -> np.ndarray:
    x = np.arange(-bed.width_mm / 2 + 0.31 * pitch_mm, bed.width_mm / 2, pitch_mm)
    y = np.arange(-bed.length_mm / 2 + 0.47 * pitch_mm, bed.length_mm / 2, pitch_mm)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _check(bed: Bed, cells: Cells, pitch_mm: float = 1.0, spread: float = 1.1) -> None:
    """What holds for the cells of any bed."""
    assert cells.area_mm2.max() / cells.area_mm2.min() <= spread
    for number, zone in enumerate(bed.zones):
        own = cells.zone == number
        assert own.any()
        assert cells.inner[own].any()
        assert cells.area_mm2[own].sum() == pytest.approx(zone.area_mm2)
    assert np.array_equal(zone_index(bed, cells.centre_mm), cells.zone)
    points = _lattice(bed, pitch_mm)
    zones, index = zone_index(bed, points), cell_index(bed, cells, points)
    assert np.array_equal(index >= 0, zones >= 0)
    assert np.array_equal(cells.zone[index[index >= 0]], zones[index >= 0])
    held = np.bincount(index[index >= 0], minlength=len(cells.zone)) * pitch_mm**2
    # counting lattice points of 1 mm errs by about the outline times a fraction of the pitch
    assert held == pytest.approx(cells.area_mm2, rel=0.09)
    centres = np.stack([np.bincount(index[index >= 0], points[index >= 0, k]) for k in (0, 1)], axis=1)
    centres /= (held / pitch_mm**2)[:, None]
    assert np.hypot(*(centres - cells.centre_mm).T).max() < 1.0


def _check_inner(bed: Bed, cells: Cells) -> None:
    """No point of an inner cell is near a border, except in zones that have no such cell."""
    points = _lattice(bed, 1.0)
    index, distance = cell_index(bed, cells, points), distance_to_border(bed, points)
    near = np.full(len(cells.zone), np.inf)
    np.minimum.at(near, index[index >= 0], distance[index >= 0])
    assert near[cells.inner].min() >= 8.0 - 0.1
    assert near[~cells.inner].max() <= 10.0 + 1.5


def test_the_gate_latch_bed() -> None:
    bed = read_bed(CALIBRATION / "gate_latch.bed.toml")
    cells = make_cells(bed)
    # pi 210^2 / 7 = 19792 mm2 a zone, 49 cells of 404 mm2
    assert np.bincount(cells.zone).tolist() == [49] * 7
    assert cells.area_mm2 == pytest.approx(math.pi * 210**2 / 7 / 49)
    _check(bed, cells)
    _check_inner(bed, cells)


@pytest.mark.parametrize("name", ["rectangular", "custom"])
def test_the_other_example_beds(name: str) -> None:
    bed = read_bed(CALIBRATION / f"{name}.bed.toml")
    cells = make_cells(bed)
    assert np.sqrt(cells.area_mm2) == pytest.approx(20.0, rel=0.05)
    _check(bed, cells)
    _check_inner(bed, cells)


@given(
    st.integers(150, 700),
    st.lists(st.integers(1, 7), min_size=1, max_size=3),
    st.integers(0, 359),
    st.sampled_from([15.0, 20.0, 30.0]),
)
@settings(max_examples=25, deadline=None)
def test_round_beds(diameter: int, rings: list[int], first: int, size: float) -> None:
    bed = _round(diameter, rings, first)
    cells = make_cells(bed, size)
    assert cells.area_mm2.max() == pytest.approx(cells.area_mm2.min())
    if bed.zones[0].area_mm2 > 5 * size**2:
        assert math.sqrt(cells.area_mm2[0]) == pytest.approx(size, rel=0.06)
    assert np.array_equal(zone_index(bed, cells.centre_mm), cells.zone)
    assert np.array_equal(cell_index(bed, cells, cells.centre_mm), np.arange(len(cells.zone)))
    for number in range(len(bed.zones)):
        assert cells.inner[cells.zone == number].any()


@given(st.integers(100, 900), st.integers(100, 900), st.integers(1, 4), st.integers(1, 4))
@settings(max_examples=25, deadline=None)
def test_rectangular_beds(width: int, length: int, rows: int, columns: int) -> None:
    bed = _flat(width, length, grid_zones(rows, columns, width, length))
    cells = make_cells(bed)
    # zones cut by `split_cells` (long thin ones) are equal to a few sample points
    assert cells.area_mm2.max() / cells.area_mm2.min() < 1.04
    assert np.array_equal(zone_index(bed, cells.centre_mm), cells.zone)
    assert np.array_equal(cell_index(bed, cells, cells.centre_mm), np.arange(len(cells.zone)))


def test_custom_zones_of_unlike_shape_and_size() -> None:
    zones = (
        _custom("L", (-200, 150), (-100, 150), (-100, -50), (0, -50), (0, -150), (-200, -150)),
        _custom("wedge", (0, 150), (200, 150), (0, -20)),
        _custom("slim", (150, -150), (165, 60), (180, 60), (180, -150)),
    )
    bed = _flat(400, 300, zones)
    cells = make_cells(bed)
    _check(bed, cells, 0.5)
    across = [np.ptp(part, axis=0).max() for part in _parts(bed, cells)]
    assert max(across) < 45.0  # compact: no cell is a long sliver


def _parts(bed: Bed, cells: Cells) -> list[np.ndarray]:
    points = _lattice(bed, 1.0)
    index = cell_index(bed, cells, points)
    return [points[index == i] for i in range(len(cells.zone))]


def test_a_zone_too_small_for_a_clear_cell_keeps_its_most_central_ones() -> None:
    bed = _flat(120, 40, grid_zones(1, 3, 120, 40))
    cells = make_cells(bed)
    middle = cells.zone == 1  # 40 x 40 mm: four cells, each against a border
    assert middle.sum() == 4
    assert cells.inner[middle].all()
    wide = _flat(60, 60, grid_zones(1, 1, 60, 60))
    nine = make_cells(wide)
    assert nine.centre_mm[nine.inner].tolist() == [[0.0, 0.0]]


def test_a_zone_smaller_than_a_cell_is_one_cell() -> None:
    bed = _flat(100, 100, (_custom("dot", (0, 0), (0, 12), (12, 12), (12, 0)),))
    cells = make_cells(bed)
    assert cells.area_mm2.tolist() == [144.0]
    assert cells.centre_mm[0] == pytest.approx([6.0, 6.0], abs=0.2)
    assert cells.inner.tolist() == [True]


def test_cells_without_a_layout_go_by_the_nearest_centre_in_the_zone() -> None:
    bed = _flat(200, 100, grid_zones(1, 2, 200, 100))
    cells = Cells(
        centre_mm=np.array([[-80.0, 0.0], [-40.0, 0.0], [50.0, 0.0]]),
        zone=np.array([0, 0, 1], np.intp),
        area_mm2=np.array([5000.0, 5000.0, 10000.0]),
        inner=np.array([True, True, True]),
    )
    points = np.array([[-90.0, 10], [-1.0, 0], [1.0, 0], [101.0, 0], [math.nan, 0]])
    assert cell_index(bed, cells, points).tolist() == [0, 1, 2, -1, -1]


@pytest.mark.parametrize("size", [0.0, -1.0, math.nan, math.inf])
def test_impossible_cell_sizes_are_refused(size: float) -> None:
    with pytest.raises(ValueError, match="expected a positive one"):
        make_cells(_round(420.0, [1, 6]), size)


@pytest.mark.parametrize(
    ("clock_deg", "out_mm", "words"),
    [
        (0, 50, "12 o'clock, 50 mm out"),
        (120, 110, "4 o'clock, 110 mm out"),
        (127, 108, "4 o'clock, 110 mm out"),
        (128, 112, "half past 4, 110 mm out"),
        (15, 33, "half past 12, 35 mm out"),
        (270, 10, "9 o'clock, 10 mm out"),
        (345, 200, "half past 11, 200 mm out"),
        (353, 200, "12 o'clock, 200 mm out"),
        (90, 9.9, "at the centre"),
        (0, 0, "at the centre"),
    ],
)
def test_clock_positions(clock_deg: float, out_mm: float, words: str) -> None:
    turn = math.radians(clock_deg)
    assert clock_position(out_mm * math.sin(turn), out_mm * math.cos(turn)) == words


def test_a_place_that_is_not_finite_has_no_clock_position() -> None:
    with pytest.raises(ValueError, match="expected two finite numbers"):
        clock_position(math.nan, 0.0)
