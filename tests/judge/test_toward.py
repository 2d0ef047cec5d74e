"""What is believed of the zones' offsets: looks add up, moves are foretold, gains learned from what moves did."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.judge.route import Step, next_move
from bedwatch.judge.toward import Toward, first_toward
from bedwatch.judge.types import HintWord

CHANCE = 0.02**2 * np.eye(4)
NAMES = ["1", "2", "3", "4"]


def believed(*offsets: float) -> Toward:
    return first_toward(len(offsets)).seen(offsets, 0.01**2 * np.eye(len(offsets)))


def test_looks_at_one_bed_add_up() -> None:
    """Two looks of the same error know by a square root of two more."""
    once = first_toward(4).seen([0.1, 0.0, -0.1, 0.2], CHANCE)
    twice = once.seen([0.12, -0.02, -0.1, 0.2], CHANCE)
    np.testing.assert_allclose(twice.offset, [0.11, -0.01, -0.1, 0.2], atol=0.003)
    np.testing.assert_allclose(twice.spread / once.spread, math.sqrt(0.5), rtol=0.01)


def test_what_is_not_known_stays_wide() -> None:
    found = first_toward(4).seen([0.1, math.nan, 0.1, 0.1], CHANCE)
    assert found.spread[1] > 10 * found.spread[0]
    assert first_toward(2).seen([math.nan] * 2, np.eye(2)).spread[0] == first_toward(2).spread[0]


def test_a_move_feeds_the_others_and_is_less_sure_than_a_look() -> None:
    before = believed(0.3, 0.0, 0.0, 0.0)
    after = before.moved(0, -0.2)
    assert after.offset[0] < 0.1
    assert np.all(after.offset[1:] > 0.0)
    assert after.spread[0] > 3 * before.spread[0]
    assert after.spread[1] > before.spread[1]


@pytest.mark.parametrize("true", [0.6, 3.0])
def test_a_gain_is_learned_from_what_moves_did(true: float) -> None:
    found = believed(0.4, 0.0, 0.0, 0.0)
    offset = 0.4
    for _ in range(3):
        found = found.moved(0, -0.1)
        offset -= 0.1 * true
        found = found.seen([offset, 0.02, 0.02, 0.02], CHANCE)
    assert found.gain(0) == pytest.approx(true, rel=0.3)
    assert abs(math.log(found.gain(1) / true)) < abs(math.log(1.5 / true))  # the valves of one bed are much alike
    assert found.gain(None) == pytest.approx(1.5, rel=0.1)  # the supply is another matter


def test_the_supply_moves_all_zones() -> None:
    found = believed(0.2, 0.2, 0.1, 0.3).moved(None, -0.1)
    np.testing.assert_allclose(found.offset, np.array([0.2, 0.2, 0.1, 0.3]) - 0.1 * found.gain(None), atol=0.01)


def step(*offsets: float, stirred: bool = True, over: bool = True) -> tuple[Step, str, HintWord]:
    found, move = next_move(NAMES, dict(enumerate(offsets)), range(4), believed(*offsets), stirred=stirred, over=over)
    assert move is not None
    return found, move.zone, move.do


def test_zones_are_trimmed_to_the_level_most_of_them_share() -> None:
    """Three zones alike and one off is one turn, and the supply's at the end, wherever the three stand."""
    assert step(0.2, 0.2, 0.2, 0.0) == (Step.TRIM, "4", HintWord.MORE_AIR)
    assert step(0.2, 0.2, 0.2, 0.5) == (Step.TRIM, "4", HintWord.LESS_AIR)
    assert step(0.2, 0.21, 0.19, 0.2) == (Step.DOWN, "all", HintWord.LESS_AIR)
    assert step(-0.2, -0.21, -0.19, -0.2) == (Step.OVER, "all", HintWord.MORE_AIR)


def test_a_dull_bed_is_stirred_first() -> None:
    assert step(-0.2, -0.21, -0.19, -0.2, stirred=False) == (Step.STIR, "all", HintWord.STIR)


def test_over_the_mark_once_and_then_to_it() -> None:
    offsets = (-0.1, -0.1, -0.1, -0.1)
    amounts = []
    for over in (False, True):
        _, move = next_move(NAMES, dict(enumerate(offsets)), range(4), believed(*offsets), stirred=True, over=over)
        assert move is not None
        assert move.amount is not None
        amounts.append(move.amount)
    assert amounts[0] > 1.5 * amounts[1]
