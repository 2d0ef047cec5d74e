"""Logs as one table for a spreadsheet: a row a reading, a row a move."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from io import StringIO

from bedwatch.bed import Bed
from bedwatch.judge.types import Did, Reading, ZoneReading
from bedwatch.keep.lines import Entry

_HEAD = (
    *(
        "log",
        "line",
        "at",
        "time_s",
        "state",
        "verdict",
        "live",
        "speed_mm_s",
        "speed_error_mm_s",
        "evenness",
        "outcome",
    ),
    *("next_zone", "next_do", "next_amount", "did_zone", "did_do", "did_amount", "faults", "problems"),
)
_OF_ZONE = ("live", "speed_mm_s", "speed_error_mm_s", "evenness", "hint")


def log_csv(logs: Iterable[tuple[str, Sequence[Entry]]], bed: Bed) -> str:
    """The table (RFC 4180), named logs one after the other. Empty fields: not known, or of the other kind of row."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    names = [zone.name for zone in bed.zones]
    writer.writerow([*_HEAD, *(f"zone_{name}_{key}" for name in names for key in _OF_ZONE)])
    for name, entries in logs:
        for entry in entries:
            at = "" if entry.at is None else entry.at.isoformat(timespec="milliseconds")
            row = _did(entry.what) if isinstance(entry.what, Did) else _reading(entry.what)
            writer.writerow([_safe(name), entry.number, at, *row, *_zones(entry.what, len(names))])
    return out.getvalue()


def _reading(one: Reading) -> list[object]:
    bed, move = one.bed, one.next
    return [
        _number(one.time_s),
        one.state.value,
        "" if bed.verdict is None else bed.verdict.value,
        *map(_number, (bed.live, bed.speed_mm_s, bed.speed_error_mm_s, bed.evenness)),
        one.outcome.value,
        *(("", "", "") if move is None else (_safe(move.zone), move.do.value, _number(move.amount))),
        *("", "", ""),
        _safe("; ".join(f"{fault.kind.value} in {fault.zone}" for fault in one.faults)),
        "; ".join(problem.kind.value for problem in one.problems),
    ]


def _did(did: Did) -> list[object]:
    return [*[""] * 11, _safe(did.zone or ""), did.do.value, _number(did.amount), "", ""]


def _zones(what: Reading | Did, count: int) -> list[object]:
    if isinstance(what, Did):
        return [""] * (count * len(_OF_ZONE))
    return [field for zone in what.zones for field in _zone(zone)]


def _zone(zone: ZoneReading) -> list[object]:
    figures = (zone.live, zone.speed_mm_s, zone.speed_error_mm_s, zone.evenness)
    return [*map(_number, figures), zone.hint.value]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}" if abs(value) >= 1e5 else f"{round(value, 4):.10g}"


def _safe(text: str) -> str:
    """A spreadsheet takes a text that begins like this for a formula and runs it."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


__all__ = ["log_csv"]
