"""What the test of lines found: told, and kept in the bed file on demand."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from bedwatch.bed import Bed, Valves
from bedwatch.bed.valves_text import valves_text, with_valves
from bedwatch.commands.valve_steps import typed_line
from bedwatch.errors import UserError
from bedwatch.files import write_bytes
from bedwatch.judge.findings import LineFault, Lines
from bedwatch.judge.line_test import LineTest
from bedwatch.show.valve_text import print_lines


def finish(test: LineTest, bed: Bed, bed_file: Path | None, *, save: bool) -> None:
    """The result, and into the bed file on demand."""
    names = [zone.name for zone in bed.zones]
    owners = [owner for valve in test.valves if (owner := test.owner(valve)) is not None]
    if not owners:
        return  # nothing was moved
    lines = test.lines()
    untried = [valve for valve in test.valves if test.owner(valve) is None]
    print()
    print_lines(lines, owners, untried, names, sys.stdout)
    if bed_file is None:
        return
    told = valves_of(lines, bed, sure=not untried)
    plain = all(zone == label for zone, label in told.labels) and not told.reversed and not told.without
    if told == bed.valves or (plain and not bed.valves.labels):
        return
    if not save and not (sys.stdin.isatty() and sys.stdout.isatty() and _yes(f"Keep this in {bed_file}?")):
        print(f"With --save this goes into {bed_file}:\n{valves_text(told, tuple(names))}", end="")
        return
    save_valves(told, bed_file, names)


def _yes(question: str) -> bool:
    return (typed_line(f"{question} [y/N] ") or "").casefold() in ("y", "yes")


def valves_of(lines: Lines, bed: Bed, *, sure: bool) -> Valves:
    """What the bed file is to hold: labels of the zones whose valve is known; of the others what it holds already, unless it is
    sure that they have none. sure: whether all valves were moved."""
    names = [zone.name for zone in bed.zones]
    found = {names[zone]: valve for valve, zone in lines.feeds.items()}
    unsure = not sure or any(one.kind is LineFault.UNSURE for one in lines.findings)
    kept = dict(bed.valves.labels) if unsure else {}
    labels = {zone: label for zone, label in kept.items() if label not in found.values()} | found
    turned = {names[lines.feeds[valve]] for valve in lines.reversed if valve in lines.feeds}
    without = bed.valves.without - set(labels) if unsure else frozenset(names) - set(labels)
    return Valves(
        labels=tuple((zone, labels[zone]) for zone in names if zone in labels),
        reversed=frozenset(turned | (bed.valves.reversed - set(found))) & set(labels),
        without=without,
    )


def save_valves(valves: Valves, bed_file: Path, zones: Sequence[str]) -> None:
    """Into the bed file, whole or not at all; all else in it stays. Raises UserError where that cannot be done."""
    text = bed_file.read_text(encoding="utf-8")
    made = with_valves(text, valves, tuple(zones))
    if made is None:
        table = valves_text(valves, tuple(zones)).rstrip().replace("\n", "; ")
        raise UserError(
            f"{bed_file}: found valves written otherwise than as a table [valves], expected one that can be replaced; put "
            f"this in by hand: {table}"
        )
    write_bytes(bed_file, made.encode())
    print(f"Kept in {bed_file}.")
