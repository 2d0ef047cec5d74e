"""Carries out what the person at the screen asks for, between two pictures."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from bedwatch.aim.aimfile import write_aim
from bedwatch.aim.types import Aim
from bedwatch.aim.window import Window, aim_in, bed_window
from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame
from bedwatch.frames.last_seconds import LastSeconds
from bedwatch.judge.types import Did
from bedwatch.keep.log import Log
from bedwatch.show.live_screen.orders import KeepClip, Noted, Order
from bedwatch.watch import Watch

Note = Callable[[str], None]


class Desk:
    """What lies beside the watch: the log, and the last half minute of a live source.

    Files are written beside the bed file. bed_file: its name is theirs too.
    """

    def __init__(self, watch: Watch, log: Log | None, bed_file: Path) -> None:
        self._watch = watch
        self._log = log
        self._bed_file = bed_file
        self._kept: LastSeconds | None = None
        self._window: Window | None = None
        self._aim: Aim | None = None

    def see(self, frame: Frame) -> None:
        """A picture of a live source goes by."""
        aim = self._watch.aim
        if aim is None:
            return
        if aim is not self._aim or self._kept is None:
            size_px = (frame.picture.shape[1], frame.picture.shape[0])
            self._aim, self._window = aim, bed_window(aim, size_px)
            self._kept = LastSeconds(self._window.part)
        self._kept.add(frame)

    def carry_out(self, order: Order, note: Note) -> None:
        """Does it, or says why not."""
        try:
            if isinstance(order, Did):
                self._watch.step(order)
                if self._log is not None:
                    self._log.did(order)
            elif isinstance(order, Noted):
                note(self._remark(order.words))
            elif isinstance(order, KeepClip):
                note(self._clip())
        except UserError as mistake:
            for line in mistake.lines:
                note(line)

    def _remark(self, words: str) -> str:
        if self._log is None:
            return "There is no log to write into; start with --log FILE to have one."
        self._log.remark(words)
        return "The note is in the log."

    def _clip(self) -> str:
        if self._kept is None or self._aim is None or self._window is None:
            return "There is nothing to keep: only a camera's or a stream's last 30 s are, once the bed is found."
        stem = re.sub(r"\.bed$", "", self._bed_file.stem)
        clip = self._bed_file.with_name(f"{stem}.{datetime.now():%Y-%m-%d-%H%M%S}.clip.avi")
        seconds = self._kept.write(clip)
        aim = clip.with_suffix(".aim.toml")
        write_aim(aim_in(self._aim, self._window), aim)
        return f"The last {seconds:.0f} s are kept in {clip}, its aim beside it."
