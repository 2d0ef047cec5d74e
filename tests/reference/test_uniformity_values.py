"""The evenness of a reading against published uniformity figures."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.judge.uniformity import uniformity_index

# Catch-can volumes, mL: example of the documentation of the open R package "spreval" (a US state university).
CANS = np.array([47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12], np.float64)
CANS_CU = 69.13955  # per cent, printed there


def christiansen(volumes: np.ndarray) -> float:
    """Coefficient of uniformity, per cent (Christiansen 1942, Calif. Agr. Exp. Sta. Bull. 670)."""
    mean = volumes.mean()
    return float(100 * (1 - np.abs(volumes - mean).sum() / (len(volumes) * mean)))


def test_against_a_published_catch_can_trial() -> None:
    """For equal areas the index of Weltens et al. (1993, SAE 930780) is (1 + CU/100) / 2, CU being Christiansen's: both are
    one less a mean absolute deviation over the mean, the one halved. Tolerance: the five decimals printed."""
    assert christiansen(CANS) == pytest.approx(CANS_CU, abs=1e-5)
    assert uniformity_index(CANS) == pytest.approx((1 + CANS_CU / 100) / 2, abs=1e-7)
    assert uniformity_index(CANS) == pytest.approx(0.845698, abs=1e-6)


@pytest.mark.parametrize(
    ("speeds", "expected"),
    [
        ((1, 1, 1, 1), 1.0),
        ((1, 1, 0, 0), 0.5),
        ((1, 0, 0, 0), 0.25),
        ((1, 2, 3, 4), 0.8),
        ((1, 1, 1, 1, 1, 0), 5 / 6),
    ],
)
def test_hand_worked_values(speeds: tuple[float, ...], expected: float) -> None:
    """Worked by hand from the formula; one dead cell of n leaves 1 - 1/n."""
    assert uniformity_index(np.array(speeds, np.float64)) == pytest.approx(expected, abs=1e-12)


def test_areas_weigh() -> None:
    """Worked by hand: 1 on three parts and 2 on one has the mean 1.25 and 1 - 1.5/10; without areas it would be 0.8333."""
    assert uniformity_index(np.array([1.0, 2.0]), np.array([3.0, 1.0])) == pytest.approx(0.85, abs=1e-12)
    assert uniformity_index(np.array([1.0, 2.0])) == pytest.approx(5 / 6, abs=1e-12)


def test_normally_scattered_speeds() -> None:
    """The mean absolute deviation of a normal variable is sqrt(2/pi) = 0.7979 of its standard deviation (textbook), so that
    the index is 1 - 0.399 c. 0.002: three standard errors of 1e5 draws at c = 0.15, and the cut below zero."""
    draws = np.random.default_rng(1942).normal(1.0, 0.15, 100_000)
    assert uniformity_index(draws) == pytest.approx(1 - np.sqrt(2 / np.pi) * 0.15 / 2, abs=0.002)


def test_scale_order_and_unknown_cells_do_not_matter() -> None:
    index = uniformity_index(CANS)
    assert uniformity_index(3.7 * CANS[::-1]) == pytest.approx(index, abs=1e-12)
    assert uniformity_index(np.append(CANS, np.nan)) == pytest.approx(index, abs=1e-12)
    assert uniformity_index(np.append(CANS, np.nan), np.ones(16)) == pytest.approx(index, abs=1e-12)


def test_nothing_moves_or_nothing_is_known() -> None:
    assert uniformity_index(np.zeros(5)) == 0.0
    assert np.isnan(uniformity_index(np.full(5, np.nan)))
