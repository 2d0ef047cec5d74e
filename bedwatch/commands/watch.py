"""`bedwatch watch`: the main job."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_LOST, EXIT_NOT_FOUND
from bedwatch.commands.against import Teller, line_against, way_back
from bedwatch.errors import UserError
from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Frame, Outcome, Source, Tick
from bedwatch.frames.live import GIVE_UP_S, LiveSource
from bedwatch.frames.open import live_name, open_source
from bedwatch.judge.types import Did, Reading, State
from bedwatch.judge.way_back import WayBack
from bedwatch.keep.log import Log
from bedwatch.keep.read import read_log
from bedwatch.show import open_view, reading_line
from bedwatch.watch import End, Lost, Watch

Give = Callable[[Reading], None]
Note = Callable[[str], None]

READING_NEEDS_S = 8.0


def run_watch(
    source: str,
    bed_file: Path,
    aim_file: Path | None,
    *,
    as_json: bool,
    pictures_per_s: float | None,
    lost_after_s: float | None = None,
    log_file: Path | None = None,
    against: str | None = None,
) -> int:
    """Exit status: 0 at the end of a file, 1 when the bed was not found, 3 when a live source was lost.

    lost_after_s: how long a live source that fell silent is waited for; None for the usual.
    log_file: gets every reading; what it holds already is gone on from. against: a saved setting to go back to.
    """
    bed = read_bed(bed_file)
    aim = None if aim_file is None else _aim_of(aim_file, bed_file, bed)
    past = () if log_file is None or not log_file.is_file() else _past(log_file, bed)
    back = None if against is None else way_back(against, bed_file, bed, aim, log_file)
    if not as_json and (live := live_name(source)):
        _say(f"opening {live}")
    frames = open_source(source, pictures_per_s, GIVE_UP_S if lost_after_s is None else lost_after_s)
    if not frames.live:
        frames = Ahead(frames)
    try:
        with contextlib.ExitStack() as stack:
            log = None if log_file is None else stack.enter_context(Log(log_file, bed, source, _say))
            give, note = stack.enter_context(_output(bed, frames, as_json, back))
            if log is not None:
                log.note = note
                give = _both(log.reading, give)
            run = _Run(Watch(bed, aim, past), frames, give, note, aim_file)
            status = run.follow()
    finally:
        frames.close()
    if run.too_little is not None:
        _say(run.too_little)
    return status


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
def _output(bed: Bed, frames: Source, as_json: bool, back: WayBack | None) -> Iterator[tuple[Give, Note]]:
    if as_json:
        line = reading_line if back is None else partial(line_against, back)
        yield lambda reading: print(line(reading), flush=True), _say
        return
    with open_view(bed, sys.stdout, duration_s=frames.duration_s) as view:
        yield view.show if back is None else _both(view.show, Teller(back, view.note)), view.note


class _Run:
    """One source, from its first frame to its end."""

    def __init__(self, watch: Watch, frames: Source, give: Give, note: Note, aim_file: Path | None) -> None:
        self._watch = watch
        self._frames = frames
        self._give = give
        self._note = note
        self._aim_file = aim_file
        self._told: set[str] = set()
        self._held: Reading | None = None
        self._last: Reading | None = None
        self._read = False
        self._now_s = 0.0

    def follow(self) -> int:
        """Hands on all readings; the exit status."""
        try:
            return self._follow()
        finally:
            self._release()

    @property
    def too_little(self) -> str | None:
        """What to say when it ended before anything could be judged."""
        if self._read or self._last is None or self._last.state is not State.SETTLING:
            return None
        seen, needed = f"{self._now_s:.1f} s seen", f"a reading needs about {READING_NEEDS_S:g} s of"
        if self._now_s < READING_NEEDS_S:
            return f"only {seen}; {needed} picture"
        return f"no reading in {seen}; {needed} undisturbed picture"

    def _follow(self) -> int:
        self._tell()
        for moment in self._frames.moments() if isinstance(self._frames, LiveSource) else self._frames:
            self._now_s = moment.time_s
            reading = self._step(moment)
            self._release()
            self._held = reading
            if self._frames.live:
                self._release()
                self._tell()  # what ails a file is counted up and told once, at its end
            if self._watch.not_found is not None:
                break
        else:
            return self._end()
        self._tell()
        return EXIT_NOT_FOUND

    def _end(self) -> int:
        lost = self._frames.outcome is Outcome.LOST
        cut_short = self._frames.outcome is Outcome.CUT_SHORT
        reading = self._watch.step(Lost(time_s=self._now_s) if lost else End(cut_short=cut_short))
        if reading is not None and self._held is not None and reading.time_s == self._held.time_s:
            self._held = None  # the last one knows more: that the source ended here
        if lost and self._last is not None and reading is not None and self._last.time_s >= reading.time_s:
            reading = None  # the last tick said so already
        self._release()
        self._held = reading
        self._release()
        self._tell()
        if lost:
            return EXIT_LOST
        return 0 if self._watch.not_found is None else EXIT_NOT_FOUND

    def _step(self, moment: Frame | Tick) -> Reading | None:
        try:
            return self._watch.step(moment)
        except UserError as mistake:
            if self._aim_file is None or not isinstance(moment, Frame) or moment.number > 0:
                raise
            # On the first frame it can only be the aim that does not fit.
            raise UserError(*(f"{self._aim_file}: {line}" for line in mistake.lines)) from mistake

    def _release(self) -> None:
        """A reading of a file is held back for one frame: the one at the end is replaced by the last."""
        reading, self._held = self._held, None
        if reading is not None:
            self._last = reading
            self._read = self._read or reading.state is State.READING
            self._give(reading)

    def _tell(self) -> None:
        new = [words for words in self._frames.notes if words not in self._told]
        self._told.update(new)
        for words in new:
            self._note(words)
