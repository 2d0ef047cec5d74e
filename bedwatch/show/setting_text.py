"""Saved settings for people: a list, one whole, two held against each other."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bedwatch.judge.apart import Apart, How
from bedwatch.judge.setting import Measured, Setting
from bedwatch.judge.together import settings_compared
from bedwatch.show.look import Look, look_for
from bedwatch.show.words import (
    CANT_TELL,
    FAULTS,
    HINTS,
    PROBLEMS,
    VERDICTS,
    fault_place,
    share,
    speed_with_unit,
)

HOWS = {How.ALIKE: "alike", How.LIVELIER: "livelier", How.QUIETER: "quieter", How.UNKNOWN: CANT_TELL}
NARROWEST = 80
NOTHING = "not given"


class SettingPage:
    """Headings, tables and sentences on one output, spelt so that it can be drawn there."""

    def __init__(self, out: TextIO) -> None:
        self.look: Look = look_for(out, os.environ)
        self._console = Console(file=out, highlight=False, markup=False, emoji=False, no_color=not self.look.colour)
        self._console.width = max(self._console.width, NARROWEST)

    def heading(self, words: str) -> None:
        self._console.print(Text(self.look.text(words), style="bold"))

    def line(self, words: str) -> None:
        self._console.print(Padding(Text(self.look.text(words)), (0, 0, 0, 2), expand=False))

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], words: Sequence[int]) -> None:
        table = Table(box=box.SIMPLE_HEAD if self.look.unicode else box.ASCII, pad_edge=False)
        for number, name in enumerate(head):
            table.add_column(self.look.text(name), justify="left" if number in words else "right", overflow="fold")
        for row in rows:
            table.add_row(*(self.look.text(cell) for cell in row))
        self._console.print(Padding(table, (0, 0, 0, 2), expand=False))


def print_list(found: Sequence[tuple[str, Setting | None]], folder: Path, out: TextIO) -> None:
    """One row a setting of (name, setting); None where it is damaged."""
    page = SettingPage(out)
    if not found:
        page.heading(f"No settings in {folder}.")
        return
    page.heading(f"Settings in {folder}")
    rows = []
    for name, setting in found:
        if setting is None:
            rows.append((name, "damaged", "", "", "", ""))
            continue
        bed = setting.bed
        rows.append(
            (
                name,
                saved_words(setting),
                bed.name,
                share(bed.live.value) or CANT_TELL,
                speed_with_unit(bed.speed_mm_s.value, bed.speed_mm_s.error),
                setting.around.powder or "",
            )
        )
    page.table(("name", "saved", "bed", "live", "speed", "powder"), rows, words=(0, 1, 2, 5))


def print_setting(setting: Setting, out: TextIO, picture: Path | None = None) -> None:
    """Everything a setting holds but its aim."""
    page = SettingPage(out)
    page.heading(f"{setting.name}: {setting.bed.name}, saved {saved_words(setting)}")
    bed = setting.bed
    verdict = "no verdict" if bed.verdict is None else VERDICTS[bed.verdict]
    page.line(
        f"{verdict}: live {share(bed.live.value) or CANT_TELL}, "
        f"{speed_with_unit(bed.speed_mm_s.value, bed.speed_mm_s.error)}, evenness {evenness_words(bed.evenness)}; "
        f"mean of {setting.seen_s:.0f} s of {setting.source or 'a log'}, by bedwatch {setting.version}"
    )
    for key, words in around_words(setting):
        page.line(f"{key}: {words}")
    page.table(
        ("zone", "valve stands", "live", "speed", "evenness", "air"),
        [
            (
                zone.zone,
                zone.valve or NOTHING,
                share(zone.live.value) or CANT_TELL,
                speed_with_unit(zone.speed_mm_s.value, zone.speed_mm_s.error),
                evenness_words(zone.evenness),
                f"{page.look.mark(zone.hint)} {HINTS[zone.hint]}",
            )
            for zone in setting.zones
        ],
        words=(0, 1, 5),
    )
    for fault in setting.faults:
        page.line(f"{FAULTS[fault.kind]} in zone {fault.zone}, {fault_place(fault.x_mm, fault.y_mm)}")
    for problem in setting.problems:
        page.line(f"camera: {PROBLEMS[problem.kind]}: {problem.advice}")
    page.line("no picture" if picture is None else f"picture: {picture}")


def print_compared(first: Setting, second: Setting, out: TextIO) -> None:
    """The second against the first, zone by zone. Raises ValueError when they are of different zones."""
    page = SettingPage(out)
    page.heading(f"{second.name} ({saved_words(second)}) against {first.name} ({saved_words(first)})")
    found = settings_compared(second, first)
    rows = []
    for one, other, zone in zip(first.zones, second.zones, found.zones, strict=True):
        rows.append(
            (
                zone.zone,
                one.valve or NOTHING,
                other.valve or NOTHING,
                _pair(share(one.live.value), share(other.live.value)),
                _pair(_speed(one.speed_mm_s), _speed(other.speed_mm_s)),
                percent(zone.livelier, zone.livelier_error),
                HOWS[zone.how],
            )
        )
    page.table(("zone", "valve then", "valve now", "live", "mm/s", "livelier by", ""), rows, words=(0, 1, 2, 6))
    page.line(f"all zones together: {together_words(found)}; {sure_words(found.sure)}")
    for key, then, now in changed_words(first, second):
        page.line(f"{key}: {then} before, {now} now")


def together_words(found: Apart) -> str:
    """What all zones do: more that moves, and the speed as it appears, which a lamp changes too."""
    more, faster = percent(found.livelier, found.livelier_error), percent(found.speed, found.speed_error)
    return f"livelier by {more} (their speed as it appears by {faster})"


def saved_words(setting: Setting) -> str:
    """When it was saved, by the clock of its place."""
    return setting.saved.strftime("%Y-%m-%d %H:%M")


def evenness_words(evenness: Measured) -> str:
    return CANT_TELL if evenness.value is None else f"{evenness.value:.2f}"


def around_words(setting: Setting) -> list[tuple[str, str]]:
    """What the operator gave, and the level where the aim measured it: key and words; only what is known."""
    around = setting.around
    level = None
    if around.level_mm is not None:
        error = "" if around.level_error_mm is None else f" ± {around.level_error_mm:.0f}"
        seen = "" if around.level_error_mm is None else ", by the picture"
        level = f"{around.level_mm:.0f}{error} mm below the rim{seen}"
    found = (
        ("supply", around.supply),
        ("powder", around.powder),
        ("powder level", level),
        ("humidity", None if around.humidity is None else f"{100 * around.humidity:.0f} %"),
        ("note", around.note),
    )
    return [(key, words) for key, words in found if words is not None]


def changed_words(first: Setting, second: Setting) -> list[tuple[str, str, str]]:
    """Key, before and after of what the operator gave otherwise the second time; verdict and evenness too."""
    before, after = dict(around_words(first)), dict(around_words(second))
    keys = list(dict.fromkeys([*before, *after]))
    found = [(key, before.get(key, NOTHING), after.get(key, NOTHING)) for key in keys]
    found.append(("evenness", evenness_words(first.bed.evenness), evenness_words(second.bed.evenness)))
    return [(key, one, other) for key, one, other in found if one != other]


def percent(value: float, error: float) -> str:
    """A share with its sign and error: "+12 ± 4 %"."""
    if not math.isfinite(value):
        return CANT_TELL
    return f"{signed(100 * value)} ± {100 * error:.0f} %"


def signed(value: float) -> str:
    """A whole number with its sign; 0 has none."""
    whole = round(value)
    return f"{whole:+d}" if whole else "0"


def sure_words(sure: float) -> str:
    """How likely it is that every zone is within a tenth."""
    if not math.isfinite(sure):
        return "whether every zone is alike cannot be told"
    if sure >= 0.95:
        return "every zone is within a tenth, surely"
    if sure >= 0.7:
        return f"every zone is within a tenth, probably ({100 * sure:.0f} %)"
    if sure >= 0.3:
        return f"every zone may be within a tenth ({100 * sure:.0f} %): look longer"
    return "not every zone is within a tenth"


def _pair(one: str | None, other: str | None) -> str:
    return f"{one or '?'} → {other or '?'}"


def _speed(speed: Measured) -> str | None:
    return None if speed.value is None else f"{speed.value:.0f}"


__all__ = [
    "HOWS",
    "SettingPage",
    "around_words",
    "changed_words",
    "evenness_words",
    "percent",
    "print_compared",
    "print_list",
    "print_setting",
    "saved_words",
    "signed",
    "sure_words",
]
