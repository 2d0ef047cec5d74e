"""`bedwatch watch --against`: the saved setting that is gone back to, and what is told on the way."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, Valves
from bedwatch.commands.report import check_same_bed
from bedwatch.judge.types import Reading
from bedwatch.judge.way_back import Against, WayBack
from bedwatch.keep.read import read_log
from bedwatch.keep.settings import look_up, open_setting
from bedwatch.show.against import against_dict, against_line
from bedwatch.show.jsonl import json_line, reading_dict


def way_back(name: str, bed_file: Path, bed: Bed, aim: Aim | None, log_file: Path | None) -> WayBack:
    """The way back to a setting of this bed, by name or file; moves the log tells of since it was saved are known to it.

    Raises UserError when there is no such setting, or it is another bed's.
    """
    kept = open_setting(look_up(name, [bed_file.parent, Path()]))
    assert kept.setting is not None
    for line in kept.damage:
        print(f"bedwatch: {line}", file=sys.stderr)
    check_same_bed(kept.setting, bed, name)
    found = WayBack(kept.setting, None if aim is None else aim.level_mm, bed.with_valve)
    if log_file is not None and log_file.is_file():
        since = False
        for entry in read_log(log_file, bed, looks_only=True).entries:
            since = since or (entry.at is not None and entry.at > kept.setting.saved)
            if since:
                found.add(entry.what)
    return found


def line_against(back: WayBack, reading: Reading) -> str:
    """A reading's JSON line with the field `against`."""
    back.add(reading)
    return json_line(reading_dict(reading) | {"against": against_dict(back.against())})


class Teller:
    """Says in a line where one stands, whenever that is another place. valves: as the bed file tells them."""

    def __init__(self, back: WayBack, say: Callable[[str], None], valves: Valves) -> None:
        self._valves = valves
        self._back = back
        self._say = say
        self._told: object = None
        self._causes: set[str] = set()

    def __call__(self, reading: Reading) -> None:
        self._back.add(reading)
        against = self._back.against()
        gist = _gist(against)
        if gist != self._told:
            self._told = gist
            self._say(against_line(against, self._valves))
        for cause in against.causes:
            key = cause.partition(":")[0]
            if key not in self._causes:
                self._causes.add(key)
                self._say(cause)


def _gist(against: Against) -> object:
    move = against.next
    return against.step, None if move is None else (move.zone, move.do)


__all__ = ["Teller", "line_against", "way_back"]
