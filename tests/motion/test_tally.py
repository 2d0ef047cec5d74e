"""The sliding window of sums."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from bedwatch.motion.tally import WINDOW_S, Tally


def rows(value: float) -> np.ndarray:
    return np.full((2, 3, 4), value, np.float32)


def fill(tally: Tally, start_s: float, end_s: float, value: float, fps: float = 30.0) -> None:
    for number in range(round((end_s - start_s) * fps)):
        time_s = start_s + number / fps
        tally.mark(time_s)
        tally.add("change", rows(value), 1 / fps, least=np.full((3, 4), value, np.float32))


def test_means_counts_and_lags() -> None:
    tally = Tally()
    tally.mark(0.0)
    tally.add("a", rows(1.0), 0.1)
    tally.add("a", rows(4.0), 0.3)
    tally.mark(2.0)  # another slab
    tally.add("a", rows(4.0), 0.2)
    tally.add((0, 1), rows(9.0), 0.5)
    means = tally.means()
    np.testing.assert_allclose(means["a"].sums, 3.0)
    assert means["a"].count == 3
    assert means["a"].lag_s == pytest.approx(0.2)
    np.testing.assert_allclose(means[(0, 1)].sums, 9.0)
    assert tally.seconds == 2.0


def test_reading_twice_changes_nothing() -> None:
    tally = Tally()
    fill(tally, 0.0, 3.0, 5.0)
    first, second = tally.means(), tally.means()
    np.testing.assert_array_equal(first["change"].sums, second["change"].sums)
    assert first["change"].count == second["change"].count


def test_an_added_array_may_be_used_again() -> None:
    tally = Tally()
    mine = rows(1.0)
    tally.mark(0.0)
    tally.add("a", mine, 0.1)
    tally.add("a", mine, 0.1)
    np.testing.assert_allclose(mine, 1.0)
    np.testing.assert_allclose(tally.means()["a"].sums, 1.0)


def test_the_window_slides_and_forgets() -> None:
    tally = Tally()
    fill(tally, 0.0, 20.0, 100.0)
    fill(tally, 20.0, 20.0 + WINDOW_S + 2.0, 1.0)
    means = tally.means()
    # Ten seconds, kept in pieces of about one: the old must be gone two seconds later.
    np.testing.assert_allclose(means["change"].sums, 1.0)
    assert means["change"].least is not None
    np.testing.assert_allclose(means["change"].least, 1.0)
    assert WINDOW_S - 1.5 <= tally.seconds <= WINDOW_S + 1.5


def test_a_burst_fades_out_of_the_window_in_its_share() -> None:
    tally = Tally()
    fill(tally, 0.0, 5.0, 2.0)
    fill(tally, 5.0, 10.0, 4.0)
    assert tally.means()["change"].sums[0, 0, 0] == pytest.approx(3.0, abs=0.01)  # half and half, to one frame in 300


def test_the_least_value_is_the_least() -> None:
    tally = Tally()
    fill(tally, 0.0, 3.0, 5.0)
    fill(tally, 3.0, 3.2, 0.5)
    fill(tally, 3.2, 6.0, 8.0)
    least = tally.means()["change"].least
    assert least is not None
    np.testing.assert_allclose(least, 0.5)


def test_memory_does_not_grow_with_time() -> None:
    """After an hour as much is held as after a minute; one slab of some eleven more or less."""

    def held(seconds: float) -> int:
        tally = Tally()
        fill(tally, 0.0, seconds, 1.0, fps=4.0)
        return len(pickle.dumps(tally))

    assert held(3600.0) == pytest.approx(held(60.0), rel=0.12)
    assert held(60.0) < 1.2 * held(WINDOW_S + 1.0)


def test_a_long_silence_leaves_only_what_is_new() -> None:
    tally = Tally()
    fill(tally, 0.0, 5.0, 100.0)
    fill(tally, 60.0, 61.0, 1.0)
    np.testing.assert_allclose(tally.means()["change"].sums, 1.0)
    assert tally.seconds < 1.5


def test_drop_forgets_everything() -> None:
    tally = Tally()
    fill(tally, 0.0, 5.0, 100.0)
    tally.drop()
    assert tally.means() == {}
    assert tally.seconds == 0.0
