"""`bedwatch watch` on a terminal: the screen in the main thread, the analysis in another, messages between them."""

from __future__ import annotations

import asyncio
import os
import queue
import select
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Protocol, TextIO

from bedwatch.bed import Bed
from bedwatch.commands.attendant import Left
from bedwatch.commands.follow import Give, Note
from bedwatch.judge.types import Reading
from bedwatch.judge.way_back import Against
from bedwatch.show.live_screen.app import LiveScreen
from bedwatch.show.live_screen.orders import Order
from bedwatch.show.look import look_for
from bedwatch.show.plain import plain_line
from bedwatch.show.standing import Saved

# Follows something to its end: where readings and notes go; the exit status.
Follow = Callable[[Give, Note], int]

_LEAVE_S = 5.0
_LOOK_EVERY_S = 1.0  # at whether the terminal is still there
_ENDED = {0: "The clip has ended.", 1: "The bed was not found.", 3: "The camera is lost."}


class Hand(Protocol):
    """What stands between the screen and what feeds it. orders: filled by the screen; None: the person leaves."""

    orders: queue.SimpleQueue[Order | None]

    def opened(self, app: LiveScreen) -> None:
        """The screen that will stand, before it does."""

    def against(self) -> Against | None:
        """Where the bed stands on the way back to a setting, None when that is not wanted."""

    def rest(self) -> None:
        """After the end: orders are carried out until the person leaves."""


def run_on_screen(
    bed: Bed,
    hand: Hand,
    follow: Follow,
    *,
    duration_s: float | None = None,
    saved: Saved | None = None,
    reports: bool = True,
    logs: bool = True,
) -> int:
    """Shows the run until it ends and a key is pressed, or the person leaves; the exit status. Raises what the run raised."""
    runner = _Runner(hand, follow)
    look = look_for(sys.stdout, os.environ)
    with _own_error_stream() as caught:
        app = LiveScreen(
            bed,
            look,
            hand.orders.put,
            begin=lambda: runner.begin(app),
            duration_s=duration_s,
            saved=saved,
            reports=reports,
            logs=logs,
        )
        caught.append(app.note)
        hand.opened(app)
        with _signals_kept() as signals:
            runner.signals = signals
            try:
                app.run(mouse=False)
            finally:
                runner.leave()
    if runner.last is not None:
        print(plain_line(runner.last, look=look, valves=bed.valves), flush=True)
    if runner.signals.number is not None:
        signal.raise_signal(runner.signals.number)
    if app.failure is not None:
        raise app.failure
    if app.stopped:
        raise KeyboardInterrupt
    if runner.error is not None:
        raise runner.error
    return runner.status


class _Runner:
    """The thread that looks at the pictures."""

    def __init__(self, hand: Hand, follow: Follow) -> None:
        self.status = 0
        self.error: BaseException | None = None
        self.last: Reading | None = None
        self.signals = _Signals()
        self._hand = hand
        self._follow = follow
        self._thread: threading.Thread | None = None

    def begin(self, app: LiveScreen) -> None:
        self.signals.leave_by(app)
        self._thread = threading.Thread(target=self._run, args=(app,), name="analysis", daemon=True)
        self._thread.start()

    def leave(self) -> None:
        self._hand.orders.put(None)
        if self._thread is not None:
            self._thread.join(_LEAVE_S)

    def _run(self, app: LiveScreen) -> None:
        def give(reading: Reading) -> None:
            self.last = reading
            app.give(reading, self._hand.against())

        try:
            self.status = self._follow(give, app.note)
        except Left:
            return
        except BaseException as error:  # handed over, and raised in the main thread
            self.error = error
            app.end(None)
            return
        app.end(_ENDED.get(self.status, "The run has ended."))
        self._hand.rest()


class _Signals:
    """Being asked to end from outside closes the screen first; the event loop would swallow it otherwise."""

    def __init__(self) -> None:
        self.number: int | None = None

    def leave_by(self, app: LiveScreen) -> None:
        """Called within the event loop."""
        loop = asyncio.get_running_loop()
        loop.call_later(_LOOK_EVERY_S, self._look_at_terminal, loop, app)
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                with suppress(NotImplementedError, RuntimeError, ValueError):
                    loop.add_signal_handler(number, self._leave, app, number)

    def _look_at_terminal(self, loop: asyncio.AbstractEventLoop, app: LiveScreen) -> None:
        """A terminal that is closed without a signal, as by a program that held it, leaves nobody to show anything to."""
        if self.number is None and _hung_up(sys.stdin):
            _draw_nowhere()
            self._leave(app, signal.SIGHUP)
        elif self.number is None:
            loop.call_later(_LOOK_EVERY_S, self._look_at_terminal, loop, app)

    def _leave(self, app: LiveScreen, number: int) -> None:
        self.number = number
        app.exit()


def _hung_up(terminal: TextIO) -> bool:
    """Whether the other end of a terminal is gone. Never on Windows, which has no hanging up."""
    if not hasattr(select, "poll"):
        return False
    ask = select.poll()
    try:
        ask.register(terminal.fileno(), 0)
    except (OSError, ValueError):
        return True
    return any(what & (select.POLLHUP | select.POLLERR | select.POLLNVAL) for _, what in ask.poll(0))


def _draw_nowhere() -> None:
    """What is still to be drawn to give the terminal back would be a failure. Both streams were that terminal."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.__stdout__, sys.__stderr__):
        if stream is not None:
            os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


@contextmanager
def _signals_kept() -> Iterator[_Signals]:
    """Gives the handlers back that stood before."""
    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    try:
        yield _Signals()
    finally:
        for number, handler in before.items():
            with suppress(ValueError, TypeError):
                signal.signal(number, handler)


@contextmanager
def _own_error_stream() -> Iterator[list[Note]]:
    """The screen is drawn on standard error, where native libraries write too: what they and we say there is caught.

    It goes line by line to the functions in the list. On Windows the screen is drawn on standard output, and nothing is caught.
    """
    listeners: list[Note] = []
    if sys.platform == "win32":
        yield listeners
        return
    sys.stderr.flush()
    kept, (out, into), whole = os.dup(2), os.pipe(), sys.__stderr__
    os.dup2(into, 2)
    os.close(into)
    vars(sys)["__stderr__"] = drawn = _stream(kept)
    reader = threading.Thread(target=_hand_on, args=(out, listeners), name="standard error", daemon=True)
    reader.start()
    try:
        yield listeners
    finally:
        sys.stderr.flush()
        os.dup2(kept, 2)
        reader.join(1.0)
        vars(sys)["__stderr__"] = whole
        drawn.close()


def _stream(number: int) -> TextIO:
    return open(number, "w", encoding=sys.stdout.encoding or "utf-8", errors="replace", newline="")


def _hand_on(out: int, listeners: list[Note]) -> None:
    with open(out, encoding="utf-8", errors="replace") as lines:
        for line in lines:
            for listener in listeners:
                listener(line.rstrip().removeprefix("bedwatch: "))
