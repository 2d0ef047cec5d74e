"""Reading a log back: what was seen and done, run after run."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bedwatch.bed import Bed
from bedwatch.errors import UserError
from bedwatch.judge.types import Did, Reading, State
from bedwatch.keep.lines import VERSION, Began, Entry, began_of, clock, parse_did
from bedwatch.show.json_read import parse_reading_line


@dataclass(frozen=True, slots=True, kw_only=True)
class LogBook:
    """What a log holds. notes: a line per damaged line of the file, which was passed over."""

    entries: tuple[Entry, ...]
    notes: tuple[str, ...]

    @property
    def past(self) -> tuple[Reading | Did, ...]:
        """What was seen and done, in order."""
        return tuple(entry.what for entry in self.entries)


def read_log(path: Path | str, bed: Bed, *, looks_only: bool = False) -> LogBook:
    """The log of a bed. looks_only: of the readings between two moves or in one run only the last of the state `reading`.

    A line that is no JSON, or no reading, is damage: passed over and told. A line that tells of a move that cannot have been
    made, or of another bed, is a mistake: going on would build on what did not happen. Raises UserError for these, and
    for a file that is missing, cannot be read, or is no log.
    """
    try:
        lines = Path(path).read_bytes().split(b"\n")
    except OSError as error:
        raise UserError(f"{path}: cannot be read ({error.strerror}); expected a log that watch --log wrote") from error
    notes: list[str] = []
    if _cut_off(lines[-1]):
        lines.pop()  # for who opens the log to write to it
    entries = list(_entries(_objects(lines, str(path), notes), bed, str(path), notes, looks_only))
    if not entries and len(notes) > 0:
        raise UserError(*notes[:3], f"{path}: found no line of a log, expected readings as watch --log writes them")
    return LogBook(entries=tuple(entries), notes=tuple(notes))


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    text: str
    raw: dict[str, Any]


def _cut_off(rest: bytes) -> bool:
    """Whether what stands after the last line end is the beginning of a line."""
    try:
        return rest.startswith(b"{") and not json.loads(rest)
    except (ValueError, RecursionError):
        return True


def _objects(lines: Iterable[bytes], path: str, notes: list[str]) -> Iterator[_Line]:
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            text = line.decode("utf-8-sig")
            raw = json.loads(text)
        except (ValueError, RecursionError):
            raw = None
        if isinstance(raw, dict):
            yield _Line(number, text, raw)
        else:
            notes.append(
                f"{path}:{number}: found a damaged line ({len(line)} bytes that are no JSON object); passed over"
            )


def _entries(lines: Iterable[_Line], bed: Bed, path: str, notes: list[str], looks_only: bool) -> Iterator[Entry]:
    names = [zone.name for zone in bed.zones]
    last: _Line | None = None
    first: Began | None = None  # of the run of `last`, whose first line may not be the one kept
    before_s = float("-inf")
    for line in lines:
        where = f"{path}:{line.number}"
        began = began_of(line.raw)
        _same_bed(began, bed, where)
        if "note" in line.raw and not {"did", "state"} & line.raw.keys():
            continue  # a remark, for people
        if "did" in line.raw:
            if last is not None:
                yield from _reading(last, bed, path, notes, first)
                last, first = None, None
            did = parse_did(line.raw["did"], where, names)
            yield Entry(number=line.number, what=did, at=clock(line.raw), began=began)
            continue
        if not looks_only:
            yield from _reading(line, bed, path, notes, began)
            continue
        time_s = line.raw.get("time_s")
        time_s = float(time_s) if isinstance(time_s, int | float) else before_s
        if last is not None and (began is not None or time_s < before_s):
            yield from _reading(last, bed, path, notes, first)
            last, first = None, None
        before_s = time_s
        first = began or first
        if line.raw.get("state") == State.READING.value:
            last = line
    if last is not None:
        yield from _reading(last, bed, path, notes, first)


def _reading(line: _Line, bed: Bed, path: str, notes: list[str], began: Began | None) -> Iterator[Entry]:
    where = f"{path}:{line.number}"
    try:
        reading = parse_reading_line(line.text, where)
    except UserError as damage:
        notes.append(f"{damage.lines[0]}; the line was passed over")
        return
    zones, names = [zone.zone for zone in reading.zones], [zone.name for zone in bed.zones]
    if zones != names:
        raise UserError(
            f"{where}: found a reading of zones {', '.join(zones) or 'without name'}, expected {', '.join(names)} as in the bed "
            "file; this log is another bed's: choose another name for the log"
        )
    yield Entry(number=line.number, what=reading, at=clock(line.raw), began=began)


def _same_bed(began: Began | None, bed: Bed, where: str) -> None:
    if began is None:
        return
    if began.version > VERSION:
        raise UserError(
            f"{where}: found a log of version {began.version}, expected {VERSION} or less; "
            "a newer bedwatch wrote it: use that one"
        )
    if began.bed != bed.name:
        raise UserError(
            f'{where}: found a log of the bed "{began.bed}", expected "{bed.name}"; choose another name for this bed\'s log'
        )
