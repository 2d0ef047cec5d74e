"""The map of what every place did, second by second."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.motion.ground import Ground, GroundLog

STEP_S = 0.2


def fed(log: GroundLog, start_s: float, stop_s: float, quick: float = 1.0, contrast: float = 0.0) -> None:
    one = np.ones((12, 12), np.float32)
    for time_s in np.arange(start_s, stop_s, STEP_S):
        log.add(float(time_s), 4 * one, quick * one, 6 * one, np.full((24, 24), contrast, np.float32))


def seen(log: GroundLog) -> Ground:
    nothing = np.zeros((6, 6))
    ground = log.view(0.1, nothing > 0, nothing > 0, nothing, np.full((24, 24), 100.0, np.float32))
    assert ground is not None
    return ground


@pytest.fixture
def log() -> GroundLog:
    return GroundLog(np.ones((24, 24), np.bool_), 2.5, (12, 12), (11.5, 11.5))


def test_growth_is_what_changes_after_the_first_frame(log: GroundLog) -> None:
    fed(log, 0.0, 5.0)
    np.testing.assert_allclose(seen(log).growth, 5.0, rtol=1e-5)


def test_noise_alone_does_not_grow(log: GroundLog) -> None:
    fed(log, 0.0, 5.0, quick=6.0)
    np.testing.assert_allclose(seen(log).growth, 0.0, atol=1e-5)


def test_a_hand_costs_the_second_in_which_it_came_and_no_more(log: GroundLog) -> None:
    fed(log, 0.0, 10.0)
    for time_s in (10.0, 11.0, 12.9):
        log.pause(time_s)
    fed(log, 13.0, 16.0)
    ground = seen(log)
    assert ground.start_s[0] == 0.0
    assert not ((ground.end_s > 9.0) & (ground.end_s < 13.0)).any()
    # Nine seconds before and three after it, to a slab; of the last five seen, two lie before it.
    assert ground.seen_s == pytest.approx(12.0, abs=1.0)
    assert ground.start_s[ground.recent(5.0)].min() == pytest.approx(7.0, abs=1.1)


def test_what_was_hidden_for_long_is_begun_anew(log: GroundLog) -> None:
    fed(log, 0.0, 10.0)
    log.pause(10.0)
    fed(log, 25.0, 27.0)
    assert seen(log).start_s[0] == 25.0


def test_shade_is_the_mean_contrast_of_each_second(log: GroundLog) -> None:
    fed(log, 0.0, 2.0, contrast=3.0)
    fed(log, 2.0, 4.0, contrast=-1.0)
    shade = seen(log).shade
    assert shade.shape == (len(seen(log).start_s), 12, 12)
    np.testing.assert_allclose(shade[0], 3.0, rtol=1e-5)
    np.testing.assert_allclose(shade[-1], -1.0, rtol=1e-5)
