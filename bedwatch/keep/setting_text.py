"""A setting as the text of its file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Item, Table

from bedwatch.judge.setting import BedSetting, Measured, Setting, ZoneSetting

FORMAT = 1
_HEAD = (
    "A saved setting of a bed. Words may be changed by hand; figures are what was measured.",
    "What is not known is left out. ..._error: one standard error, everything counted in; ..._repeat: how far another",
    "look at the same bed from the same place would differ. restless, length_mm: how lively the eruptions are (0 at the",
    "border to violent), and how far the change of the picture reaches; they follow the air more closely than the speed.",
)
_SHARE, _SPEED, _MM, _SIGN = 4, 3, 1, 3


def setting_text(setting: Setting) -> str:
    """TOML that `read_setting` takes back. Figures are rounded to what they can mean."""
    document = tomlkit.document()
    for line in _HEAD:
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    document["format"] = FORMAT
    document["name"] = setting.name
    document["saved"] = setting.saved.replace(microsecond=0)
    document["bedwatch"] = setting.version
    if setting.source:
        document["source"] = setting.source
    document["seen_s"] = _rounded(setting.seen_s, 1)
    if setting.picture is not None:
        document["picture"] = setting.picture
    document["around"] = _around(setting)
    document["bed"] = _bed(setting.bed)
    document["zones"] = _tables([_zone(zone) for zone in setting.zones])
    if setting.faults:
        document["faults"] = _tables(
            [
                _known(
                    {
                        "kind": fault.kind.value,
                        "zone": fault.zone,
                        "x_mm": _rounded(fault.x_mm, _MM),
                        "y_mm": _rounded(fault.y_mm, _MM),
                        "area_mm2": _rounded(fault.area_mm2, 0),
                        "since_s": _rounded(fault.since_s, _MM),
                    }
                )
                for fault in setting.faults
            ]
        )
    if setting.problems:
        found = [{"problem": problem.kind.value, "advice": problem.advice} for problem in setting.problems]
        document["problems"] = _tables([_known(one) for one in found])
    if setting.aim:
        document["aim"] = _table({key: value for key, value in setting.aim.items() if value is not None})
    return tomlkit.dumps(document)


def _around(setting: Setting) -> Table:
    around = setting.around
    humidity = None if around.humidity is None else _rounded(100 * around.humidity, 1)
    return _known(
        {
            "supply": around.supply,
            "powder": around.powder,
            "note": around.note,
            "level_mm": _rounded(around.level_mm, _MM),
            "level_error_mm": _rounded(around.level_error_mm, _MM),
            "humidity_percent": humidity,
        }
    )


def _bed(bed: BedSetting) -> Table:
    return _known(
        {
            "name": bed.name,
            "shape": bed.shape,
            "width_mm": _rounded(bed.width_mm, 2),
            "length_mm": _rounded(bed.length_mm, 2),
            "verdict": None if bed.verdict is None else bed.verdict.value,
            **_figures(bed.live, bed.speed_mm_s, bed.evenness),
        }
    )


def _zone(zone: ZoneSetting) -> Table:
    return _known(
        {
            "zone": zone.zone,
            "valve": zone.valve,
            **_figures(zone.live, zone.speed_mm_s, zone.evenness),
            "restless": _rounded(zone.restless.value, _SIGN),
            "restless_repeat": _rounded(zone.restless.repeat, _SIGN),
            "length_mm": _rounded(zone.length_mm.value, _SIGN),
            "length_repeat_mm": _rounded(zone.length_mm.repeat, _SIGN),
            "hint": zone.hint.value,
            "because": zone.because or None,
        }
    )


def _figures(live: Measured, speed: Measured, evenness: Measured) -> dict[str, float | None]:
    return {
        "live": _rounded(live.value, _SHARE),
        "live_repeat": _rounded(live.repeat, _SHARE),
        "speed_mm_s": _rounded(speed.value, _SPEED),
        "speed_error_mm_s": _rounded(speed.error, _SPEED),
        "speed_repeat_mm_s": _rounded(speed.repeat, _SPEED),
        "evenness": _rounded(evenness.value, _SHARE),
        "evenness_repeat": _rounded(evenness.repeat, _SHARE),
    }


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), places) + 0.0


def _known(values: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        if value is not None:
            table.add(key, value)
    return table


def _tables(tables: Sequence[Table]) -> AoT:
    made = tomlkit.aot()
    for table in tables:
        made.append(table)
    return made


def _table(values: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, _item(value))
    return table


def _item(value: Any) -> Item:
    """Mappings within the table become inline tables, so that each figure stays on one line."""
    if isinstance(value, Mapping):
        inline: InlineTable = tomlkit.inline_table()
        for key, inner in value.items():
            if inner is not None:
                inline.append(key, _item(inner))
        return inline
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for inner in value:
            array.append(_item(inner))
        return array
    item: Item = tomlkit.item(value)
    return item


__all__ = ["FORMAT", "setting_text"]
