"""What logs come to, for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TextIO

from bedwatch.judge.steady import Steady
from bedwatch.judge.types import Did, FaultKind, ProblemKind, State
from bedwatch.show.setting_text import SettingPage
from bedwatch.show.words import (
    CANT_TELL,
    FAULTS,
    PROBLEMS,
    STATES,
    VERDICTS,
    did_words,
    share,
    speed_with_unit,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogWords:
    """The sums of a log as they are told. moves: each with the clock on the wall, None when not told."""

    name: str
    runs: int
    readings: int
    first: datetime | None
    last: datetime | None
    seconds: dict[State, float]
    moves: Sequence[tuple[datetime | None, Did]]
    begin: Steady | None
    end: Steady | None
    faults: dict[tuple[FaultKind, str], int]
    problems: dict[ProblemKind, int]


def print_log(log: LogWords, out: TextIO) -> None:
    """A heading, the times, the moves, the bed before and after."""
    page = SettingPage(out)
    page.heading(log.name)
    if not log.readings:
        page.line("no reading")
    when = "" if log.first is None or log.last is None else f", {_clock(log.first)} to {_clock(log.last)}"
    looks = f"{log.runs} look{'' if log.runs == 1 else 's'}"
    page.line(f"{log.readings} readings of {looks}{when}")
    if log.seconds:
        spent = ", ".join(f"{STATES[state]} {_long(seconds)}" for state, seconds in log.seconds.items())
        page.line(f"seen: {spent}")
    for word, steady in (("first", log.begin), ("last", log.end)):
        if steady is not None:
            page.line(f"{word}: {_bed_words(steady)}")
    for at, did in log.moves:
        page.line(f"done{'' if at is None else ' ' + _clock(at)}: {did_words(did)}")
    if log.begin is not None and log.end is not None:
        page.table(
            ("zone", "live first", "last", "speed first", "last"),
            [
                (
                    one.zone,
                    share(one.live.value) or CANT_TELL,
                    share(other.live.value) or CANT_TELL,
                    speed_with_unit(one.speed_mm_s.value, one.speed_mm_s.error),
                    speed_with_unit(other.speed_mm_s.value, other.speed_mm_s.error),
                )
                for one, other in zip(log.begin.zones, log.end.zones, strict=True)
            ],
            words=(0,),
        )
    for (kind, zone), count in log.faults.items():
        page.line(f"fault: {FAULTS[kind]} in zone {zone}, in {count} of {log.readings} readings")
    for problem, count in log.problems.items():
        page.line(f"camera: {PROBLEMS[problem]}, in {count} of {log.readings} readings")


def _bed_words(steady: Steady) -> str:
    verdict = steady.last.bed.verdict
    even = steady.evenness.value
    return (
        f"{'no verdict' if verdict is None else VERDICTS[verdict]}, live {share(steady.live.value) or CANT_TELL}, "
        f"{speed_with_unit(steady.speed_mm_s.value, steady.speed_mm_s.error)}, "
        f"evenness {CANT_TELL if even is None else f'{even:.2f}'}"
    )


def _clock(at: datetime) -> str:
    return at.astimezone().strftime("%Y-%m-%d %H:%M:%S")


def _long(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


__all__ = ["LogWords", "print_log"]
