"""Which valve feeds which zone, on arithmetic beds: air is what the valves make of it, shown with a known scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from bedwatch.judge.answers import Trial, Turn, answers
from bedwatch.judge.belief import Seen
from bedwatch.judge.findings import LineFault, Lines
from bedwatch.judge.line_test import LineTest
from bedwatch.judge.lines import owners_and_lines

ZONES = 6
RING = {(a, (a + 1) % ZONES) if a + 1 < ZONES else (0, a) for a in range(ZONES)}


class Plumbed:
    """feeds: (valves, zones) how much of a valve's change each zone gets, in ln air per travel."""

    def __init__(self, feeds: np.ndarray, seed: int = 1, scatter: float = 1.0) -> None:
        self.feeds = feeds
        self.at = np.zeros(len(feeds))
        self.rest = np.log(np.array([2.0, 1.9, 2.1, 1.8, 2.0, 2.2])[: feeds.shape[1]])
        self.scatter = scatter
        self.rng = np.random.default_rng(seed)

    def look(self) -> tuple[Seen, ...]:
        x = self.rest + self.at @ self.feeds
        return tuple(self._seen(math.exp(float(one))) for one in x)

    def _seen(self, r: float) -> Seen:
        if r < 1.05:
            return Seen(known=True, live=0.0, speed_mm_s=0.0)
        noise = self.scatter * self.rng.standard_normal(2)
        return Seen(
            known=True,
            live=1.0,
            speed_mm_s=50 * (r - 1) ** 0.5 * math.exp(0.04 * float(noise[0])),
            restless=2.2 * math.log((r - 1) / 2.3) + 0.2 * float(noise[1]),
        )

    def test(self, marked: bool = True) -> tuple[LineTest, Lines]:
        names = [str(valve + 1) for valve in range(len(self.feeds))]
        test = LineTest(
            names,
            self.feeds.shape[1],
            {n: v for v, n in enumerate(names[: self.feeds.shape[1]])} if marked else {},
            RING,
        )
        test.seen(self.look())
        while (ask := test.ask()) is not None:
            assert test.done < 100
            self.at[names.index(ask.valve)] += ask.by
            test.turned(ask.valve, ask.by)
            test.seen(self.look())
        return test, test.lines()


def straight(gain: float = 1.5) -> np.ndarray:
    return gain * np.eye(ZONES)


def swapped(*valves: int) -> np.ndarray:
    feeds = straight()
    feeds[list(valves)] = feeds[list(np.roll(valves, -1))]
    return feeds


def findings(lines: Lines) -> set[tuple[LineFault, frozenset[str], frozenset[int]]]:
    return {(one.kind, frozenset(one.valves), frozenset(one.zones)) for one in lines.findings}


def expect(
    kind: LineFault, valves: Sequence[int], zones: Sequence[int]
) -> set[tuple[LineFault, frozenset[str], frozenset[int]]]:
    return {(kind, frozenset(str(valve + 1) for valve in valves), frozenset(zones))}


@pytest.mark.parametrize("seed", range(4))
def test_a_bed_as_it_is_marked_has_nothing_to_tell(seed: int) -> None:
    test, lines = Plumbed(straight(), seed).test()
    assert lines.healthy
    assert lines.feeds == {str(zone + 1): zone for zone in range(ZONES)}
    assert test.left == 0


@pytest.mark.parametrize("valves", [(0, 3), (4, 1), (0, 2, 5)])
def test_swapped_lines_are_named_together(valves: tuple[int, ...]) -> None:
    _, lines = Plumbed(swapped(*valves)).test()
    assert findings(lines) == expect(LineFault.SWAPPED, valves, valves)


def test_without_marks_nothing_is_swapped() -> None:
    _, lines = Plumbed(swapped(0, 3)).test(marked=False)
    assert lines.healthy
    assert lines.feeds["1"] == 3


def test_before_all_valves_were_moved_no_zone_is_said_to_have_none() -> None:
    bed = Plumbed(np.eye(ZONES))
    test = LineTest([str(n + 1) for n in range(ZONES)], ZONES, {str(n + 1): n for n in range(ZONES)}, RING)
    test.seen(bed.look())
    assert test.lines().without == ()
    bed.at[0] += 0.25
    test.turned("1", 0.25)
    test.seen(bed.look())
    assert test.lines().without == ()


def test_a_dead_line_is_named_with_its_zone() -> None:
    feeds = straight()
    feeds[2] = 0
    bed = Plumbed(feeds)
    bed.rest[2] = -1.0
    _, lines = bed.test()
    assert findings(lines) == expect(LineFault.DEAD, [2], [2])
    assert lines.without == (2,)


def test_a_valve_that_turns_the_other_way() -> None:
    feeds = straight()
    feeds[4] *= -1
    _, lines = Plumbed(feeds).test()
    assert findings(lines) == expect(LineFault.REVERSED, [4], [4])
    assert lines.reversed == ("5",)


def test_two_zones_on_one_line() -> None:
    feeds = straight()
    feeds[1, 4] = feeds[1, 1]
    feeds[4] = 0
    _, lines = Plumbed(feeds).test()
    assert findings(lines) == expect(LineFault.JOINED, [1, 4], [1, 4])


def test_zones_that_no_valve_sets_apart() -> None:
    """Neighbours that each get nearly all of what the other's valve does."""
    feeds = straight()
    feeds[2, 3] = feeds[3, 2] = 0.85 * feeds[2, 2]
    _, lines = Plumbed(feeds).test()
    assert findings(lines) == expect(LineFault.LEAKING, [2, 3], [2, 3])


