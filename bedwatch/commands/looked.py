"""One look at a bed from which something is to be kept: a clip, a camera, or the log of another look."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bedwatch.aim.flat import flat_jpeg
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.errors import UserError
from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Frame, Source, Tick
from bedwatch.frames.live import GIVE_UP_S, LiveSource
from bedwatch.frames.open import live_name, open_source
from bedwatch.judge.steady import Steady, mean_of
from bedwatch.judge.types import Did, Reading, State
from bedwatch.keep.read import read_log
from bedwatch.watch import End, Watch

LOG_ENDING = ".jsonl"
LIVE_S = 40.0  # of a camera or stream: the window fills, and then three that share nothing
_LEAST_S, _MOST_S = 8.0, 3600.0
_NO_READING = "expected about 8 s of undisturbed picture or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What a look gave. readings: in order, of all states. did: what the operator did, each with the number of
    readings before it. aim, picture (a JPEG of the surface laid flat): None from a log.
    not_found: why the bed was not found, None when it was.
    """

    source: str
    readings: tuple[Reading, ...]
    did: tuple[tuple[int, Did], ...] = ()
    aim: Aim | None = None
    picture: bytes | None = None
    not_found: str | None = None

    @property
    def name(self) -> str:
        """What to call the source on paper: a file's name without its folder."""
        return live_name(self.source) or Path(self.source).name or self.source

    def steady(self) -> Steady:
        """Raises UserError, one line, when there is no honest reading."""
        found = mean_of(self.readings)
        if found is None:
            states = sorted({reading.state.value for reading in self.readings})
            seen = f"only {', '.join(states)}" if states else "nothing"
            raise UserError(f"{self.source}: found {seen} and no reading, {_NO_READING}")
        return found


def look(source: str, bed: Bed, aim_file: Path | None, seconds: float | None, rate: float | None = None) -> Looked:
    """A log is read, a file watched to its end, a camera or stream for `seconds` (40 if None).

    Raises UserError when the source cannot be read, or holds other zones than the bed.
    """
    if seconds is not None and not _LEAST_S <= seconds <= _MOST_S:
        raise UserError(f"--seconds: found {seconds:g}, expected a number from {_LEAST_S:g} to {_MOST_S:g}")
    if source.casefold().endswith(LOG_ENDING):
        return _from_log(Path(source), bed)
    aim = None
    if aim_file is not None:
        from bedwatch.aim.aimfile import read_aim

        aim = read_aim(aim_file, bed)
    if live := live_name(source):
        print(f"bedwatch: opening {live}", file=sys.stderr, flush=True)
    frames = open_source(source, rate, GIVE_UP_S)
    if not frames.live:
        frames = Ahead(frames)
    try:
        return _watched(source, bed, aim, frames, LIVE_S if seconds is None else seconds)
    finally:
        frames.close()


def _watched(source: str, bed: Bed, aim: Aim | None, frames: Source, live_s: float) -> Looked:
    watch = Watch(bed, aim)
    readings: list[Reading] = []
    newest: Frame | None = None
    shown: tuple[Frame, Aim] | None = None
    for moment in _moments(frames, live_s):
        if isinstance(moment, Frame):
            newest = moment
        reading = watch.step(moment)
        if reading is not None:
            readings.append(reading)
            if reading.state is State.READING and newest is not None and watch.aim is not None:
                shown = (newest, watch.aim)
        if watch.not_found is not None:
            break
    last = watch.step(End())
    if last is not None:
        if readings and readings[-1].time_s == last.time_s:
            readings.pop()
        readings.append(last)
        if shown is None and last.state is State.READING and newest is not None and watch.aim is not None:
            shown = (newest, watch.aim)
    for note in frames.notes:
        print(f"bedwatch: {note}", file=sys.stderr, flush=True)
    why = watch.not_found
    return Looked(
        source=source,
        readings=tuple(readings),
        aim=watch.aim,
        picture=None if shown is None else flat_jpeg(shown[0].coloured(), shown[1], bed),
        not_found=None if why is None else f"{why.reason}. {why.advice}",
    )


def _moments(frames: Source, live_s: float) -> Iterator[Frame | Tick]:
    for moment in frames.moments() if isinstance(frames, LiveSource) else frames:
        yield moment
        if frames.live and moment.time_s >= live_s:
            return


def _from_log(path: Path, bed: Bed) -> Looked:
    book = read_log(path, bed)
    readings: list[Reading] = []
    did: list[tuple[int, Did]] = []
    for entry in book.entries:
        if isinstance(entry.what, Did):
            did.append((len(readings), entry.what))
        else:
            readings.append(entry.what)
    for note in book.notes:
        print(f"bedwatch: {note}", file=sys.stderr)
    return Looked(source=str(path), readings=tuple(readings), did=tuple(did))


__all__ = ["LOG_ENDING", "Looked", "look"]
