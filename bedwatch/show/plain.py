"""One short line per change, where no moving picture can be drawn: a pipe, a file, a dumb terminal."""

from __future__ import annotations

import os
from collections.abc import Mapping
from types import TracebackType
from typing import Self, TextIO

from bedwatch.bed import Valves
from bedwatch.judge.types import HintWord, Move, Outcome, Reading, State, ZoneReading
from bedwatch.show.look import Look, look_for
from bedwatch.show.next_move import why_no_picture
from bedwatch.show.parts import SHORT_CAUTION
from bedwatch.show.why import why_page
from bedwatch.show.words import (
    ABOUT,
    ABOUT_KEY,
    CANT_TELL,
    FAULTS,
    HINTS,
    NO_MARKS,
    OUTCOMES,
    PROBLEMS,
    STATES,
    VERDICTS,
    known,
    seconds,
    share,
    speed_with_unit,
    travel,
    turn_words,
    valve,
)

_LOOK = Look()


def plain_line(
    reading: Reading, previous: Reading | None = None, look: Look = _LOOK, valves: Valves = NO_MARKS
) -> str | None:
    """The reading in one line without its line end, or None when nothing in it changed since `previous`.

    Time, state, verdict, the hints that are not "hold", faults, the next move, problems; for a bed that is not
    found what would help. Figures alone do not count as a change.
    """
    if previous is not None and _gist(reading) == _gist(previous):
        return None
    pieces = [f"{seconds(reading.time_s)}  {_state(reading)}"]
    if hints := _hints(reading):
        pieces.append(hints)
    if reading.faults:
        pieces.append(", ".join(f"{FAULTS[fault.kind]} in zone {fault.zone}" for fault in reading.faults))
    if reading.state is State.READING:
        pieces.append(f"NEXT {_move(reading.next, valves)}" if reading.next else OUTCOMES[reading.outcome])
    if reading.problems:
        pieces.append(", ".join(PROBLEMS[problem.kind] for problem in reading.problems))
    if (problem := why_no_picture(reading)) and problem.advice:
        pieces.append(problem.advice)
    return look.text(" | ".join(pieces))


def _state(reading: Reading) -> str:
    words = STATES[reading.state]
    if reading.state is not State.READING:
        return words
    bed = reading.bed
    verdict = VERDICTS[bed.verdict] if bed.verdict else CANT_TELL
    live = share(bed.live)
    even = known(bed.evenness)
    figures = [
        f"live {live or CANT_TELL}",
        speed_with_unit(bed.speed_mm_s, bed.speed_error_mm_s)
        if known(bed.speed_mm_s) is not None
        else f"speed {CANT_TELL}",
        f"evenness {CANT_TELL if even is None else f'{even:.2f}'}",
    ]
    return f"{words}: {verdict}, {', '.join(figures)}"


def _hints(reading: Reading) -> str:
    if reading.state is not State.READING:  # every hint is "wait", which the state says
        return ""
    groups: dict[HintWord, list[ZoneReading]] = {}
    for zone in reading.zones:
        if zone.hint is not HintWord.HOLD:
            groups.setdefault(zone.hint, []).append(zone)
    told = [
        f"{'zone' if len(zones) == 1 else 'zones'} {' '.join(zone.zone for zone in zones)} {HINTS[hint]}"
        for hint, zones in groups.items()
    ]
    if any(zone.hint is HintWord.HOLD for zone in reading.zones):
        told.append("others hold" if told else "all zones hold")
    return ", ".join(told)


def _move(move: Move, valves: Valves) -> str:
    whole = {HintWord.STIR: "the whole bed", HintWord.CHECK_PLATE: "the whole bed"}
    where = whole[move.do] if move.zone == "all" and move.do in whole else valve(move.zone, valves)
    far, way = travel(move.amount), turn_words(move.do, move.zone, valves)
    return f"{where} {HINTS[move.do]}" + (f", {far}" if far else "") + way


def _gist(reading: Reading) -> tuple[object, ...]:
    move = reading.next
    return (
        reading.state,
        reading.bed.verdict,
        tuple((zone.zone, zone.hint) for zone in reading.zones),
        frozenset((fault.kind, fault.zone) for fault in reading.faults),
        (move.zone, move.do, travel(move.amount)) if move else None,
        reading.outcome if move is None else Outcome.MOVING,
        frozenset(problem.kind for problem in reading.problems),
    )


class PlainView:
    """Writes plain lines to a stream as readings come, each at once; the last reading closes it.

    valves: as the bed file tells them. reasons: say under every line why. A stream that was closed at its other end
    raises BrokenPipeError, as any writing would.
    """

    def __init__(
        self,
        stream: TextIO,
        environ: Mapping[str, str] | None = None,
        valves: Valves = NO_MARKS,
        *,
        reasons: bool = False,
    ) -> None:
        self._stream = stream
        self._look = look_for(stream, os.environ if environ is None else environ)
        self._valves = valves
        self._reasons = reasons
        self._told: Reading | None = None
        self._last: Reading | None = None
        self._about_told = False

    def __enter__(self) -> Self:
        self._write(SHORT_CAUTION)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        wanted = kind is None or issubclass(kind, KeyboardInterrupt)
        if wanted and self._last is not None and self._last is not self._told:
            self._write(plain_line(self._last, look=self._look, valves=self._valves) or "")
            if self._reasons:
                self._why(self._last)

    def show(self, reading: Reading) -> None:
        """A new reading."""
        line = plain_line(reading, self._told, self._look, self._valves)
        self._last = reading
        if line is not None:
            self._told = reading
            self._write(line)
            if self._reasons:
                self._why(reading)
            about = speed_with_unit(reading.bed.speed_mm_s, reading.bed.speed_error_mm_s).startswith(ABOUT)
            if about and reading.state is State.READING and not self._about_told:
                self._about_told = True
                self._write(f"({ABOUT_KEY})")

    def note(self, words: str) -> None:
        """Something the program itself has to say."""
        self._write(words)

    def _why(self, reading: Reading) -> None:
        if reading.state is not State.READING:
            return
        for line in why_page(reading, self._look, self._valves).plain.splitlines():
            if line.strip():
                self._write(f"    {line}")

    def _write(self, words: str) -> None:
        print(self._look.text(words), file=self._stream, flush=True)
