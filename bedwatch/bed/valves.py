"""Which valve feeds which zone, as the bed file tells: the optional table [valves]."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bedwatch.bed.strict import Table
from bedwatch.bed.toml_text import shown

LONGEST_LABEL = 40
ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Valves:
    """labels: pairs of a zone's name and what its valve is called. reversed: zones whose valve closes where it is marked to open.
    without: zones that have no valve of their own. All by the zones' names, each empty where nothing is told."""

    labels: tuple[tuple[str, str], ...] = ()
    reversed: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()

    def label(self, zone: str) -> str | None:
        """What the valve of a zone is called."""
        return dict(self.labels).get(zone)


def read_valves(table: Table, zones: Sequence[str]) -> Valves:
    """The table [valves]: `labels`, a table of zones and labels; `reversed` and `without`, zones in square brackets, or "all".

    Mistakes are noted in the table. zones: names of all zones.
    """
    labels: dict[str, str] = {}
    given = table.table("labels", required=False)
    for zone in zones if given is not None else ():
        label = None if given is None else given.text(zone, longest=LONGEST_LABEL, required=False)
        if label is None:
            continue
        if label in labels.values() and given is not None:
            given.mistake(zone, f"found {shown(label)} a second time, expected one zone for every valve")
        labels[zone] = label
    without = _zones(table, "without", zones)
    for zone in without & set(labels):
        table.mistake("without", f'found zone "{zone}", which has a label too, expected one or the other')
    return Valves(labels=tuple(labels.items()), reversed=_zones(table, "reversed", zones), without=without)


def _zones(table: Table, key: str, zones: Sequence[str]) -> frozenset[str]:
    expected = f'zones in square brackets, such as ["{zones[0] if zones else 1}"], or "{ALL}"'
    value = table.value(key, expected, required=False)
    if value is None:
        return frozenset()
    if value == ALL:
        return frozenset(zones)
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        table.mistake(key, f"found {shown(value)}, expected {expected}")
        return frozenset()
    for one in value:
        if one not in zones:
            table.mistake(key, f"found the zone {shown(one)}, expected one of {', '.join(zones)}")
    return frozenset(value) & set(zones)
