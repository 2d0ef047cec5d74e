"""A setting's file, read strictly: every mistake in one go, with its line."""

from __future__ import annotations

import math
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Literal, TypeVar

from bedwatch.bed.strict import Document, Table
from bedwatch.bed.toml_text import FileError, parse, printable, read_text, shown
from bedwatch.judge.setting import BedSetting, Circumstances, Measured, Setting, ZoneSetting
from bedwatch.judge.types import Fault, FaultKind, HintWord, Problem, ProblemKind, Verdict
from bedwatch.keep.setting_text import FORMAT

Word = TypeVar("Word", bound=StrEnum)
LONGEST_WORDS = 400
_MOST_MM = 100_000.0
_FASTEST_MM_S = 100_000.0
_MOST_RESTLESS = 100.0


def read_setting(path: Path | str) -> Setting:
    """Reads a setting's file. Raises FileError, a UserError, with one line for each mistake.

    A file of a later format is refused in one line, since its figures may mean something else.
    """
    _check_format(Path(path))
    document = Document.read(path)
    top = document.top
    top.number("format", FORMAT, FORMAT)
    name = top.text("name")
    saved = _time(top)
    version = top.text("bedwatch", longest=40)
    source = top.text("source", longest=LONGEST_WORDS, required=False) or ""
    seen_s = top.number("seen_s", 0.0, 1e7)
    picture = top.text("picture", longest=120, required=False)
    if picture is not None and ("/" in picture or "\\" in picture):
        top.mistake("picture", "found a path, expected the name of a file in the same folder")
    bed = _bed(top.table("bed"))
    zones = tuple(_zone(table) for table in top.tables("zones") or ())
    names = [zone.zone for zone in zones]
    if len(set(names)) < len(names):
        top.mistake("zones", "found a zone twice, expected each zone once")
    around = _around(top.table("around", required=False))
    faults = tuple(fault for table in _some(top, "faults") if (fault := _fault(table)) is not None)
    problems = tuple(problem for table in _some(top, "problems") if (problem := _problem(table)) is not None)
    aim = top.value("aim", "a table [aim]", required=False)
    if aim is not None and not isinstance(aim, dict):
        top.mistake("aim", "found no table, expected one [aim]")
    document.finish()
    if name is None or saved is None or version is None or seen_s is None or bed is None:
        raise AssertionError("a setting was read in part without a mistake noted")
    return Setting(
        name=name,
        saved=saved,
        version=version,
        source=source,
        seen_s=seen_s,
        bed=bed,
        zones=zones,
        around=around,
        faults=faults,
        problems=problems,
        aim=aim,
        picture=picture,
    )


def _check_format(path: Path) -> None:
    name = printable(str(path), 400)
    top = parse(read_text(path), name)
    form = top.get("format")
    if not {"format", "saved", "bedwatch"} & set(top):
        raise FileError(f"{name}: is no saved setting; expected a file that settings save, or V on the screen, wrote")
    if isinstance(form, int) and not isinstance(form, bool) and form > FORMAT:
        raise FileError(
            f"{name}: format: found {shown(form)}, expected {FORMAT}; a later bedwatch wrote it, read it with that"
        )


def _time(top: Table) -> datetime | None:
    expected = "a date and time with its offset, such as 2026-01-31T14:05:00+01:00"
    value = top.value("saved", expected)
    if value is None:
        return None
    if not isinstance(value, datetime) or value.tzinfo is None:
        top.mistake("saved", f"found {value if isinstance(value, datetime) else 'no such thing'}, expected {expected}")
        return None
    return value


def _bed(table: Table | None) -> BedSetting | None:
    if table is None:
        return None
    name = table.text("name")
    shape = table.choice("shape", ("round", "rectangular"))
    width, length = table.number("width_mm", 1.0, _MOST_MM), table.number("length_mm", 1.0, _MOST_MM)
    verdict = _word(table, "verdict", Verdict)
    live, speed, evenness = _figures(table)
    if name is None or shape is None or width is None or length is None:
        return None
    kind: Literal["round", "rectangular"] = "round" if shape == "round" else "rectangular"
    return BedSetting(
        name=name,
        shape=kind,
        width_mm=width,
        length_mm=length,
        live=live,
        speed_mm_s=speed,
        evenness=evenness,
        verdict=verdict,
    )


