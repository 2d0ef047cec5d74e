"""Writing a log: line by line to the end of the file, so that others may append to it too and nothing written is lost."""

from __future__ import annotations

import errno
import json
import os
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from bedwatch.bed import Bed
from bedwatch.errors import UserError
from bedwatch.files import check_places
from bedwatch.judge.types import Did, Reading
from bedwatch.keep.lines import VERSION, Began, did_dict, line_of
from bedwatch.show.jsonl import reading_dict

# A power cut costs at most this much of the log; writing every line through to the disk would hold up a file that is read fast.
SYNC_EVERY_S = 2.0

Note = Callable[[str], None]


class Log:
    """A log that is open for writing. note: told what the user should know, each thing once; may be set anew.

    A last line that was cut off, as after a power cut, is set aside in `<name>.cut` when the log is opened. A disk that is
    full is told, and watching goes on; lines are written again as soon as there is room. Raises UserError when the file
    cannot be opened.
    """

    def __init__(self, path: Path | str, bed: Bed, source: str, note: Note) -> None:
        self._path = Path(path)
        self.note = note
        self._began: Began | None = Began(version=VERSION, bed=bed.name, source=source)
        self._lost = 0
        self._torn = False
        self._synced_s = time.monotonic()
        self._file = -1
        try:
            if self._made_later():
                return
            self._open()
        except OSError as error:
            raise UserError(
                f"{path}: the log cannot be written ({error.strerror}); choose a file in a folder that exists and is yours"
            ) from error
        try:
            self._mend()
        except OSError as error:
            os.close(self._file)
            raise UserError(
                f"{path}: the log's cut-off last line cannot be set aside ({error.strerror}); make room"
            ) from error

    def __enter__(self) -> Log:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def reading(self, reading: Reading) -> None:
        """Append a reading that was given out."""
        if self._write(line_of(reading_dict(reading), _now(), self._began)):
            self._began = None

    def did(self, did: Did) -> None:
        """Append a move that was made, through to the disk."""
        self._write(line_of(did_dict(did), _now()))
        self._sync(0.0)

    def remark(self, words: str) -> None:
        """Append what somebody wanted to be remembered, through to the disk."""
        self._write(line_of({"note": words}, _now()))
        self._sync(0.0)

    def close(self) -> None:
        """Everything through to the disk. May be called twice."""
        if self._lost:
            self.note(f"{self._path}: {self._lost} lines are missing at the end of the log")
            self._lost = 0
        if self._file >= 0:
            self._sync(0.0)
            os.close(self._file)
            self._file = -1

    def _write(self, line: str) -> bool:
        data = (line + "\n").encode()
        if self._torn:  # half a line stands there: end it, so that it spoils no other
            data = b"\n" + data
        try:
            if self._file < 0:
                self._open()
            written = os.write(self._file, data)
            if written < len(data):
                self._torn = True
                raise OSError(errno.ENOSPC, "no space left for the whole line")
        except OSError as error:
            if not self._lost:
                self.note(f"{self._path}: the log cannot be written ({error.strerror}); watching goes on, make room")
            self._lost += 1
            return False
        if self._lost:
            self.note(f"{self._path}: the log is written again; {self._lost} lines are missing")
        self._lost, self._torn = 0, False
        self._sync(SYNC_EVERY_S)
        return True

    def _made_later(self) -> bool:
        """Whether the log is new and can be made: it is made with its first line, so that a mistake leaves no empty one."""
        if self._path.exists():
            return False
        check_places({"--log": self._path})
        try:
            os.close(os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        except FileExistsError:  # somebody else's line came first
            return False
        self._path.unlink()
        return True

    def _open(self) -> None:
        self._file = os.open(self._path, os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)

    def _sync(self, every_s: float) -> None:
        now_s = time.monotonic()
        if self._file < 0 or now_s - self._synced_s < every_s:
            return
        self._synced_s = now_s
        try:
            os.fsync(self._file)
        except OSError as error:
            if not self._lost and error.errno != errno.EINVAL:  # what is no file cannot be written through
                self.note(f"{self._path}: the log is not sure to be on the disk ({error.strerror})")

    def _mend(self) -> None:
        """The end of the file is made the end of a line."""
        size = os.fstat(self._file).st_size
        tail, start = b"", size
        while start > 0 and b"\n" not in tail:
            step = min(65536, start)
            start -= step
            os.lseek(self._file, start, os.SEEK_SET)
            tail = os.read(self._file, step) + tail
        rest = tail.rpartition(b"\n")[2]
        if not rest:
            return
        try:
            json.loads(rest.decode())
        except (ValueError, RecursionError):
            aside = self._path.with_name(self._path.name + ".cut")
            with aside.open("ab") as kept:
                kept.write(rest + b"\n")
                kept.flush()
                os.fsync(kept.fileno())
            os.ftruncate(self._file, size - len(rest))
            self.note(f"{self._path}: the last line was cut off after {len(rest)} bytes; it was set aside in {aside}")
            return
        os.write(self._file, b"\n")  # whole, but written without its line end


def _now() -> datetime:
    return datetime.now(UTC)
