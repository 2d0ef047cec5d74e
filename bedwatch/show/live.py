"""The live picture on a terminal, for people; plain lines where there is none."""

from __future__ import annotations

import os
from collections.abc import Mapping
from types import TracebackType
from typing import Protocol, Self, TextIO

from rich.console import Console
from rich.live import Live
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import Reading
from bedwatch.show.look import is_screen, look_for
from bedwatch.show.plain import PlainView
from bedwatch.show.screen import screen

_REDRAWS_PER_S = 4.0
_MOST_NOTES = 3


class View(Protocol):
    """Where readings go for people to see."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def show(self, reading: Reading) -> None:
        """A new reading; it may replace one that was not drawn yet."""

    def note(self, words: str) -> None:
        """Something the program itself has to say, in one line."""


def open_view(
    bed: Bed, stream: TextIO, *, duration_s: float | None = None, environ: Mapping[str, str] | None = None
) -> View:
    """The live picture when the stream is a terminal that can move its cursor, else one line per change.

    duration_s: length of a file, for its progress; None for a camera. environ: where NO_COLOR and TERM are
    looked up; the process's own by default.
    """
    known_environ = os.environ if environ is None else environ
    if is_screen(stream, known_environ):
        return LiveView(bed, stream, duration_s=duration_s, environ=known_environ)
    return PlainView(stream, known_environ)


class LiveView:
    """Fills the terminal with the newest reading, redrawn at most four times a second, and follows its size.

    The picture is drawn on the terminal's second screen; when it ends, also by Ctrl-C, what stood there before
    comes back and the last picture is left below it.
    """

    def __init__(
        self,
        bed: Bed,
        stream: TextIO,
        *,
        duration_s: float | None = None,
        environ: Mapping[str, str] | None = None,
    ) -> None:
        known_environ = os.environ if environ is None else environ
        self._bed = bed
        self._look = look_for(stream, known_environ)
        self._duration_s = duration_s
        self._reading: Reading | None = None
        self._notes: tuple[str, ...] = ()
        self._drawn = Text()
        self._drawn_of: tuple[Reading | None, tuple[str, ...], tuple[int, int]] = (None, (), (0, 0))
        self._console = Console(
            file=stream, force_terminal=True, no_color=not self._look.colour, markup=False, highlight=False
        )
        self._live = Live(
            console=self._console,
            screen=True,
            get_renderable=self._draw,
            refresh_per_second=_REDRAWS_PER_S,
            redirect_stdout=False,
        )

    def __enter__(self) -> Self:
        self._live.start(refresh=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()
        if self._reading is not None:
            spare_rows = 2 if self._console.height < 30 else 3  # for a last message and the prompt
            self._console.print(self._picture(spare_rows=spare_rows), crop=False)

    def show(self, reading: Reading) -> None:
        """A new reading, drawn within a quarter of a second unless a newer one comes first."""
        self._reading = reading

    def note(self, words: str) -> None:
        """Something the program itself has to say; the latest few stay on the screen."""
        self._notes = (*self._notes, words)[-_MOST_NOTES:]

    def _draw(self) -> Text:
        now = (self._reading, self._notes, self._console.size)
        if now[0] is not self._drawn_of[0] or now[1:] != self._drawn_of[1:]:
            self._drawn_of, self._drawn = now, self._picture()
        return self._drawn

    def _picture(self, *, spare_rows: int = 0) -> Text:
        width, height = self._console.size
        return screen(
            self._reading,
            self._bed,
            self._look,
            width=width,
            height=max(1, height - spare_rows),
            duration_s=self._duration_s,
            notes=self._notes,
        )
