"""A watch with somebody at the screen: joins the watch, the desk, the log, the way back and the screen."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.commands.attendant import Attendant
from bedwatch.commands.attended import Attended
from bedwatch.commands.desk import Desk, kept_aim_file
from bedwatch.commands.follow import Give, Note, Run, both
from bedwatch.commands.keep_here import newest, saved_of
from bedwatch.commands.on_screen import run_on_screen
from bedwatch.frames.frame import Source
from bedwatch.judge.types import Did, Reading
from bedwatch.judge.way_back import WayBack
from bedwatch.keep.log import Log
from bedwatch.watch import Watch

# An aim file, the bed file and the bed: the aim, with what is doubtful about it said.
ReadAim = Callable[[Path, Path, Bed], Aim]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """What a run on the screen is given. aim: None to look for the bed. past: what the log tells. back: the way back to a
    saved setting, if that is what is wanted."""

    bed: Bed
    bed_file: Path
    source: str
    aim: Aim | None
    past: tuple[Reading | Did, ...]
    log: Log | None
    back: WayBack | None

    def run(self, frames: Source, aim_file: Path | None, *, real_time: bool, kept_aim: ReadAim) -> int:
        """Until the person leaves; the exit status. Raises what the run raised."""
        kept_file = kept_aim_file(self.bed_file, self.source)
        kept = None
        if self.aim is None and kept_file.is_file():
            kept = kept_aim(kept_file, self.bed_file, self.bed)
        watch = Watch(self.bed, self.aim, self.past, kept=kept)
        desk = Desk(watch, self.log, self.bed_file, self.source, kept, self.back)
        attendant = Attendant(watch, desk, live=frames.live, real_time=real_time)

        source = Attended(frames, attendant.attend)

        def follow(give: Give, note: Note) -> int:
            if self.log is not None:
                self.log.note = note
                give = both(self.log.reading, give)
            give = both(desk.hear, give)
            run = Run(watch, source, give, note, aim_file)
            while (status := run.follow()) == EXIT_NOT_FOUND and frames.live:
                watch.look_again()  # the camera can be moved, or the light changed, while somebody looks on
            if run.too_little is not None:
                note(run.too_little)
            return status

        try:
            saved = newest(self.bed_file.parent, self.bed) if self.back is None else saved_of(self.back.setting)
            return run_on_screen(
                self.bed, attendant, follow, duration_s=frames.duration_s, saved=saved, logs=self.log is not None
            )
        finally:
            if self.log is not None:
                self.log.note = _say


def _say(words: str) -> None:
    print(f"bedwatch: {words}", file=sys.stderr, flush=True)
