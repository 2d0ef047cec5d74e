"""A disc that turns at a known rate: truth by ring, what counts, and what is made of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.bed import zone_index
from bedwatch.judge.turning import check_speed, disc_bed


def test_rings_lie_side_by_side_and_fill_the_disc() -> None:
    bed = disc_bed(180.0)
    xy = np.array([[r * math.sin(t), r * math.cos(t)] for r in (1.0, 22.0, 23.0, 46.0, 89.0) for t in (0.0, 2.0, 4.5)])
    assert zone_index(bed, xy).tolist() == [0] * 6 + [1] * 3 + [2] * 3 + [3] * 3
    assert sum(zone.area_mm2 for zone in bed.zones) == pytest.approx(math.pi * 90**2)


def test_the_truth_is_a_mean_over_the_ring() -> None:
    """Against points spread evenly over the disc, turning at 2 rad/s."""
    bed = disc_bed(180.0)
    rng = np.random.default_rng(1)
    xy = rng.uniform(-90, 90, (200_000, 2))
    index = zone_index(bed, xy)
    found = check_speed([(1.0, 0.1)] * 4, bed, 60 / math.pi)
    for number, ring in enumerate(found.rings):
        speed = 2.0 * np.hypot(*xy[index == number].T)
        assert ring.true_mm_s == pytest.approx(math.sqrt((speed**2).mean()), rel=0.01)


def test_it_says_by_how_much_and_whether_that_is_within_its_error() -> None:
    bed = disc_bed(180.0)
    true = [ring.true_mm_s for ring in check_speed([(1.0, 0.1)] * 4, bed, 3.0).rings]
    low = check_speed([(0.9 * one, 0.02 * one) for one in true], bed, 3.0)
    assert low.off == pytest.approx(-0.1)
    assert low.error == pytest.approx(0.02)
    assert not low.within
    assert check_speed([(0.97 * one, 0.02 * one) for one in true], bed, -3.0).within
    # A rate that is not well known makes it less sure.
    assert check_speed([(0.9 * one, 0.02 * one) for one in true], bed, 3.0, rate_error=0.1).within


def test_what_is_out_of_range_or_unknown_has_no_say() -> None:
    bed = disc_bed(180.0)
    fast = check_speed([(50.0, 1.0), (10.0, 1.0), (10.0, 5.0), (math.nan, math.nan)], bed, 33.333)
    assert [ring.counted for ring in fast.rings] == [True, False, False, False]
    assert fast.rings[3].read_mm_s is None
    assert [ring.counted for ring in check_speed([(50.0, 1.0)] * 4, bed, 33.333, frames_per_s=60.0).rings][1]
    nothing = check_speed([(math.nan, math.nan)] * 4, bed, 3.0)
    assert math.isnan(nothing.off)
    assert not nothing.within
