"""The snapshot report: one HTML page with everything in it, for paper, screen and phone. Nothing from the network."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from bedwatch.bed import Bed
from bedwatch.judge.apart import How
from bedwatch.judge.setting import Setting
from bedwatch.judge.together import settings_compared
from bedwatch.judge.types import Move, Reading
from bedwatch.show.look import Look
from bedwatch.show.parts import CAUTIONS
from bedwatch.show.report_words import faults_sentences, figures_sentence, not_known, verdict_sentence, way_back
from bedwatch.show.setting_text import (
    HOWS,
    around_words,
    changed_words,
    evenness_words,
    percent,
    saved_words,
    signed,
    sure_words,
    together_words,
)
from bedwatch.show.trend import trends_of
from bedwatch.show.words import CANT_TELL, HINTS, PROBLEMS, instruction, share, speed, zone_place
from bedwatch.show.zone_map import fault_numbers, picture_svg, zone_map_svg

_LOOK = Look()
_HOW_MARKS = {How.ALIKE: "=", How.LIVELIER: "▲", How.QUIETER: "▼", How.UNKNOWN: "?"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What goes onto a report.

    setting: the bed as it is, saved or not. picture: a JPEG of it laid flat, None when there is none. readings, moves:
    the way here, and at which readings something was done. move: what to do next. saved: it lies in a file by its name.
    """

    setting: Setting
    picture: bytes | None = None
    readings: Sequence[Reading] = ()
    moves: Sequence[int] = ()
    move: Move | None = None
    saved: bool = False


def report_page(sheet: Sheet, bed: Bed, *, made: datetime, version: str, then: Sheet | None = None) -> str:
    """The page as HTML. then: a setting it is held against, of the same zones.

    Raises ValueError when a setting's zones are not the bed's.
    """
    names = [zone.name for zone in bed.zones]
    for one in (sheet, then):
        if one is not None and [zone.zone for zone in one.setting.zones] != names:
            raise ValueError("the setting is of other zones than the bed")
    folder = files("bedwatch.show").joinpath("page")
    # Only here, since most who load this module write no page.
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = environment.from_string(folder.joinpath("report.html").read_text(encoding="utf-8"))
    return template.render(
        style=Markup(folder.joinpath("report.css").read_text(encoding="utf-8")),
        bed=bed,
        size=f"{bed.width_mm:g} mm across" if bed.shape == "round" else f"{bed.width_mm:g} × {bed.length_mm:g} mm",
        made=made.strftime("%Y-%m-%d %H:%M"),
        version=version,
        now=_looked(sheet, bed),
        then=None if then is None else _looked(then, bed),
        apart=None if then is None else _compared(sheet.setting, then.setting),
        trends=trends_of(sheet.readings, sheet.moves),
        moves=len(sheet.moves),
        cautions=CAUTIONS,
    )


def _looked(sheet: Sheet, bed: Bed) -> dict[str, Any]:
    setting = sheet.setting
    words = f"{bed.name}, {setting.name}"
    drawn = None if sheet.picture is None else picture_svg(bed, sheet.picture, f"Picture of {words}")
    return {
        "name": setting.name,
        "saved": sheet.saved,
        "when": saved_words(setting),
        "source": setting.source,
        "seen_s": f"{setting.seen_s:.0f}",
        "verdict": verdict_sentence(setting),
        "figures": figures_sentence(setting),
        "move": None if sheet.move is None else (instruction(sheet.move, bed.valves), sheet.move.because),
        "picture": None if drawn is None else Markup(drawn),
        "map": Markup(zone_map_svg(bed, setting, f"Map of {words}")),
        "zones": _rows(setting, bed),
        "valves": any(zone.valve is not None for zone in setting.zones),
        "faults": list(zip(fault_numbers(setting.faults), faults_sentences(setting), strict=True)),
        "around": around_words(setting),
        "camera": _camera(setting),
        "problems": [(PROBLEMS[problem.kind], problem.advice) for problem in setting.problems],
        "back": way_back(setting, saved=sheet.saved) if sheet.saved or sheet.move is None else (),
        "unknown": not_known(setting, picture=sheet.picture is not None, error_mm=_number(setting, "error_mm")),
    }


def _rows(setting: Setting, bed: Bed) -> list[dict[str, str]]:
    return [
        {
            "zone": one.zone,
            "place": zone_place(zone),
            "live": share(one.live.value) or CANT_TELL,
            "speed": speed(one.speed_mm_s.value, one.speed_mm_s.error) or CANT_TELL,
            "repeat": "" if one.speed_mm_s.repeat is None else f"± {one.speed_mm_s.repeat:.1f}",
            "evenness": evenness_words(one.evenness),
            "hint": f"{_LOOK.mark(one.hint)} {HINTS[one.hint]}",
            "because": one.because,
            "valve": one.valve or "–",
        }
        for zone, one in zip(bed.zones, setting.zones, strict=True)
    ]


def _compared(now: Setting, then: Setting) -> dict[str, Any]:
    found = settings_compared(now, then)
    return {
        "zones": [
            {
                "zone": one.zone,
                "how": f"{_HOW_MARKS[one.how]} {HOWS[one.how]}",
                "livelier": percent(one.livelier, one.livelier_error),
                "live": _points(one.live, one.live_error),
                "valve": (before.valve or "–", after.valve or "–"),
            }
            for one, before, after in zip(found.zones, then.zones, now.zones, strict=True)
        ],
        "together": together_words(found),
        "sure": sure_words(found.sure),
        "changed": changed_words(then, now),
    }


def _points(value: float, error: float) -> str:
    return CANT_TELL if not math.isfinite(value) else f"{signed(100 * value)} ± {100 * error:.0f}"


def _camera(setting: Setting) -> list[str]:
    scale, error = _number(setting, "mm_per_px"), _number(setting, "error_mm")
    told = [] if scale is None else [f"{scale:.2f} mm per pixel at the bed's centre"]
    if error is not None:
        told.append(f"places good to ± {error:.1f} mm (one standard error)")
    size = None if setting.aim is None else setting.aim.get("size_px")
    if isinstance(size, list | tuple) and len(size) == 2:
        told.append(f"pictures of {size[0]} × {size[1]} pixels")
    return told


def _number(setting: Setting, key: str) -> float | None:
    value = None if setting.aim is None else setting.aim.get(key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


__all__ = ["Sheet", "report_page"]
