"""Which frames serve: every pair that is asked for exists, no frame comes twice, and slow cameras lose none."""

from __future__ import annotations

import pytest

from bedwatch.motion.rota import rota_for

LAGS = (1, 2, 4, 8)


@pytest.mark.parametrize("fps", [25.0, 27.0, 29.97, 30.0, 36.0, 48.0, 50.0, 60.0, 120.0])
def test_all_that_is_compared_serves(fps: float) -> None:
    rota = rota_for(1 / fps, LAGS)
    served = [number for number in range(600) if rota.serves(number)]
    assert len(served) <= 0.75 * 600
    for number in range(16, 600):
        ends = rota.ends_with(number)
        assert all(abs(apart / lag - 1) <= 0.15 for lag, apart in ends)
        back = [apart for _, apart in ends]
        if rota.surveys(number):
            back += [rota.long, rota.short, rota.longest, 1, -1]  # three in a row, for what rolls from frame to frame
        assert all(rota.serves(number - apart) for apart in (0, *back) if back)
        assert all(rota.until_next(number) == 1 or not rota.serves(number + 1) for _ in back)
    for lag in LAGS:
        of_lag = [(number, apart) for number in range(600) for one, apart in rota.ends_with(number) if one == lag]
        assert len(of_lag) >= 600 // (4 * max(rota.every, lag))
        frames = [frame for number, apart in of_lag for frame in (number, number - apart)]
        assert len(set(frames)) == len(frames)


@pytest.mark.parametrize("fps", [5.0, 8.0, 12.0, 15.0, 20.0, 24.0])
def test_a_slow_camera_has_no_frame_to_spare(fps: float) -> None:
    rota = rota_for(1 / fps, LAGS)
    assert all(rota.serves(number) for number in range(100))
    assert rota.long >= 1
    assert rota.short >= 1


def test_it_holds_while_the_rate_is_much_the_same() -> None:
    rota = rota_for(1 / 30, LAGS)
    assert rota.holds(1 / 29)
    assert not rota.holds(1 / 25)
