"""A log played on the screen: what was seen and done, at its own speed or so many times as fast."""

from __future__ import annotations

import queue
import time
from collections.abc import Sequence
from contextlib import suppress

from bedwatch.bed import Bed
from bedwatch.commands.attendant import Left
from bedwatch.commands.follow import Give, Note
from bedwatch.commands.on_screen import run_on_screen
from bedwatch.judge.types import Did
from bedwatch.judge.way_back import Against
from bedwatch.keep.lines import Entry
from bedwatch.show.live_screen.app import LiveScreen
from bedwatch.show.live_screen.orders import Order, Pause

_LONGEST_WAIT_S = 2.0
_HOW = "A log is played: P pauses, X explains, Q leaves."


class Player:
    """Stands between the screen and the log. times: how many times as fast as it was seen."""

    def __init__(self, entries: Sequence[Entry], times: float) -> None:
        self.orders: queue.SimpleQueue[Order | None] = queue.SimpleQueue()
        self._entries = entries
        self._times = times
        self._app: LiveScreen | None = None

    def opened(self, app: LiveScreen) -> None:
        self._app = app

    def against(self) -> Against | None:
        return None

    def play(self, give: Give, note: Note) -> int:
        """Raises Left when the person does not want to see the rest."""
        note(_HOW)
        before_s: float | None = None
        for entry in self._entries:
            if isinstance(entry.what, Did):
                if self._app is not None:
                    self._app.made(entry.what)
                continue
            now_s = entry.what.time_s
            if before_s is not None:
                self._wait(min(max(now_s - before_s, 0.0) / self._times, _LONGEST_WAIT_S))
            before_s = now_s
            give(entry.what)
        return 0

    def rest(self) -> None:
        with suppress(Left):
            while True:
                self._heard(None)

    def _wait(self, wait_s: float) -> None:
        end_s, paused = time.monotonic() + wait_s, False
        while paused or (left_s := end_s - time.monotonic()) > 0.0:
            with suppress(queue.Empty):
                paused = self._heard(None if paused else left_s, paused)

    def _heard(self, limit_s: float | None, paused: bool = False) -> bool:
        """Whether it is paused after the next order, which is waited for so long."""
        order = self.orders.get(timeout=limit_s)
        if order is None:
            raise Left
        return order.on if isinstance(order, Pause) else paused


def play_on_screen(bed: Bed, entries: Sequence[Entry], times: float) -> int:
    """Until the person leaves; exit status 0."""
    player = Player(entries, times)
    return run_on_screen(bed, player, player.play, reports=False)
