"""The mean of the last steady part."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bedwatch.judge.steady import mean_of, steady_part
from bedwatch.judge.types import Reading, State

Run = Callable[..., list[Reading]]


def test_all_of_a_steady_run_counts(run: Run) -> None:
    found = mean_of(run(40.0, lambda _: 90.0))
    assert found is not None
    assert found.seen_s == pytest.approx(40.0, abs=0.1)
    assert found.zones[0].speed_mm_s.value == pytest.approx(90.0)
    # The reading's own error is common to all readings and does not shrink with their number.
    assert found.zones[0].speed_mm_s.error == pytest.approx(0.35 * 90, rel=0.01)
    # 2.5 % a window, of which there are four.
    assert found.zones[0].speed_mm_s.repeat == pytest.approx(0.0125 * 90, rel=0.01)


def test_a_change_begins_it_anew(run: Run) -> None:
    part = steady_part(run(40.0, lambda t: 90.0 if t < 20 else 120.0))
    assert part[0].time_s == pytest.approx(20.0, abs=1.0)
    assert {one.bed.speed_mm_s for one in part} == {120.0}


def test_a_hand_at_the_end_is_passed_over_and_one_before_ends_it(run: Run) -> None:
    def state(time_s: float) -> State:
        return State.BLOCKED if time_s > 35 or 10 < time_s < 15 else State.READING

    part = steady_part(run(40.0, lambda _: 90.0, state))
    assert part[0].time_s > 15
    assert part[-1].time_s < 35.1


def test_runs_of_a_log_are_not_mixed(run: Run) -> None:
    """Time starts again with the next clip."""
    both = run(20.0, lambda _: 90.0) + run(12.0, lambda _: 90.0)
    assert len(steady_part(both)) == 15


def test_scatter_makes_it_less_sure(run: Run) -> None:
    quiet, restless = (mean_of(run(40.0, lambda t, a=a: 90.0 + (a if int(t) % 2 else -a))) for a in (0.0, 5.0))
    assert quiet is not None
    assert restless is not None
    assert (restless.speed_mm_s.repeat or 0) > 1.5 * (quiet.speed_mm_s.repeat or 0)


def test_nothing_honest_gives_nothing(run: Run) -> None:
    assert mean_of([]) is None
    assert mean_of(run(10.0, lambda _: None, lambda _: State.SETTLING)) is None


def test_unknown_stays_unknown(run: Run) -> None:
    found = mean_of(run(20.0, lambda _: None))
    assert found is not None
    assert found.speed_mm_s.value is None
    assert found.speed_mm_s.error is None
