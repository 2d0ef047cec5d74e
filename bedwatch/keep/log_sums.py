"""What a log comes to: how long what was seen, what was done, and what the bed was like before and after."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from bedwatch.judge.steady import Steady, mean_of
from bedwatch.judge.types import Did, FaultKind, ProblemKind, Reading, State
from bedwatch.keep.lines import Entry

MOST_STEP_S = 3.0  # between readings farther apart nothing was seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A move that was made. number: how many readings stood before it; at: by the clock on the wall, None when not told."""

    number: int
    did: Did
    at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSums:
    """One log, or several one after the other.

    runs: how often watching was begun. first, last: by the clock on the wall, None when no line tells. seconds: source time
    by state. begin: the bed of the first steady part, end: of the last; None when there is none. faults, problems: in how many
    readings each was told.
    """

    runs: int
    readings: int
    first: datetime | None
    last: datetime | None
    seconds: dict[State, float]
    moves: tuple[Move, ...]
    begin: Steady | None
    end: Steady | None
    faults: dict[tuple[FaultKind, str], int]
    problems: dict[ProblemKind, int]


def sums_of(entries: Sequence[Entry]) -> LogSums:
    """The sums over some entries in order."""
    readings = [entry.what for entry in entries if isinstance(entry.what, Reading)]
    clocks = [entry.at for entry in entries if entry.at is not None]
    seconds = dict.fromkeys(State, 0.0)
    runs = 0
    before: Reading | None = None
    for one in readings:
        step_s = one.time_s - before.time_s if before is not None else -1.0
        if step_s < 0:
            runs += 1
            step_s = min(one.time_s, MOST_STEP_S)
        seconds[one.state] += min(step_s, MOST_STEP_S)
        before = one
    return LogSums(
        runs=runs,
        readings=len(readings),
        first=min(clocks, default=None),
        last=max(clocks, default=None),
        seconds={state: spent for state, spent in seconds.items() if spent > 0},
        moves=tuple(_moves(entries)),
        begin=_first_steady(readings),
        end=mean_of(readings),
        faults=dict(Counter((fault.kind, fault.zone) for one in readings for fault in one.faults)),
        problems=dict(Counter(problem.kind for one in readings for problem in one.problems)),
    )


def _moves(entries: Sequence[Entry]) -> Iterator[Move]:
    number = 0
    for entry in entries:
        if isinstance(entry.what, Did):
            yield Move(number=number, did=entry.what, at=entry.at)
        else:
            number += 1


def _first_steady(readings: Sequence[Reading]) -> Steady | None:
    """Of the first readings that follow each other without a break."""
    begin: list[Reading] = []
    for one in readings:
        if one.state is State.READING and (not begin or 0 <= one.time_s - begin[-1].time_s <= MOST_STEP_S):
            begin.append(one)
        elif begin:
            break
        if len(begin) > 1 and begin[-1].time_s - begin[0].time_s > MOST_STEP_S:
            break
    return mean_of(begin)


__all__ = ["LogSums", "Move", "sums_of"]
