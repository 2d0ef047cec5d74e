"""What stands between the screen and a run: hears orders before every moment, paces, pauses, counts."""

from __future__ import annotations

import queue
from collections import deque
from collections.abc import Callable
from contextlib import suppress

from bedwatch.commands.desk import Desk
from bedwatch.commands.follow import Note
from bedwatch.frames.frame import Frame, Passed, Tick
from bedwatch.frames.pace import Pace
from bedwatch.judge.way_back import Against
from bedwatch.show.live_screen.app import LiveScreen
from bedwatch.show.live_screen.orders import Order, Pause
from bedwatch.show.standing import Camera
from bedwatch.watch import Lost, Watch

_RATE_S = 5.0
_RATE_EVERY_S = 1.0


class Left(Exception):  # noqa: N818 - no error
    """The person has left the screen."""


class Attendant:
    """Stands between the screen and the run: `attend` is called in the analysis thread before every moment."""

    def __init__(self, watch: Watch, desk: Desk, *, live: bool, real_time: bool) -> None:
        self.orders: queue.SimpleQueue[Order | None] = queue.SimpleQueue()  # None: leave
        self.camera: Callable[[Camera], None] = lambda _: None
        self.note: Note = lambda _: None
        self.paused = False
        self._watch = watch
        self._live = live
        self.desk = desk
        self._pace = Pace() if real_time and not live else None
        self._seen: deque[tuple[float, int]] = deque()
        self._told_s = 0.0
        self._now_s = 0.0

    def opened(self, app: LiveScreen) -> None:
        self.camera, self.note = app.camera, app.note
        self.desk.show_aim, self.desk.saved = app.show_aim, app.saved

    def against(self) -> Against | None:
        return None if self.desk.back is None else self.desk.back.against()

    def attend(self, moment: Frame | Passed | Tick) -> bool:
        """Whether the moment is to be looked at. Raises Left."""
        while True:
            try:
                # A paused file waits here; a paused camera runs on, and what it sees is not looked at.
                order = self.orders.get(block=self.paused and not self._live)
            except queue.Empty:
                break
            self._carry_out(order)
        self._now_s = moment.time_s
        if self.paused:
            return False
        if not isinstance(moment, Tick):
            if self._pace is not None:
                self._pace.wait(moment)
            self._count(moment)
        if isinstance(moment, Frame):
            self.desk.see(moment, self.note, live=self._live)
        return True

    def rest(self) -> None:
        """After the last moment: orders are carried out until the person leaves."""
        with suppress(Left):
            while True:
                self._carry_out(self.orders.get())

    def _carry_out(self, order: Order | None) -> None:
        if order is None:
            raise Left
        if isinstance(order, Pause):
            self.paused = order.on
            self._pace = None if self._pace is None else Pace()
            if order.on:
                self._watch.step(Lost(time_s=self._now_s))  # afterwards it begins anew: hands were at the bed
            return
        self.desk.carry_out(order, self.note)

    def _count(self, frame: Frame | Passed) -> None:
        self._seen.append((frame.time_s, frame.dropped_before))
        while self._seen[-1][0] - self._seen[0][0] > _RATE_S:
            self._seen.popleft()
        span_s = self._seen[-1][0] - self._seen[0][0]
        if frame.time_s - self._told_s >= _RATE_EVERY_S and span_s > 0.0:
            self._told_s = frame.time_s
            dropped = sum(missed for _, missed in list(self._seen)[1:])
            looked = len(self._seen) - 1
            self.camera(Camera(per_s=looked / span_s, dropped=dropped / (looked + dropped)))
