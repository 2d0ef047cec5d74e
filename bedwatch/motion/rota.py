"""Which frames are looked at, and which pairs of them are compared: fast cameras give more than tell anything new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

LONG_LAG_S, SHORT_LAG_S = 0.13, 0.033
# Cameras of 24 frames a second and less have none to spare, and at 24 the rounds would keep step with the beat of mains light.
SLOW_STEP_S = 0.0405
_ANOTHER_STEP = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Rota:
    """What is done with frame after frame, in rounds of `every`, for a camera whose frames are step_s apart.

    serving: numbers in a round of the frames that are looked at. long, short: about LONG_LAG_S and SHORT_LAG_S, in frames. ends:
    by lag, in frames, the number of the last frame of each pair that is compared, in rounds of its own: (round, number). Pairs of
    one lag share no frame, so that their noise is independent.
    """

    step_s: float
    every: int
    serving: frozenset[int]
    long: int
    short: int
    ends: dict[int, tuple[int, int]]

    def serves(self, number: int) -> bool:
        """Whether the frame of this number is looked at."""
        return number % self.every in self.serving

    def surveys(self, number: int) -> bool:
        """Whether the whole surface is surveyed with this frame."""
        return number % self.every == 0

    def ends_with(self, number: int) -> list[int]:
        """Lags of the pairs that end with this frame."""
        return [lag for lag, (every, at) in self.ends.items() if number % every == at]

    def holds(self, step_s: float) -> bool:
        """Whether it still fits frames that are so far apart."""
        return abs(step_s - self.step_s) <= _ANOTHER_STEP * self.step_s


def rota_for(step_s: float, lags: Sequence[int]) -> Rota:
    """step_s: usual time from frame to frame, above 0. lags: in frames; all frames of a survey and of a pair of each serve."""
    long, short = (max(1, round(lag_s / step_s)) for lag_s in (LONG_LAG_S, SHORT_LAG_S))
    every = long + 1
    if step_s >= SLOW_STEP_S:
        ends = {lag: (lag + 1, 0) for lag in lags}
        serving = frozenset(range(every))
    else:
        serving = frozenset(-back % every for back in (0, short, long, max(lags)))
        for lag in lags:
            if not _places(lag, every, serving):
                serving |= {-lag % every}
        ends = {lag: _end(lag, every, serving) for lag in lags}
    return Rota(step_s=step_s, every=every, serving=serving, long=long, short=short, ends=ends)


def _end(lag: int, every: int, serving: frozenset[int]) -> tuple[int, int]:
    """A place in the round whose frame and the one `lag` before serve, best not where the survey is made; once in so many rounds
    that no frame comes twice."""
    return (lag // every + 1) * every, _places(lag, every, serving)[0]


def _places(lag: int, every: int, serving: frozenset[int]) -> list[int]:
    return [at for at in sorted(serving, reverse=True) if (at - lag) % every in serving]
