"""The looks of the test of lines: clips one after another, or a camera that runs on between them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from bedwatch.aim.aimfile import read_aim
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.commands.looked import Looked, look
from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Tick
from bedwatch.frames.live import GIVE_UP_S, LiveSource
from bedwatch.frames.open import live_name, open_source
from bedwatch.judge.advisor import look_of
from bedwatch.judge.belief import Seen
from bedwatch.judge.types import Reading, State
from bedwatch.watch import End, Watch

Seens = tuple[Seen, ...]
LOOK_S = 12.0
SETTLE_S = 15.0  # air is renewed and the powder has answered


def look_at_clip(source: str, bed: Bed, aim_file: Path | None, rate: float | None) -> Seens:
    """What a clip, a folder of pictures or a log shows at its end. Raises UserError when it shows nothing of the bed."""
    looked: Looked = look(source, bed, aim_file, None, rate)
    if looked.not_found is not None:
        raise UserError(f"{source}: the bed was not found: {looked.not_found}")
    found = _newest(looked.readings)
    if found is None:
        looked.steady()  # raises with the reason
        raise UserError(f"{source}: found no reading, expected about 8 s of undisturbed picture or more")
    return look_of(found).seen


class CameraLooks:
    """A camera or a stream that stays open; every look waits until the bed has settled.

    Raises UserError when the source is lost or the bed is not found.
    """

    def __init__(self, source: str, bed: Bed, aim_file: Path | None) -> None:
        self._bed = bed
        self._aim: Aim | None = None if aim_file is None else read_aim(aim_file, bed)
        _say(f"opening {live_name(source)}")
        frames = open_source(source, None, GIVE_UP_S)
        assert isinstance(frames, LiveSource)
        self._frames = frames
        self._moments: Iterator[Frame | Tick] = iter(frames.moments())

    def close(self) -> None:
        self._frames.close()

    def look(self, settle_s: float = SETTLE_S) -> Seens | str:
        """What the bed shows from now on; words when nothing can be told, and why."""
        _say(f"keep out of the picture: {settle_s:.0f} s to settle, then {LOOK_S:.0f} s to look")
        watch = Watch(self._bed, self._aim)
        newest: Reading | None = None
        last: Reading | None = None
        for moment in self._from_now(settle_s):
            reading = watch.step(moment)
            last = reading or last
            newest = reading if reading is not None and reading.state is State.READING else newest
            if watch.not_found is not None:
                return f"the bed was not found: {watch.not_found.reason}. {watch.not_found.advice}"
        ended = watch.step(End())
        if ended is not None and ended.state is State.READING:
            newest = ended
        if watch.aim is not None:
            self._aim = watch.aim
        if newest is None:
            seen = "nothing" if last is None else last.state.value.replace("_", " ")
            return f"no reading ({seen}): keep hands and tools out of the picture"
        return look_of(newest).seen

    def _from_now(self, settle_s: float) -> Iterator[Frame | Tick]:
        """The moments of one look, by a clock that begins with it."""
        began_s: float | None = None
        for moment in self._moments:
            if began_s is None:
                began_s = moment.time_s + settle_s
            since_s = moment.time_s - began_s
            if since_s < 0:
                continue
            if since_s > LOOK_S:
                return
            yield replace(moment, time_s=since_s)
        raise UserError("the camera or stream was lost: look at its cable, then begin again")


def _newest(readings: Sequence[Reading]) -> Reading | None:
    return next((one for one in reversed(readings) if one.state is State.READING), None)


def _say(words: str) -> None:
    print(f"bedwatch: {words}", file=sys.stderr, flush=True)


TakeLook = Callable[[], Seens | str]

__all__ = ["CameraLooks", "Seens", "TakeLook", "look_at_clip"]
