"""`bedwatch log ...`: what logs come to, as a table, or played again."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from bedwatch.bed import Bed, read_bed
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.judge.types import Did
from bedwatch.keep.lines import Entry
from bedwatch.keep.log_csv import log_csv
from bedwatch.keep.log_sums import sums_of
from bedwatch.keep.read import read_log
from bedwatch.show.log_text import LogWords, print_log
from bedwatch.show.look import has_keys_and_screen
from bedwatch.show.plain import PlainView
from bedwatch.show.words import did_words

_FASTEST = 1000.0


def run_summary(logs: Sequence[Path], bed_file: Path) -> int:
    """Each log by itself, then all of them together when there are several."""
    bed = read_bed(bed_file)
    read = [(str(path), _entries(path, bed)) for path in logs]
    if len(read) > 1:
        read.append((f"all {len(read)} together", tuple(entry for _, entries in read for entry in entries)))
    for name, entries in read:
        sums = sums_of(entries)
        words = LogWords(
            name=name,
            runs=sums.runs,
            readings=sums.readings,
            first=sums.first,
            last=sums.last,
            seconds=sums.seconds,
            moves=[(move.at, move.did) for move in sums.moves],
            begin=sums.begin,
            end=sums.end,
            faults=sums.faults,
            problems=sums.problems,
        )
        print_log(words, sys.stdout)
    return 0


def run_csv(logs: Sequence[Path], bed_file: Path, out: Path | None) -> int:
    """One table of all logs, to a file or to standard output."""
    bed = read_bed(bed_file)
    if out is not None:
        keep = {f"the log {path}": path for path in logs} | {"the bed file": bed_file}
        check_places({"--out": out}, keep=keep)
    table = log_csv([(path.name, _entries(path, bed)) for path in logs], bed)
    if out is None:
        sys.stdout.write(table.replace("\r\n", "\n"))
        sys.stdout.flush()
        return 0
    write_bytes(out, table.encode("utf-8-sig"))  # without its mark some spreadsheets take UTF-8 for something else
    print(f"Written: {out}.")
    return 0


def run_play(log: Path, bed_file: Path, times: float) -> int:
    """Shows a log as it was seen, so many times as fast; on no terminal without waiting."""
    if not 0.1 <= times <= _FASTEST:
        raise UserError(f"--times: found {times:g}, expected a number from 0.1 to {_FASTEST:g}")
    bed = read_bed(bed_file)
    entries = _entries(log, bed)
    if has_keys_and_screen(sys.stdin, sys.stdout, sys.stderr, environ=os.environ):
        # Only here, since it loads what draws the screen.
        from bedwatch.commands.played import play_on_screen

        return play_on_screen(bed, entries, times)
    with PlainView(sys.stdout, valves=bed.valves) as view:
        for entry in entries:
            if isinstance(entry.what, Did):
                view.note(f"done: {did_words(entry.what)}")
            else:
                view.show(entry.what)
    return 0


def _entries(path: Path, bed: Bed) -> tuple[Entry, ...]:
    book = read_log(path, bed)
    for note in book.notes:
        print(f"bedwatch: {note}", file=sys.stderr)
    if not book.entries:
        raise UserError(f"{path}: found nothing in it, expected a log that bedwatch watch --log wrote")
    return book.entries