def test_a_valve_of_the_supply_is_no_zones_valve() -> None:
    feeds = np.vstack([straight(), np.full(ZONES, 1.2)])
    _, lines = Plumbed(feeds).test()
    assert findings(lines) == expect(LineFault.AS_SUPPLY, [6], range(ZONES))
    assert "7" not in lines.feeds


def test_an_answer_is_put_as_if_the_valve_had_been_opened() -> None:
    """Closing by a half gives the change of opening by one, to the scatter there is none of here; speeds are powers of the air
    beyond the minimum, so that the strongest zone stands out and the others stay within a tenth."""
    bed = Plumbed(straight(), scatter=0.0)
    trials = [Trial(turn=None, seen=bed.look())]
    bed.at[3] = -0.3
    trials.append(Trial(turn=Turn(valve="4", by=-0.3), seen=bed.look()))
    found = answers(trials)
    (answer,) = found
    assert answer.travel == pytest.approx(0.3)
    assert int(np.argmax(answer.change)) == 3
    assert answer.change[3] == pytest.approx(0.45, rel=0.4)
    assert np.abs(np.delete(answer.change, 3)).max() < 0.1 * answer.change[3]
    owners, _ = owners_and_lines(found, [str(one + 1) for one in range(ZONES)], ZONES, {"4": 3}, RING, ())
    owner = owners["4"]
    assert owner.zones == (3,)
    assert owner.opens == 1
    assert owner.strength[0] == pytest.approx(float(answer.change[3]), rel=0.1)


def test_nothing_is_said_of_what_lies_within_the_scatter() -> None:
    """A turn so small that no zone answers beyond it is no proof of a dead line."""
    bed = Plumbed(straight())
    trials = [Trial(turn=None, seen=bed.look()), Trial(turn=Turn(valve="1", by=0.05), seen=bed.look())]
    owners, _ = owners_and_lines(answers(trials), ["1"], ZONES, {"1": 0}, RING, ())
    owner = owners["1"]
    assert not owner.known
    assert owner.opens == 0


def test_a_valve_that_cannot_be_moved_is_left_out() -> None:
    bed = Plumbed(straight())
    test = LineTest([str(one + 1) for one in range(ZONES)], ZONES)
    test.seen(bed.look())
    for valve in test.valves:
        test.skip(valve)
    assert test.ask() is None
    assert test.lines().feeds == {}


def test_a_bed_that_lies_still_cannot_be_tested() -> None:
    bed = Plumbed(straight())
    bed.rest -= 1.0
    test = LineTest(["1"], ZONES)
    assert not test.too_still
    test.seen(bed.look())
    assert test.too_still
    bed.rest += 1.0
    test.restart()
    test.seen(bed.look())
    assert not test.too_still


def test_faults_of_different_valves_are_told_side_by_side() -> None:
    feeds = swapped(0, 3)
    feeds[4] *= -1
    feeds[2] = 0
    bed = Plumbed(feeds)
    bed.rest[2] = -1.0
    _, lines = bed.test()
    assert findings(lines) == (
        expect(LineFault.SWAPPED, [0, 3], [0, 3])
        | expect(LineFault.DEAD, [2], [2])
        | expect(LineFault.REVERSED, [4], [4])
    )


def test_zones_that_do_not_touch_share_a_line_and_no_chamber() -> None:
    feeds = straight()
    feeds[0, 3] = feeds[3, 0] = 0.9 * feeds[0, 0]
    _, lines = Plumbed(feeds).test()
    assert findings(lines) == expect(LineFault.JOINED, [0, 3], [0, 3])


def test_a_valve_that_does_nothing_is_tried_both_ways_before_it_is_called_dead() -> None:
    """One that stood nearly shut does nothing when it is shut."""
    feeds = straight()
    feeds[1, 4] = feeds[1, 1]
    feeds[4] = 0
    names = [str(one + 1) for one in range(ZONES)]
    bed = Plumbed(feeds)
    test = LineTest(names, ZONES, {name: zone for zone, name in enumerate(names)}, RING)
    tried = []
    test.seen(bed.look())
    while (ask := test.ask()) is not None:
        bed.at[names.index(ask.valve)] += ask.by
        test.turned(ask.valve, ask.by)
        test.seen(bed.look())
        if ask.valve == "5" and not ask.back:
            tried.append(ask.by)
    assert min(tried) <= -0.45
    assert max(tried) >= 0.45


def test_where_zones_lie_still_the_supply_is_raised_once_and_brought_back() -> None:
    """Two zones on one line that has not enough for both: only with more air is it seen that one valve moves them."""
    names = [str(one + 1) for one in range(ZONES)]
    feeds = straight()
    feeds[1, 4] = feeds[1, 1] = 0.04
    feeds[4] = 0
    bed = Plumbed(feeds)
    bed.rest[[1, 4]] = math.log(0.95)
    test = LineTest(names, ZONES, {name: zone for zone, name in enumerate(names)}, RING)
    supply = []
    test.seen(bed.look())
    while (ask := test.ask()) is not None:
        assert test.done < 120
        if ask.supply:
            supply.append(ask.by)
            bed.rest = bed.rest + 2.0 * ask.by
        else:
            bed.at[names.index(ask.valve)] += ask.by
        test.turned(ask.valve, ask.by)
        test.seen(bed.look())
    assert len(supply) >= 2
    assert min(supply[:-1]) > 0
    assert sum(supply) == pytest.approx(0.0)
    assert all(zone == names.index(valve) for valve, zone in test.lines().feeds.items() if valve not in "25")
