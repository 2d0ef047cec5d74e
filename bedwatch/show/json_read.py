"""A line of JSON back into a reading, strictly: what is missing, unknown or out of range is told in one go."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NoReturn, TypeVar

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.errors import UserError
from bedwatch.judge.types import (
    BedReading,
    Fault,
    FaultKind,
    HintWord,
    Move,
    Outcome,
    Reading,
    Signs,
    State,
    Verdict,
    ZoneReading,
)

Word = TypeVar("Word", bound=StrEnum)
_MOST = 12  # mistakes told of one line
_MISSING = object()


def parse_reading_line(line: str, where: str = "reading") -> Reading:
    """One line as `reading_line` writes it -> the reading. Keys beyond ours are passed over.

    A null among the numbers of a fault becomes NaN. Raises UserError with a line per mistake, each starting with
    `where` (file and line, say): not JSON, not a reading, a key missing, a word unknown, a number out of range.
    """
    try:
        raw = json.loads(line, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise UserError(f"{where}: found no JSON ({error}), expected one reading on one line") from None
    if isinstance(raw, dict) and "did" in raw and "state" not in raw:
        raise UserError(f"{where}: found a move that was made (did), expected a reading")
    reader = _Reader(where=where)
    reading = _reading(reader, reader.table(raw, "the line"))
    if reader.mistakes:
        told = reader.mistakes[:_MOST]
        over = len(reader.mistakes) - len(told)
        raise UserError(*told, *([f"{where}: and {over} more mistakes"] if over else []))
    return reading


def _refuse(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a JSON number")


def _reading(r: _Reader, raw: dict[str, Any]) -> Reading:
    zones = r.items(raw, "zones", "")
    faults = r.items(raw, "faults", "")
    problems = r.items(raw, "problems", "")
    move = raw.get("next", _MISSING)
    if move is _MISSING:
        r.wrong("next", "nothing", "an object or null")
        move = None
    return Reading(
        time_s=r.number(raw, "time_s", ""),
        state=r.word(raw, "state", "", State),
        bed=_bed(r, r.table(raw.get("bed", _MISSING), "bed")),
        zones=tuple(_zone(r, item, path) for path, item in zones),
        faults=tuple(_fault(r, item, path) for path, item in faults),
        next=None if move is None else _move(r, r.table(move, "next")),
        outcome=r.word(raw, "outcome", "", Outcome),
        problems=tuple(
            Problem(kind=r.word(item, "problem", path, ProblemKind), advice=r.text(item, "advice", path))
            for path, item in problems
        ),
    )


def _bed(r: _Reader, raw: dict[str, Any]) -> BedReading:
    return BedReading(
        evenness=r.maybe(raw, "evenness", "bed.", high=1.0),
        live=r.maybe(raw, "live", "bed.", high=1.0),
        speed_mm_s=r.maybe(raw, "speed_mm_s", "bed."),
        speed_error_mm_s=r.maybe(raw, "speed_error_mm_s", "bed."),
        verdict=r.maybe_word(raw, "verdict", "bed.", Verdict),
    )


def _zone(r: _Reader, raw: dict[str, Any], path: str) -> ZoneReading:
    return ZoneReading(
        zone=r.text(raw, "zone", path),
        live=r.maybe(raw, "live", path, high=1.0),
        speed_mm_s=r.maybe(raw, "speed_mm_s", path),
        speed_error_mm_s=r.maybe(raw, "speed_error_mm_s", path),
        hint=r.word(raw, "hint", path, HintWord),
        because=r.text(raw, "because", path),
        evenness=r.maybe(raw, "evenness", path, high=1.0) if "evenness" in raw else None,
        signs=None if raw.get("signs") is None else _signs(r, r.table(raw["signs"], path + "signs"), path + "signs."),
    )


def _signs(r: _Reader, raw: dict[str, Any], path: str) -> Signs:
    return Signs(
        live=r.maybe(raw, "live", path, high=1.0, needed=True) or 0.0,
        duty=r.maybe(raw, "duty", path, high=1.0),
        restless=r.maybe(raw, "restless", path, low=-math.inf),
        glides=r.maybe(raw, "glides", path, high=1.0),
        length_mm=r.maybe(raw, "length_mm", path) if "length_mm" in raw else None,
        speed_mm_s=r.maybe(raw, "speed_mm_s", path) if "speed_mm_s" in raw else None,
    )


def _fault(r: _Reader, raw: dict[str, Any], path: str) -> Fault:
    def figure(key: str, low: float) -> float:
        value = r.maybe(raw, key, path, low=low)
        return math.nan if value is None else value

    return Fault(
        kind=r.word(raw, "kind", path, FaultKind),
        zone=r.text(raw, "zone", path),
        x_mm=figure("x_mm", -math.inf),
        y_mm=figure("y_mm", -math.inf),
        area_mm2=figure("area_mm2", 0.0),
        since_s=figure("since_s", -math.inf),
    )


def _move(r: _Reader, raw: dict[str, Any]) -> Move:
    return Move(
        zone=r.text(raw, "zone", "next."),
        do=r.word(raw, "do", "next.", HintWord),
        amount=r.maybe(raw, "amount", "next.", high=1.0),
        because=r.text(raw, "because", "next."),
    )


@dataclass(slots=True)
class _Reader:
    """Takes values out and keeps what was wrong; after a mistake it goes on with a stand-in."""

    where: str
    mistakes: list[str] = field(default_factory=list)

    def wrong(self, key: str, found: object, expected: str) -> None:
        shown = "nothing" if found is _MISSING else found if isinstance(found, str) else _short(found)
        self.mistakes.append(f"{self.where}: {key}: found {shown}, expected {expected}")

    def table(self, value: object, key: str) -> dict[str, Any]:
        if isinstance(value, dict):
            return value
        self.wrong(key, _MISSING if value is _MISSING else _short(value), "an object")
        return _Stand()

    def items(self, raw: dict[str, Any], key: str, path: str) -> list[tuple[str, dict[str, Any]]]:
        value = raw.get(key, _MISSING)
        if isinstance(value, list):
            return [(f"{path}{key}[{i}].", self.table(item, f"{path}{key}[{i}]")) for i, item in enumerate(value)]
        self._tell(raw, path + key, value, "a list")
        return []

    def text(self, raw: dict[str, Any], key: str, path: str) -> str:
        value = raw.get(key, _MISSING)
        if isinstance(value, str):
            return value
        self._tell(raw, path + key, value, "text")
        return ""

    def word(self, raw: dict[str, Any], key: str, path: str, words: type[Word]) -> Word:
        return self.maybe_word(raw, key, path, words, needed=True) or next(iter(words))

    def maybe_word(
        self, raw: dict[str, Any], key: str, path: str, words: type[Word], *, needed: bool = False
    ) -> Word | None:
        value = raw.get(key, _MISSING)
        if value is None and not needed:
            return None
        if isinstance(value, str) and value in [word.value for word in words]:
            return words(value)
        self._tell(raw, path + key, value, "one of " + ", ".join(words) + ("" if needed else ", or null"))
        return None

    def number(self, raw: dict[str, Any], key: str, path: str) -> float:
        value = self.maybe(raw, key, path, low=-math.inf, needed=True)
        return 0.0 if value is None else value

    def maybe(
        self,
        raw: dict[str, Any],
        key: str,
        path: str,
        *,
        low: float = 0.0,
        high: float = math.inf,
        needed: bool = False,
    ) -> float | None:
        value = raw.get(key, _MISSING)
        if value is None and not needed:
            return None
        if isinstance(value, int | float) and not isinstance(value, bool):
            try:
                figure = float(value)
            except OverflowError:
                figure = math.inf
            if math.isfinite(figure) and low <= figure <= high:
                return figure
        expected = "a number" if low == -math.inf else "a number of at least 0"
        if high < math.inf:
            expected = f"a number from {low:g} to {high:g}"
        self._tell(raw, path + key, value, expected + ("" if needed else " or null"))
        return None

    def _tell(self, raw: dict[str, Any], key: str, value: object, expected: str) -> None:
        if not isinstance(raw, _Stand):  # the missing object has been told already
            self.wrong(key, value, expected)


class _Stand(dict[str, Any]):
    """Stands for an object that was not there."""


def _short(value: object) -> str:
    try:
        shown = json.dumps(value)
    except (ValueError, RecursionError):
        shown = type(value).__name__
    return shown if len(shown) <= 40 else shown[:37] + "..."
