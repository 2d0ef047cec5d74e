"""A command on a pseudo-terminal: keys go in, what it draws comes out. Not on Windows, which has none."""

from __future__ import annotations

import os
import re
import select
import struct
import subprocess
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Self

_ESCAPES = re.compile(rb"\x1b\[[0-9;?<>=]*[a-zA-Z]|\x1b[=>78]|\x1b\][^\x07]*\x07")


class Terminal:
    """seen: all that was drawn so far, escape sequences too. stdin, stdout: something else in the terminal's place."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        columns: int = 100,
        rows: int = 30,
        cwd: Path | None = None,
        environ: Mapping[str, str] | None = None,
        stdin: int | None = None,
        stdout: int | None = None,
    ) -> None:
        import fcntl
        import pty
        import termios

        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        plain = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR", "COLORFGBG")}
        self.process: subprocess.Popen[bytes] = subprocess.Popen(
            command,
            stdin=theirs if stdin is None else stdin,
            stdout=theirs if stdout is None else stdout,
            stderr=theirs,
            cwd=cwd,
            env=plain | {"TERM": "xterm-256color"} | dict(environ or {}),
            start_new_session=True,
        )
        os.close(theirs)
        self.seen = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.hang_up()
        out: IO[bytes] | None = self.process.stdout
        if out is not None:
            out.close()

    def hang_up(self) -> None:
        """The terminal is closed, as when its window is; no signal comes with it, since it controls nothing."""
        if self._ours >= 0:
            os.close(self._ours)
        self._ours = -1

    def press(self, keys: str) -> None:
        os.write(self._ours, keys.encode())

    def until(self, words: str | None, limit_s: float = 60.0) -> bytes:
        """What is drawn until the words stand in it; without words for so long. Raises AssertionError when they never do."""
        found, end_s = b"", time.monotonic() + limit_s
        while (left_s := end_s - time.monotonic()) > 0:
            if not select.select([self._ours], [], [], left_s)[0]:
                break
            try:
                chunk = os.read(self._ours, 65536)
            except OSError:  # Linux says so when the other end is closed
                break
            if not chunk:
                break
            found += chunk
            self.seen += chunk
            if words is not None and words.encode() in _ESCAPES.sub(b"", found):
                return found
        assert words is None, f"{words!r} was never drawn: {_ESCAPES.sub(b'', found)[-3000:]!r}"
        return found

    def end(self, limit_s: float = 30.0) -> int:
        """The exit status, once the command has ended by itself."""
        end_s = time.monotonic() + limit_s
        while self.process.poll() is None and time.monotonic() < end_s:
            self.until(None, 0.1)
        status = self.process.wait(1.0)
        with suppress(OSError):
            self.until(None, 0.1)
        return status

    @property
    def text(self) -> str:
        """All that was drawn so far without escape sequences."""
        return _ESCAPES.sub(b"", self.seen).decode(errors="replace")


__all__ = ["Terminal"]
