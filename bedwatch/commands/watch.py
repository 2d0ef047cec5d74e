"""`bedwatch watch`: the main job."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_LOST, EXIT_NOT_FOUND
from bedwatch.commands.attended import Attended, moments_of
from bedwatch.errors import UserError
from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Frame, Outcome, Source, Tick
from bedwatch.frames.live import GIVE_UP_S
from bedwatch.frames.open import live_name, open_source
from bedwatch.frames.pace import Pace
from bedwatch.judge.types import Reading, State
from bedwatch.show import PlainView, reading_line
from bedwatch.show.look import has_keys_and_screen
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
    real_time: bool = False,
) -> int:
    """Exit status: 0 at the end of a file, 1 when the bed was not found, 3 when a live source was lost.

    lost_after_s: how long a live source that fell silent is waited for; None for the usual. real_time: a file at its own
    speed.
    """
    bed = read_bed(bed_file)
    aim = None if aim_file is None else _aim_of(aim_file, bed_file, bed)
    if not as_json and (live := live_name(source)):
        _say(f"opening {live}")
    frames = open_source(source, pictures_per_s, GIVE_UP_S if lost_after_s is None else lost_after_s)
    if not frames.live:
        frames = Ahead(frames)
    watch = Watch(bed, aim)
    try:
        if not as_json and has_keys_and_screen(sys.stdin, sys.stdout, sys.stderr, environ=os.environ):
            return _on_screen(watch, frames, aim_file, real_time=real_time)
        if real_time:
            frames = Attended(frames, Pace().attend)
        with _output(as_json) as (give, note):
            run = _Run(watch, frames, give, note, aim_file)
            status = run.follow()
    finally:
        frames.close()
    if run.too_little is not None:
        _say(run.too_little)
    return status


def _on_screen(watch: Watch, frames: Source, aim_file: Path | None, *, real_time: bool) -> int:
    # Only here, since it loads what draws the screen.
    from bedwatch.commands.on_screen import Attendant, run_on_screen

    attendant = Attendant(watch, live=frames.live, write_down=lambda order, note: None, real_time=real_time)

    def follow(source: Source, give: Give, note: Note) -> int:
        run = _Run(watch, source, give, note, aim_file)
        status = run.follow()
        if run.too_little is not None:
            note(run.too_little)
        return status

    return run_on_screen(watch.bed, Attended(frames, attendant.attend), attendant, follow)


def _aim_of(aim_file: Path, bed_file: Path, bed: Bed) -> Aim:
    """The aim of a file, with what is doubtful about it said."""
    # Only here, since most of what they load is for writing aim files.
    from bedwatch.aim.aimfile import read_aim
    from bedwatch.commands.doubts import aim_doubts

    aim = read_aim(aim_file, bed)
    for line in aim_doubts(aim_file, bed_file, bed):
        _say(line)
    return aim


def _say(words: str) -> None:
    print(f"bedwatch: {words}", file=sys.stderr, flush=True)


@contextlib.contextmanager
def _output(as_json: bool) -> Iterator[tuple[Give, Note]]:
    if as_json:
        yield lambda reading: print(reading_line(reading), flush=True), _say
        return
    with PlainView(sys.stdout) as view:
        yield view.show, view.note


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
        for moment in moments_of(self._frames):
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
