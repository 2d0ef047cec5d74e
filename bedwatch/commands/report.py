"""`bedwatch report`: one page that tells how a bed is, to print, to send, to pin beside the bed."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from bedwatch import __version__
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.commands.looked import look
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.open import live_name
from bedwatch.judge.setting import Setting
from bedwatch.keep.setting_of import setting_of
from bedwatch.keep.settings import ENDING, has_setting, look_up, open_setting
from bedwatch.show.report import Sheet, report_page


def run_report(
    source: str,
    bed_file: Path,
    out: Path,
    aim_file: Path | None,
    against: str | None,
    *,
    seconds: float | None,
    rate: float | None,
) -> int:
    """Exit status 0, or 1 when the bed was not found in a clip: no page then."""
    bed = read_bed(bed_file)
    if out.suffix.lower() not in (".html", ".htm"):
        raise UserError(f'--out: found "{out}", expected a name ending in .html')
    check_places({"--out": out}, keep={"the bed file": bed_file, "the source": Path(source)})
    then = None if against is None else _setting_sheet(against, bed_file, bed)
    sheet = (
        _setting_sheet(source, bed_file, bed)
        if _is_setting(source, [bed_file.parent, Path()])
        else _looked_sheet(source, bed, aim_file, seconds, rate)
    )
    if sheet is None:
        return EXIT_NOT_FOUND
    page = report_page(sheet, bed, made=datetime.now().astimezone(), version=__version__, then=then)
    write_bytes(out, page.encode("utf-8"))
    sheets = "one or two" if then is None else "two or three"
    print(f"Written: {out}. Open it in a browser; it prints on {sheets} sheets.")
    return 0


def _is_setting(source: str, folders: Sequence[Path]) -> bool:
    """Whether a saved setting is meant: its file, or its name where nothing else goes by that."""
    if source.casefold().endswith(ENDING):
        return True
    if live_name(source) is not None or Path(source).exists():
        return False
    return has_setting(source, folders)


def _setting_sheet(source: str, bed_file: Path, bed: Bed) -> Sheet:
    kept = open_setting(look_up(source, [bed_file.parent, Path()]))
    assert kept.setting is not None
    for line in kept.damage:
        print(f"bedwatch: {line}", file=sys.stderr)
    check_same_bed(kept.setting, bed, source)
    return Sheet(setting=kept.setting, picture=None if kept.picture is None else kept.picture.read_bytes(), saved=True)


def check_same_bed(setting: Setting, bed: Bed, name: str) -> None:
    """Raises UserError when a setting is of another bed: other zones, or another size."""
    of = setting.bed
    names = [zone.zone for zone in setting.zones]
    wanted = [zone.name for zone in bed.zones]
    if names != wanted:
        raise UserError(f"{name}: found the zones {', '.join(names)}, expected {', '.join(wanted)} as in the bed file")
    if (
        of.shape != bed.shape
        or abs(of.width_mm / bed.width_mm - 1) > 0.02
        or abs(of.length_mm / bed.length_mm - 1) > 0.02
    ):
        raise UserError(
            f"{name}: found a setting of a {of.shape} bed of {of.width_mm:g} x {of.length_mm:g} mm, expected a {bed.shape} one "
            f"of {bed.width_mm:g} x {bed.length_mm:g} mm as in the bed file"
        )


def _looked_sheet(
    source: str, bed: Bed, aim_file: Path | None, seconds: float | None, rate: float | None
) -> Sheet | None:
    from bedwatch.aim.aimfile import aim_json

    looked = look(source, bed, aim_file, seconds, rate)
    if looked.not_found is not None:
        print(f"bedwatch: the bed was not found, nothing written: {looked.not_found}", file=sys.stderr)
        return None
    steady = looked.steady()
    setting = setting_of(
        steady,
        bed,
        name=looked.name,
        saved=datetime.now().astimezone(),
        version=__version__,
        source=looked.name,
        aim=None if looked.aim is None else aim_json(looked.aim),
    )
    if looked.aim is not None and looked.aim.level_mm is not None:
        level, error = looked.aim.level_mm
        setting = replace(setting, around=replace(setting.around, level_mm=level, level_error_mm=error))
    return Sheet(
        setting=setting,
        picture=looked.picture,
        readings=looked.readings,
        moves=[number for number, _ in looked.did],
        move=steady.last.next,
    )


__all__ = ["check_same_bed", "run_report"]
