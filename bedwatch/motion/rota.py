"""Which frames are looked at, and which pairs of them are compared: fast cameras give more than tell anything new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

LONG_LAG_S, SHORT_LAG_S = 0.13, 0.033
# Cameras of 24 frames a second and less have none to spare, and at 24 the rounds would keep step with the beat of mains light.
SLOW_STEP_S = 0.0405
_ANOTHER_STEP = 0.1
# A pair may be so much nearer or farther apart than its lag if that saves a frame: the time between them is measured anyway.
_ABOUT = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Rota:
    """What is done with frame after frame, in rounds of `every`, for a camera whose frames are step_s apart.

    serving: numbers in a round of the frames that are looked at; of fast cameras the survey's and one frame on either side of
    it, three in a row. long, short: about LONG_LAG_S and SHORT_LAG_S, in frames. longest: how far back a survey looks. pairs:
    by lag, in frames, how far apart its pairs are, and the number of the last frame of each, in rounds of its own: (apart,
    round, number). Pairs of one lag share no frame, so that their noise is independent.
    """

    step_s: float
    every: int
    serving: frozenset[int]
    long: int
    short: int
    longest: int
    pairs: dict[int, tuple[int, int, int]]

    def serves(self, number: int) -> bool:
        """Whether the frame of this number is looked at."""
        return number % self.every in self.serving

    def surveys(self, number: int) -> bool:
        """Whether the whole surface is surveyed with this frame."""
        return number % self.every == 0

    def ends_with(self, number: int) -> list[tuple[int, int]]:
        """The pairs that end with this frame: lag, and how many frames apart they are."""
        return [(lag, apart) for lag, (apart, every, at) in self.pairs.items() if number % every == at]

    def until_next(self, number: int) -> int:
        """How many frames after this one the next is looked at."""
        return next(more for more in range(1, self.every + 1) if self.serves(number + more))

    def holds(self, step_s: float) -> bool:
        """Whether it still fits frames that are so far apart."""
        return abs(step_s - self.step_s) <= _ANOTHER_STEP * self.step_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """Whose turn it is among the frames of a source. ahead: by how much a rota's numbers run ahead of the source's."""

    rota: Rota
    ahead: int

    def serves(self, frame_number: int) -> bool:
        """Whether the source's frame of this number will be looked at."""
        return self.rota.serves(frame_number + self.ahead)


def rota_for(step_s: float, lags: Sequence[int]) -> Rota:
    """step_s: usual time from frame to frame, above 0. lags: in frames; all frames of a survey and of a pair of each serve."""
    long, short = (max(1, round(lag_s / step_s)) for lag_s in (LONG_LAG_S, SHORT_LAG_S))
    every = long + 1
    if step_s >= SLOW_STEP_S:
        return Rota(
            step_s=step_s,
            every=every,
            serving=frozenset(range(every)),
            long=long,
            short=short,
            longest=max(lags),
            pairs={lag: (lag, lag + 1, 0) for lag in lags},
        )
    # The frame `long` ago is the one after the last survey.
    serving = frozenset(number % every for number in (-1, 0, 1, -short))
    longest = next((apart for apart in _about(max(lags)) if -apart % every in serving), max(lags))
    serving |= {-longest % every}
    apart_by: dict[int, int] = {}
    for lag in lags:
        choices = [longest] if lag == max(lags) else _about(lag)
        apart = next((apart for apart in choices if _places(apart, every, serving)), lag)
        if not _places(apart, every, serving):
            serving |= {-lag % every}
        apart_by[lag] = apart
    return Rota(
        step_s=step_s,
        every=every,
        serving=serving,
        long=long,
        short=short,
        longest=longest,
        pairs={lag: (apart, *_end(apart, every, serving)) for lag, apart in apart_by.items()},
    )


def _about(lag: int) -> list[int]:
    """The lag and what is near it, nearest first."""
    most = int(_ABOUT * lag)
    return sorted(range(lag - most, lag + most + 1), key=lambda apart: (abs(apart - lag), -apart))


def _end(apart: int, every: int, serving: frozenset[int]) -> tuple[int, int]:
    """A place in the round whose frame and the one so far before it serve, best not where the survey is made; once in so many
    rounds that no frame comes twice."""
    return (apart // every + 1) * every, _places(apart, every, serving)[0]


def _places(apart: int, every: int, serving: frozenset[int]) -> list[int]:
    return [at for at in sorted(serving, reverse=True) if (at - apart) % every in serving]
