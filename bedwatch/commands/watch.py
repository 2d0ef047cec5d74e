"""`bedwatch watch`: the main job."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from bedwatch.aim.aimfile import read_aim
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_LOST, EXIT_NOT_FOUND
from bedwatch.frames.frame import Outcome, Source
from bedwatch.frames.open import open_source
from bedwatch.judge.types import Reading
from bedwatch.show import open_view, reading_line
from bedwatch.watch import End, Lost, Watch

Give = Callable[[Reading], None]
Note = Callable[[str], None]


def run_watch(
    source: str, bed_file: Path, aim_file: Path | None, *, as_json: bool, pictures_per_s: float | None
) -> int:
    """Exit status: 0 at the end of a file, 1 when the bed was not found, 3 when a live source was lost."""
    bed = read_bed(bed_file)
    aim = None if aim_file is None else read_aim(aim_file, bed)
    frames = open_source(source, pictures_per_s)
    try:
        with _output(bed, frames, as_json) as (give, note):
            return _follow(Watch(bed, aim), frames, give, note)
    finally:
        frames.close()


@contextlib.contextmanager
def _output(bed: Bed, frames: Source, as_json: bool) -> Iterator[tuple[Give, Note]]:
    if as_json:
        yield (
            lambda reading: print(reading_line(reading), flush=True),
            lambda words: print(f"bedwatch: {words}", file=sys.stderr),
        )
        return
    with open_view(bed, sys.stdout, duration_s=frames.duration_s) as view:
        yield view.show, view.note


def _follow(watch: Watch, frames: Source, give: Give, note: Note) -> int:
    told: set[str] = set()

    def tell() -> None:
        new = [words for words in frames.notes if words not in told]
        told.update(new)
        for words in new:
            note(words)

    def hand_on(reading: Reading | None) -> None:
        if reading is not None:
            give(reading)

    tell()
    now_s = 0.0
    for frame in frames:
        now_s = frame.time_s
        hand_on(watch.step(frame))
        if frames.live:  # what ails a file is counted up and told once, at its end
            tell()
        if watch.not_found is not None:
            break
    else:
        lost = frames.outcome is Outcome.LOST
        hand_on(watch.step(Lost(time_s=now_s) if lost else End(cut_short=frames.outcome is Outcome.CUT_SHORT)))
        if lost:
            tell()
            return EXIT_LOST
    tell()
    return 0 if watch.not_found is None else EXIT_NOT_FOUND
