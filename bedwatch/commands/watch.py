"""`bedwatch watch`: the main job."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, Valves, read_bed
from bedwatch.commands.attended import Attended
from bedwatch.commands.follow import Give, Note, Run, both
from bedwatch.errors import UserError
from bedwatch.frames.ahead import Ahead
from bedwatch.frames.live import GIVE_UP_S
from bedwatch.frames.open import live_name, open_source
from bedwatch.frames.pace import Pace
from bedwatch.judge.types import Did, Reading
from bedwatch.judge.way_back import WayBack
from bedwatch.keep.log import Log
from bedwatch.keep.read import read_log
from bedwatch.show.jsonl import reading_line
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
    against: str | None = None,
    reasons: bool = False,
) -> int:
    """Exit status: 0 at the end of a file, 1 when the bed was not found, 3 when a live source was lost.

    lost_after_s: how long a live source that fell silent is waited for; None for the usual. real_time: a file at its own
    speed. log_file: gets every reading; what it holds already is gone on from. against: a saved setting to go back to. reasons:
    lines instead of the screen, and under each of them why.
    """
    if reasons and as_json:
        raise UserError(
            "found --json and --explain, expected one of them; in JSON every zone's reason is its `because`"
        )
    bed = read_bed(bed_file)
    aim = None if aim_file is None else _aim_of(aim_file, bed_file, bed)
    past = () if log_file is None or not log_file.is_file() else _past(log_file, bed)
    back = None if against is None else _way_back(against, bed_file, bed, aim, log_file)
    if not as_json and (live := live_name(source)):
        _say(f"opening {live}")
    frames = open_source(source, pictures_per_s, GIVE_UP_S if lost_after_s is None else lost_after_s)
    if not frames.live:
        frames = Ahead(frames)
    try:
        with contextlib.ExitStack() as stack:
            log = None if log_file is None else stack.enter_context(Log(log_file, bed, source, _say))
            if not (as_json or reasons) and has_keys_and_screen(sys.stdin, sys.stdout, sys.stderr, environ=os.environ):
                # Only here, since it loads what draws the screen.
                from bedwatch.commands.sitting import Sitting

                sitting = Sitting(bed=bed, bed_file=bed_file, source=source, aim=aim, past=past, log=log, back=back)
                return sitting.run(frames, aim_file, real_time=real_time, kept_aim=_aim_of)
            if real_time and not frames.live:
                frames = Attended(frames, Pace().attend)
            give, note = stack.enter_context(_output(as_json, back, bed.valves, reasons=reasons))
            if log is not None:
                log.note = note
                give = both(log.reading, give)
            watch = Watch(bed, aim, past)
            if back is not None:
                give = both(partial(_tell_level, back, watch), give)
            run = Run(watch, frames, give, note, aim_file)
            status = run.follow()
    finally:
        frames.close()
    if run.too_little is not None:
        _say(run.too_little)
    return status


def _way_back(name: str, bed_file: Path, bed: Bed, aim: Aim | None, log_file: Path | None) -> WayBack:
    from bedwatch.commands.against import way_back  # only here, since it loads what saved settings need

    return way_back(name, bed_file, bed, aim, log_file)


def _tell_level(back: WayBack, watch: Watch, _: Reading) -> None:
    """An aim that is found on the first pictures tells where the powder stands."""
    if watch.aim is not None:
        back.stands_at(watch.aim.level_mm)


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


def _say(words: str) -> None:
    print(f"bedwatch: {words}", file=sys.stderr, flush=True)


@contextlib.contextmanager
def _output(as_json: bool, back: WayBack | None, valves: Valves, *, reasons: bool) -> Iterator[tuple[Give, Note]]:
    if back is not None:
        from bedwatch.commands.against import Teller, line_against
    if as_json:
        line = reading_line if back is None else partial(line_against, back)
        yield lambda reading: print(line(reading), flush=True), _say
        return
    # Only here, since a program that reads JSON needs nothing of what is drawn for people.
    from bedwatch.show.plain import PlainView

    with PlainView(sys.stdout, valves=valves, reasons=reasons) as view:
        yield view.show if back is None else both(view.show, Teller(back, view.note, valves)), view.note
