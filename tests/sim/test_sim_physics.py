"""Formulas of the make-believe bed against published values."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.sim.physics import (
    bubble_mm,
    eruptions_per_mm2_s,
    excess_mm_s,
    minimum_fluidisation_mm_s,
    rise_mm_s,
    spread_sizes,
)
from bedwatch.sim.powder import POWDERS


def test_small_reynolds_ergun_against_a_worked_example() -> None:
    """Kunii & Levenspiel 1991, example 3.2: sand of 160 µm, u_mf = 4.0 cm/s (air there 1.8e-5 Pa s)."""
    here = minimum_fluidisation_mm_s(160, 2600, voidage=0.55, sphericity=0.67)
    assert here * 1.82 / 1.8 == pytest.approx(40.08, rel=2e-3)


def test_coating_powders_need_eight_to_ten_mm_per_second() -> None:
    for powder in POWDERS.values():
        assert 7.0 < powder.minimum_mm_s < 10.0


def test_darton_bubble_size() -> None:
    """Darton et al. 1977, Trans. IChemE 55, 274, evaluated for U - U_mf 50 mm/s, height 150 mm: 26.17 mm."""
    assert bubble_mm(np.array([50.0]), 150.0)[0] == pytest.approx(26.17, rel=1e-3)
    assert bubble_mm(np.array([0.0, -3.0]), 150.0).tolist() == [0, 0]


def test_rise_velocity_of_a_single_bubble() -> None:
    """Davidson & Harrison 1963: 5, 10, 20, 50, 100 mm rise at 0.1575 ... 0.7042 m/s."""
    seen = rise_mm_s(np.array([5.0, 10.0, 20.0, 50.0, 100.0])) / 1000
    np.testing.assert_allclose(seen, [0.1575, 0.2227, 0.3149, 0.4980, 0.7042], rtol=5e-4)


def test_bubble_flow_is_the_visible_share_of_the_excess() -> None:
    excess = np.array([2.0, 9.0, 40.0])
    flow = eruptions_per_mm2_s(excess, 150.0) * np.pi / 6 * bubble_mm(excess, 150.0) ** 3
    np.testing.assert_allclose(flow, 0.8 * excess, rtol=1e-12)
    # the same law worked by hand, per second and 50 mm square, at 5, 10, 20 mm/s
    per_square = 2500 * eruptions_per_mm2_s(np.array([5.0, 10.0, 20.0]), 150.0)
    np.testing.assert_allclose(per_square, [17, 15, 13], atol=1.0)


def test_spread_sizes_keep_the_bubble_volume() -> None:
    sizes = spread_sizes(np.random.default_rng(1), np.full(200_000, 14.0))
    assert np.mean(sizes**3) == pytest.approx(14.0**3, rel=0.02)
    assert 0.15 < np.log(sizes).std() < 0.25


def test_no_bubbles_up_to_a_few_per_cent_past_the_minimum() -> None:
    assert excess_mm_s(0.6, 8.0) == excess_mm_s(1.05, 8.0) == 0.0
    assert excess_mm_s(2.0, 8.0) == pytest.approx(8.0)
