"""Carries out what the person at the screen asks for, between two pictures."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from rich.text import Text

from bedwatch.aim.aimfile import write_aim
from bedwatch.aim.draw import check_picture, small_picture
from bedwatch.aim.types import Aim
from bedwatch.aim.window import Window, aim_in, bed_window
from bedwatch.commands.keep_here import Minutes, save_here, saved_of
from bedwatch.errors import UserError
from bedwatch.files import write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Picture
from bedwatch.frames.last_seconds import LastSeconds
from bedwatch.frames.open import live_name
from bedwatch.judge.types import Did, Reading
from bedwatch.judge.way_back import WayBack
from bedwatch.keep.log import Log
from bedwatch.keep.names import checked_name
from bedwatch.keep.settings import has_setting
from bedwatch.show.live_screen.orders import KeepAim, KeepClip, KeepSetting, LookAgain, Noted, Order, ShowAim
from bedwatch.show.standing import Saved
from bedwatch.show.thumbnail import thumbnail
from bedwatch.watch import Watch

Note = Callable[[str], None]


_LINES_RIGHT = "Are the lines on the rim and the powder's edge, and 12 where your 12 o'clock is?"
_NO_PICTURE = "A picture of it needs a terminal with colours; SPACE writes one to look at, beside the aim that is kept."


class Desk:
    """What lies beside the watch: the log, the last picture, and the last half minute of a live source.

    Files are written beside the bed file, under its name. source: as the user typed it. kept_aim: the aim kept from another
    day. back: the way back to a saved setting, if that is what is wanted. show_aim, saved: where to show the bed as it was
    found, and the setting to compare with; set by who runs the screen.
    """

    def __init__(
        self,
        watch: Watch,
        log: Log | None,
        bed_file: Path,
        source: str,
        kept: Aim | None = None,
        back: WayBack | None = None,
    ) -> None:
        self.back = back
        self.show_aim: Callable[[Text, bool], None] = lambda _text, _found: None
        self.saved: Callable[[Saved], None] = lambda _: None
        self._source = live_name(source) or Path(source).name
        self._minutes = Minutes()
        self._watch = watch
        self._log = log
        self._bed_file = bed_file
        self._aim_file = kept_aim_file(bed_file, source)
        self._kept_aim = kept
        self._frame: Frame | None = None
        self._kept: LastSeconds | None = None
        self._window: Window | None = None
        self._aim: Aim | None = None

    def see(self, frame: Frame, note: Note, *, live: bool) -> None:
        """A picture goes by; a live source's are kept for half a minute."""
        self._frame = frame
        aim = self._watch.aim
        if aim is None:
            return
        if aim is not self._aim:
            if self._kept_aim is not None:
                note(self._about_kept(aim, self._kept_aim))
                self._kept_aim = None
            self._aim, self._window = aim, bed_window(aim, (frame.picture.shape[1], frame.picture.shape[0]))
            self._kept = LastSeconds(self._window.part) if live else None
        if self._kept is not None:
            self._kept.add(frame)

    def hear(self, reading: Reading) -> None:
        """A reading was given out."""
        self._minutes.hear(reading)
        if self.back is not None:
            if self._watch.aim is not None:
                self.back.stands_at(self._watch.aim.level_mm)
            self.back.add(reading)

    def carry_out(self, order: Order, note: Note) -> None:
        """Does it, or says why not."""
        try:
            if isinstance(order, Did):
                self._watch.step(order)
                self._minutes.forget()
                if self.back is not None:
                    self.back.add(order)
                if self._log is not None:
                    self._log.did(order)
            elif isinstance(order, Noted):
                note(self._remark(order.words))
            elif isinstance(order, KeepClip):
                note(self._clip())
            elif isinstance(order, KeepSetting):
                note(self._keep_setting(order))
            elif isinstance(order, ShowAim):
                self._draw_aim(order)
            elif isinstance(order, KeepAim):
                note(self._keep_aim())
            elif isinstance(order, LookAgain):
                self._watch.look_again()
        except UserError as mistake:
            for line in mistake.lines:
                note(line)

    def _picture(self) -> Picture | None:
        """The newest picture, in colour."""
        return None if self._frame is None else self._frame.coloured()

    def _keep_setting(self, order: KeepSetting) -> str:
        name = checked_name(order.name, "name")
        if has_setting(name, [self._bed_file.parent]):
            raise UserError(f'there is a setting "{name}" already and nothing was saved; V again, with another name')
        setting = self._minutes.setting(order, self._watch, self._picture(), self._source)
        path = save_here(setting, self._watch, self._picture(), self._bed_file.parent)
        self.saved(saved_of(setting))
        return f"The setting is saved in {path}, of {setting.seen_s:.0f} s seen."

    def _about_kept(self, aim: Aim, kept: Aim) -> str:
        if aim is kept:
            return f"The camera stands as in {self._aim_file}, which holds; A shows it."
        return f"The camera does not stand as in {self._aim_file}: the bed was found anew. A shows it, and keeps it."

    def _draw_aim(self, order: ShowAim) -> None:
        picture, aim = self._picture(), self._watch.aim
        if picture is None or aim is None:
            missing = self._watch.not_found
            words = "The bed is still being looked for." if missing is None else f"{missing.reason}. {missing.advice}"
            self.show_aim(Text(words), False)
            return
        columns = min(order.columns, 2 * order.rows * picture.shape[1] // picture.shape[0])
        lines = thumbnail(*small_picture(picture, self._watch.bed, aim, columns)) if columns else []
        error = "" if aim.error_mm is None else f", places good to ± {aim.error_mm:.1f} mm"
        said = [Text(f"{aim.mm_per_px:.2f} mm per pixel at the centre{error}.")]
        said += [Text(f"! {problem.kind}: {problem.advice}") for problem in aim.problems]
        said.append(Text(_LINES_RIGHT if lines else _NO_PICTURE, style="bold"))
        self.show_aim(Text("\n").join([*lines, *said]), True)

    def _keep_aim(self) -> str:
        picture, aim = self._picture(), self._watch.aim
        if picture is None or aim is None:
            return "There is no aim to keep."
        if aim.size_px is None:
            aim = replace(aim, size_px=(picture.shape[1], picture.shape[0]))
        write_aim(aim, self._aim_file)
        drawn = self._aim_file.with_suffix(".check.png")
        write_bytes(drawn, cv2.imencode(".png", check_picture(picture, self._watch.bed, aim))[1].tobytes())
        return f"The aim is kept in {self._aim_file}, and holds the next time too; look at {drawn}."

    def _remark(self, words: str) -> str:
        if self._log is None:
            return "There is no log to write into; start with --log FILE to have one."
        self._log.remark(words)
        return "The note is in the log."

    def _clip(self) -> str:
        if self._kept is None or self._aim is None or self._window is None:
            return "There is nothing to keep: only a camera's or a stream's last 30 s are, once the bed is found."
        clip = self._bed_file.with_name(f"{_stem(self._bed_file)}.{datetime.now():%Y-%m-%d-%H%M%S}.clip.avi")
        seconds = self._kept.write(clip)
        aim = clip.with_suffix(".aim.toml")
        write_aim(aim_in(self._aim, self._window), aim)
        return f"The last {seconds:.0f} s are kept in {clip}, its aim beside it."


def kept_aim_file(bed_file: Path, source: str) -> Path:
    """Where the aim of a source is kept: beside the bed file, named after both."""
    name = live_name(source) or Path(source).name
    return bed_file.with_name(f"{_stem(bed_file)}.{re.sub(r'[^A-Za-z0-9]+', '-', name).strip('-')[:60]}.aim.toml")


def _stem(bed_file: Path) -> str:
    return bed_file.stem.removesuffix(".bed")
