"""What is guessed of a valve: where it stands, how it opens, and the turn that is best tried. Valves here have their own laws."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.air.supply import open_area_share
from bedwatch.air.types import Opens
from bedwatch.judge.travel import Travel, held_back, throttled, unknown_supply, unknown_travel


def flow(share: float, fixed: float) -> float:
    """Air, of what passes with the valve open, through an open area in line with a fixed resistance at one pressure; the fixed
    one takes so many times what the open valve takes. Both are orifices, drop ~ flow² (orifice law)."""
    return math.sqrt((1 + fixed) / (1 / max(share, 1e-6) ** 2 + fixed))


class Valve:
    """A real one: stands somewhere, opens as it does, and stops at its ends."""

    def __init__(self, place: float, opens: Opens = "linear", fixed: float = 3.0) -> None:
        self.place, self.opens, self.fixed = place, opens, fixed
        self.guess: Travel = unknown_travel()

    @property
    def air(self) -> float:
        return math.log(flow(open_area_share(self.opens, self.place), self.fixed))

    def turn(self, by: float) -> float:
        before, self.place = self.air, min(max(self.place + by, 0.0), 1.0)
        self.guess = self.guess.turned(by).answered(self.air - before, 0.05)
        return self.air - before

    def go(self, change: float, most: int = 8) -> int:
        """Turns until the air is changed by so much, to what the least turn that can be read off may leave."""
        goal = self.air + change
        for count in range(most):
            if abs(goal - self.air) < 0.2:
                return count
            self.turn(self.guess.outlook().turn_for(goal - self.air)[0])
        return most


@pytest.mark.parametrize("opens", ["linear", "equal-percentage", "quick-opening"])
@pytest.mark.parametrize("fixed", [1.0, 3.0, 12.0])
@pytest.mark.parametrize(("place", "change"), [(1.0, -0.5), (0.6, -0.5), (0.45, 0.4), (0.3, 0.6)])
def test_any_valve_is_brought_there_in_a_few_turns(opens: Opens, fixed: float, place: float, change: float) -> None:
    valve = Valve(place, opens, fixed)
    shut, wide = (math.log(flow(open_area_share(opens, u), fixed)) for u in (0.15, 1.0))
    if not shut < valve.air + change < wide:
        pytest.skip("it cannot be set so")
    assert valve.go(change) <= 4


def test_a_valve_that_did_nothing_on_a_flat_is_turned_by_more_the_next_time() -> None:
    valve = unknown_travel()
    first, _, _ = valve.outlook().turn_for(-0.4)
    once = valve.turned(first).answered(0.0, 0.05)
    second, _, _ = once.outlook().turn_for(-0.4)
    assert second < 0
    assert abs(second) > 0.8 * abs(first)
    assert once.outlook().turn_for(-0.4)[1] < valve.outlook().turn_for(-0.4)[1] + 0.3


def test_between_two_places_that_were_tried_the_next_is_sought() -> None:
    """It was turned off a cliff: what is wanted lies on the way back, not beyond."""
    valve = unknown_travel().turned(-0.4).answered(-1.6, 0.1)
    back, hit, _ = valve.outlook().turn_for(0.8)
    assert 0.05 < back < 0.4
    assert hit > 0.5


def test_a_valve_stops_at_the_end_of_its_travel() -> None:
    valve = unknown_travel()
    for _ in range(3):
        valve = valve.turned(0.4)
    assert valve.fully_open == pytest.approx(1.0)
    assert valve.outlook().reach(0.3) == pytest.approx(0.0)
    assert valve.turned(-0.25).open_share == pytest.approx(0.75, abs=0.02)
    assert valve.meant(0.2)[0] == pytest.approx(0.0, abs=1e-9)


def test_a_valve_that_never_answers_is_taken_to_be_at_its_end() -> None:
    valve = unknown_travel()
    for _ in range(4):
        valve = valve.turned(0.25).answered(0.0, 0.05)
    assert valve.outlook().reach(0.4) < 0.1


def test_a_turn_of_nothing_has_no_answer() -> None:
    valve = unknown_travel().turned(0.0)
    assert valve.last is None
    assert valve.answered(-1.0, 0.05) is valve


def test_who_gets_little_is_throttled_more() -> None:
    valves = [unknown_travel() for _ in range(4)]
    found = throttled(valves, np.log([0.8, 2.0, 2.1, 2.2]), np.full(4, 0.1))
    assert found[0].open_share < found[1].open_share - 0.1
    assert all(one.chance.sum() == pytest.approx(1.0) for one in found)
    # There it does more: the same turn is a larger share of what passes.
    assert found[0].meant(0.1)[0] > found[3].meant(0.1)[0]


def test_a_bed_that_gets_little_has_its_supply_rather_closed() -> None:
    poor, rich = (held_back(unknown_supply(), math.log(r), 0.1) for r in (0.6, 4.0))
    assert poor.open_share < rich.open_share


@pytest.mark.parametrize("opens", ["linear", "equal-percentage", "quick-opening"])
@pytest.mark.parametrize("authority", [0.08, 0.25, 0.6])
def test_the_laws_are_those_of_a_valve_in_line_with_other_resistances(opens: Opens, authority: float) -> None:
    """Among the guesses is the flow that two orifices in line let pass; how a valve opens is `air`'s, from IEC 60534-2-4."""
    places = np.linspace(0.2, 1.0, 33)
    shares = [open_area_share(opens, float(u), 30.0) for u in places]
    true = np.log([flow(share, 1 / authority - 1) for share in shares])
    laws = unknown_travel().laws
    at = np.rint(places * (laws.shape[1] - 1)).astype(int)
    assert np.abs(laws[:, at] - true).max(axis=1).min() < 0.02
