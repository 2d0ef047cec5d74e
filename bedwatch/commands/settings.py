"""`bedwatch settings ...`: save what a good bed is like, list, show, rename, remove, compare."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from bedwatch import __version__
from bedwatch.bed import Bed, length_mm, read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.errors import UserError
from bedwatch.files import check_places
from bedwatch.judge.setting import Circumstances, Setting
from bedwatch.keep.names import checked_name
from bedwatch.keep.setting_of import setting_of
from bedwatch.keep.setting_read import LONGEST_WORDS
from bedwatch.keep.settings import (
    Kept,
    file_of,
    list_settings,
    look_up,
    open_setting,
    remove_setting,
    rename_setting,
    save_setting,
)
from bedwatch.show.setting_text import print_compared, print_list, print_setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the operator gave beside the picture, as typed."""

    valves: Sequence[str] = ()
    supply: str | None = None
    powder: str | None = None
    level: str | None = None
    humidity: float | None = None
    note: str | None = None


def run_save(
    source: str,
    bed_file: Path,
    name: str,
    aim_file: Path | None,
    told: Told,
    *,
    folder: Path | None,
    seconds: float | None,
    rate: float | None,
    force: bool,
) -> int:
    """Looks, and writes the setting beside the bed file, or into the folder. 1 when the bed was not found."""
    from bedwatch.aim.aimfile import aim_json
    from bedwatch.commands.looked import look

    bed = read_bed(bed_file)
    name = checked_name(name, "--name")
    valves, around = valve_marks(told.valves, bed), _around(told)
    place = bed_file.parent if folder is None else folder
    _check_free(place, name, force=force)
    looked = look(source, bed, aim_file, seconds, rate)
    if looked.not_found is not None:
        print(f"bedwatch: the bed was not found, nothing saved: {looked.not_found}", file=sys.stderr)
        return EXIT_NOT_FOUND
    steady = looked.steady()
    if looked.aim is not None and looked.aim.level_mm is not None and around.level_mm is None:
        around = _with_level(around, *looked.aim.level_mm)
    setting = setting_of(
        steady,
        bed,
        name=name,
        saved=datetime.now().astimezone(),
        version=__version__,
        source=looked.name,
        valves=valves,
        around=around,
        aim=None if looked.aim is None else aim_json(looked.aim),
    )
    path = save_setting(setting, place, looked.picture, force=force)
    _print(open_setting(path))
    print(f"Saved: {path}")
    return 0


def run_list(folder: Path) -> int:
    """One line a setting; damaged ones are told and left alone."""
    kept = list_settings(folder)
    print_list([(one.name, one.setting) for one in kept], folder, sys.stdout)
    for one in kept:
        for line in one.damage:
            print(f"bedwatch: {line}", file=sys.stderr)
    return 0


def run_show(name: str, folder: Path) -> int:
    _print(open_setting(look_up(name, [folder])))
    return 0


def _print(kept: Kept) -> None:
    assert kept.setting is not None
    print_setting(kept.setting, sys.stdout, kept.picture)
    for line in kept.damage:
        print(f"bedwatch: {line}", file=sys.stderr)


def run_rename(name: str, new: str, folder: Path) -> int:
    print(f"Renamed: {rename_setting(look_up(name, [folder]), new)}")
    return 0


def run_remove(name: str, folder: Path) -> int:
    gone = remove_setting(look_up(name, [folder]))
    print(f"Removed: {', '.join(map(str, gone))}")
    return 0


def run_compare(one: str, other: str, folder: Path) -> int:
    first, second = (_whole(name, folder) for name in (one, other))
    zones = [[zone.zone for zone in setting.zones] for setting in (first, second)]
    if zones[0] != zones[1]:
        raise UserError(
            f"{other}: found a setting of the zones {', '.join(zones[1])}, expected {', '.join(zones[0])} as in {one}"
        )
    print_compared(first, second, sys.stdout)
    return 0


def _whole(name: str, folder: Path) -> Setting:
    setting = open_setting(look_up(name, [folder])).setting
    assert setting is not None
    return setting


def _check_free(folder: Path, name: str, *, force: bool) -> None:
    """Before the long look: is there a place for what it gives?"""
    path = file_of(folder, name)
    check_places({"--name": path})
    if path.exists() and not force:
        raise UserError(f'--name: found a setting "{name}" already ({path}), expected a name that is free, or --force')


def valve_marks(marks: Sequence[str], bed: Bed, option: str = "--valve") -> dict[str, str]:
    """ "zone 3: a quarter open" or "3: a quarter open"; a bare word for a zone of its name too."""
    names = {zone.name.casefold(): zone.name for zone in bed.zones}
    found: dict[str, str] = {}
    for mark in marks:
        zone, colon, words = mark.partition(":")
        key = zone.strip().casefold()
        name = names.get(key) or names.get(re.sub(r"^zone\s+", "", key))
        if not colon or not words.strip() or name is None:
            raise UserError(
                f'{option}: found "{_shown(mark)}", expected a zone ({", ".join(names.values())}), a colon and where its valve '
                'stands, such as "3: a quarter open"'
            )
        if name in found:
            raise UserError(f"{option}: found zone {name} twice, expected each zone once")
        found[name] = _words(option, words) or ""
    return found


def _around(told: Told) -> Circumstances:
    humidity = told.humidity
    if humidity is not None and not 0 <= humidity <= 100:
        raise UserError(f"--humidity: found {humidity:g}, expected the room's relative humidity in per cent, 0 to 100")
    level = None
    if told.level is not None:
        try:
            level = length_mm(told.level)
        except ValueError as error:
            raise UserError(
                f"--level: {error}; it is measured from the top of the wall down to the powder, air on"
            ) from None
        if not 0 <= level <= 10_000:
            raise UserError(f'--level: found "{_shown(told.level)}", expected 0 mm to 10 m below the top of the wall')
    return Circumstances(
        supply=_words("--supply", told.supply),
        powder=_words("--powder", told.powder),
        note=_words("--note", told.note),
        level_mm=level,
        level_error_mm=None,
        humidity=None if humidity is None else humidity / 100,
    )


def _with_level(around: Circumstances, level_mm: float, error_mm: float) -> Circumstances:
    return replace(around, level_mm=level_mm, level_error_mm=error_mm)


def _words(option: str, text: str | None) -> str | None:
    if text is None:
        return None
    words = " ".join(text.split())
    if not 0 < len(words) <= LONGEST_WORDS or not words.isprintable():
        raise UserError(f'{option}: found "{_shown(text)}", expected 1 to {LONGEST_WORDS} printable letters')
    return words


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text[:60])