def _zone(table: Table) -> ZoneSetting:
    name = table.text("zone", longest=40)
    live, speed, evenness = _figures(table)
    restless = table.number("restless", -_MOST_RESTLESS, _MOST_RESTLESS, required=False)
    repeat = table.number("restless_repeat", 0.0, _MOST_RESTLESS, required=False)
    length = table.number("length_mm", 0.0, _MOST_MM, required=False)
    length_repeat = table.number("length_repeat_mm", 0.0, _MOST_MM, required=False)
    return ZoneSetting(
        zone=name or "?",
        live=live,
        speed_mm_s=speed,
        evenness=evenness,
        restless=Measured(value=restless, error=repeat, repeat=repeat),
        length_mm=Measured(value=length, error=length_repeat, repeat=length_repeat),
        hint=_word(table, "hint", HintWord) or HintWord.WAIT,
        because=table.text("because", longest=2000, required=False) or "",
        valve=table.text("valve", longest=LONGEST_WORDS, required=False),
    )


def _figures(table: Table) -> tuple[Measured, Measured, Measured]:
    def number(key: str, most: float) -> float | None:
        return table.number(key, 0.0, most, required=False)

    live_repeat = number("live_repeat", 1.0)
    live = Measured(value=number("live", 1.0), error=live_repeat, repeat=live_repeat)
    speed = Measured(
        value=number("speed_mm_s", _FASTEST_MM_S),
        error=number("speed_error_mm_s", _FASTEST_MM_S),
        repeat=number("speed_repeat_mm_s", _FASTEST_MM_S),
    )
    if speed.value is not None and speed.error is None:
        table.mistake("speed_error_mm_s", "found a speed without its error, expected both or neither")
    even_repeat = number("evenness_repeat", 1.0)
    return live, speed, Measured(value=number("evenness", 1.0), error=even_repeat, repeat=even_repeat)


def _around(table: Table | None) -> Circumstances:
    if table is None:
        return Circumstances()
    humidity = table.number("humidity_percent", 0.0, 100.0, required=False)
    return Circumstances(
        supply=table.text("supply", longest=LONGEST_WORDS, required=False),
        powder=table.text("powder", longest=LONGEST_WORDS, required=False),
        note=table.text("note", longest=LONGEST_WORDS, required=False),
        level_mm=table.number("level_mm", 0.0, _MOST_MM, required=False),
        level_error_mm=table.number("level_error_mm", 0.0, _MOST_MM, required=False),
        humidity=None if humidity is None else humidity / 100,
    )


def _fault(table: Table) -> Fault | None:
    kind, zone = _word(table, "kind", FaultKind, required=True), table.text("zone", longest=40)

    def figure(key: str) -> float:
        value = table.number(key, -_MOST_MM * _MOST_MM, _MOST_MM * _MOST_MM, required=False)
        return math.nan if value is None else value

    x, y, area, since = (figure(key) for key in ("x_mm", "y_mm", "area_mm2", "since_s"))
    if kind is None or zone is None:
        return None
    return Fault(kind=kind, zone=zone, x_mm=x, y_mm=y, area_mm2=area, since_s=since)


def _problem(table: Table) -> Problem | None:
    kind, advice = _word(table, "problem", ProblemKind, required=True), table.text("advice", longest=2000)
    return None if kind is None or advice is None else Problem(kind=kind, advice=advice)


def _word(table: Table, key: str, words: type[Word], *, required: bool = False) -> Word | None:
    value = table.choice(key, tuple(word.value for word in words), required=required)
    return None if value is None else words(value)


def _some(top: Table, key: str) -> tuple[Table, ...]:
    return top.tables(key, required=False) or ()


__all__ = ["LONGEST_WORDS", "read_setting"]
