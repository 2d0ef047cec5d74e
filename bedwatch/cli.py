"""The command line: parse, call, exit status. Loads nothing heavy before it is needed."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import NoReturn

from bedwatch.errors import UserError

EXIT_NOT_FOUND = 1
EXIT_MISTAKE = 2
EXIT_LOST = 3
EXIT_BUG = 70  # EX_SOFTWARE of sysexits.h: must not be taken for one of ours, as Python's own 1 would
EXIT_SIGNAL = 128  # and the number of the signal, the shell's custom: 130 by Ctrl-C


def main(arguments: Sequence[str] | None = None) -> int:
    """Entry point: exit status, mistakes of the user's told in lines on standard error, no traceback.

    arguments: the command line without the program's name; None for the process's own.
    """
    _give_streams()
    with _signals():
        try:
            from bedwatch.commands.parser import parse

            return parse(arguments)()
        except UserError as mistake:
            return _tell(EXIT_MISTAKE, *mistake.lines)
        except BrokenPipeError:
            # Whoever read our output has seen enough.
            _drop_output()
            return 0
        except OSError as error:
            _drop_output()
            place = error.filename or "standard output"
            return _tell(EXIT_MISTAKE, f"{place}: {error.strerror or error}; make room or choose another place")
        except _Stopped as stopped:
            return _tell(EXIT_SIGNAL + stopped.number, "stopped")
        except KeyboardInterrupt:
            return _tell(EXIT_SIGNAL + signal.SIGINT, "stopped")
        except Exception:
            import traceback

            traceback.print_exc()
            return _tell(EXIT_BUG, "this is a mistake in the program, not yours; please report it with the lines above")


class _Stopped(BaseException):
    """A signal that asks to end: cleaning up goes on as after Ctrl-C."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


@contextmanager
def _signals() -> Iterator[None]:
    """Being ended from outside unwinds like Ctrl-C, so that nothing half-written stays behind."""

    def stop(number: int, _frame: FrameType | None) -> NoReturn:
        raise _Stopped(number)

    before = {}
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        # A signal that is ignored, as under nohup, stays ignored. Only the main thread may set handlers.
        with suppress(ValueError):
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _tell(status: int, *lines: str) -> int:
    with suppress(OSError):
        for line in lines:
            print(f"bedwatch: {line}", file=sys.stderr, flush=True)
    return status


def _give_streams() -> None:
    """A process started without standard output or error has None in their place."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w"))  # noqa: SIM115 - it lives as long as the process


def _drop_output() -> None:
    """What is left in the buffer has nowhere to go; without this, Python tries again when it ends, and complains."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
