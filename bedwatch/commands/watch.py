"""`bedwatch watch`: the main job."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.commands.attended import Attended
from bedwatch.commands.follow import Give, Note, Run
from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Source
from bedwatch.frames.live import GIVE_UP_S
from bedwatch.frames.open import live_name, open_source
from bedwatch.frames.pace import Pace
from bedwatch.judge.types import Did, Reading
from bedwatch.keep.log import Log
from bedwatch.keep.read import read_log
from bedwatch.show import PlainView, reading_line
from bedwatch.show.look import has_keys_and_screen
from bedwatch.watch import Watch


def run_watch(
    source: str,
    bed_file: Path,
    aim_file: Path | None,
    *,
    as_json: bool,
    pictures_per_s: float | None,
    lost_after_s: float | None = None,
    real_time: bool = False,
    log_file: Path | None = None,
) -> int:
    """Exit status: 0 at the end of a file, 1 when the bed was not found, 3 when a live source was lost.

    lost_after_s: how long a live source that fell silent is waited for; None for the usual. real_time: a file at its own
    speed. log_file: gets every reading; what it holds already is gone on from.
    """
    bed = read_bed(bed_file)
    aim = None if aim_file is None else _aim_of(aim_file, bed_file, bed)
    past = () if log_file is None or not log_file.is_file() else _past(log_file, bed)
    if not as_json and (live := live_name(source)):
        _say(f"opening {live}")
    frames = open_source(source, pictures_per_s, GIVE_UP_S if lost_after_s is None else lost_after_s)
    if not frames.live:
        frames = Ahead(frames)
    try:
        with contextlib.ExitStack() as stack:
            log = None if log_file is None else stack.enter_context(Log(log_file, bed, source, _say))
            if not as_json and has_keys_and_screen(sys.stdin, sys.stdout, sys.stderr, environ=os.environ):
                beside = _Beside(source=source, bed_file=bed_file, aim_file=aim_file, aim=aim, past=past)
                return _on_screen(bed, frames, log, beside, real_time=real_time)
            if real_time and not frames.live:
                frames = Attended(frames, Pace().attend)
            give, note = stack.enter_context(_output(as_json))
            if log is not None:
                log.note = note
                give = _both(log.reading, give)
            run = Run(Watch(bed, aim, past), frames, give, note, aim_file)
            status = run.follow()
    finally:
        frames.close()
    if run.too_little is not None:
        _say(run.too_little)
    return status


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """What a run on the screen is given."""

    source: str
    bed_file: Path
    aim_file: Path | None
    aim: Aim | None
    past: tuple[Reading | Did, ...]


def _on_screen(bed: Bed, frames: Source, log: Log | None, beside: _Beside, *, real_time: bool) -> int:
    # Only here, since it loads what draws the screen.
    from bedwatch.commands.desk import Desk, kept_aim_file
    from bedwatch.commands.on_screen import Attendant, run_on_screen

    kept_file = kept_aim_file(beside.bed_file, beside.source)
    kept = None
    if beside.aim is None and kept_file.is_file():
        kept = _aim_of(kept_file, beside.bed_file, bed)
    watch = Watch(bed, beside.aim, beside.past, kept=kept)
    attendant = Attendant(
        watch, Desk(watch, log, beside.bed_file, kept_file, kept), live=frames.live, real_time=real_time
    )

    def follow(source: Source, give: Give, note: Note) -> int:
        if log is not None:
            log.note = note
            give = _both(log.reading, give)
        run = Run(watch, source, give, note, beside.aim_file)
        while (status := run.follow()) == EXIT_NOT_FOUND and frames.live:
            watch.look_again()  # the camera can be moved, or the light changed, while somebody looks on
        if run.too_little is not None:
            note(run.too_little)
        return status

    try:
        return run_on_screen(bed, Attended(frames, attendant.attend), attendant, follow)
    finally:
        if log is not None:
            log.note = _say


def _aim_of(aim_file: Path, bed_file: Path, bed: Bed) -> Aim:
    """The aim of a file, with what is doubtful about it said."""
    # Only here, since most of what they load is for writing aim files.
    from bedwatch.aim.aimfile import read_aim
    from bedwatch.commands.doubts import aim_doubts

    aim = read_aim(aim_file, bed)
    for line in aim_doubts(aim_file, bed_file, bed):
        _say(line)
    return aim


def _past(log_file: Path, bed: Bed) -> tuple[Reading | Did, ...]:
    """What the log tells of before, with what is damaged in it said."""
    book = read_log(log_file, bed, looks_only=True)
    for line in book.notes:
        _say(line)
    return book.past


def _both(first: Give, second: Give) -> Give:
    def give(reading: Reading) -> None:
        first(reading)
        second(reading)

    return give


def _say(words: str) -> None:
    print(f"bedwatch: {words}", file=sys.stderr, flush=True)


@contextlib.contextmanager
def _output(as_json: bool) -> Iterator[tuple[Give, Note]]:
    if as_json:
        yield lambda reading: print(reading_line(reading), flush=True), _say
        return
    with PlainView(sys.stdout) as view:
        yield view.show, view.note
