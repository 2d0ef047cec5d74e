"""Where in a TOML text each key stands. tomllib names lines for syntax errors only."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from contextlib import suppress

Path = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_KEY = re.compile(r"[A-Za-z0-9_-]+|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}|' r"'''(?:[^']|'(?!''))*'{3,5}|" r'"(?:[^"\\\n]|\\.)*"|' r"'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]*")


class KeyLines:
    """Line numbers, from 1, of every key, table header and array element of a *valid* TOML text.

    A path is made of keys, and of numbers from 0 for the elements of arrays: ("zones", "custom", 1, "name").
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._ends = [match.start() for match in re.finditer("\n", text)]
        self._lines: dict[Path, int] = {}
        self._tables: dict[Path, int] = {}  # arrays of tables: the element that is open
        # should it lose its way in a text that tomllib takes, the nearest known line serves
        with suppress(_LostError, RecursionError):
            self._document()

    def __getitem__(self, path: Path) -> int:
        """Line of the path, or of the nearest thing around it that has one; 1 for the whole text."""
        while path:
            if path in self._lines:
                return self._lines[path]
            path = path[:-1]
        return 1

    def _document(self) -> None:
        table: Path = ()
        while True:
            self._skip(_GAP)
            if self._at >= len(self._text):
                return
            start = self._at
            if self._next("["):
                array = self._next("[")
                table = self._header(self._key(), start, array=array)
                self._need("]")
                if array:
                    self._need("]")
            else:
                self._pair(table)

    def _header(self, parts: list[str], start: int, *, array: bool) -> Path:
        """The path a header opens, with the numbers of the array elements it lies in."""
        path: Path = ()
        for number, part in enumerate(parts):
            path = (*path, part)
            self._mark(path, start)
            if array and number == len(parts) - 1:
                self._tables[path] = self._tables.get(path, -1) + 1
            if path in self._tables:
                path = (*path, self._tables[path])
                self._mark(path, start)
        return path

    def _pair(self, table: Path) -> None:
        start = self._at
        path = table
        for part in self._key():
            path = (*path, part)
            self._mark(path, start)
        self._need("=")
        self._skip(_SPACE)
        self._value(path)

    def _key(self) -> list[str]:
        parts = []
        while True:
            self._skip(_SPACE)
            raw = self._take(_KEY)
            parts.append(str(tomllib.loads(f"k={raw}")["k"]) if raw[0] in "\"'" else raw)
            self._skip(_SPACE)
            if not self._next("."):
                return parts

    def _value(self, path: Path) -> None:
        if self._next("["):
            self._elements(path)
        elif self._next("{"):
            self._skip(_GAP)
            while not self._next("}"):
                self._pair(path)
                self._skip(_GAP)
                self._next(",")
                self._skip(_GAP)
        elif self._text.startswith(('"', "'"), self._at):
            self._take(_STRING)
        else:
            self._take(_SCALAR)

    def _elements(self, path: Path) -> None:
        number = 0
        self._skip(_GAP)
        while not self._next("]"):
            if self._at >= len(self._text):
                raise _LostError
            self._mark((*path, number), self._at)
            self._value((*path, number))
            number += 1
            self._skip(_GAP)
            self._next(",")
            self._skip(_GAP)

    def _mark(self, path: Path, at: int) -> None:
        self._lines.setdefault(path, bisect_right(self._ends, at - 1) + 1)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self._text, self._at)
        if match is not None:
            self._at = match.end()

    def _take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self._text, self._at)
        if match is None or not match.group():
            raise _LostError
        self._at = match.end()
        return match.group()

    def _next(self, mark: str) -> bool:
        if self._text.startswith(mark, self._at):
            self._at += len(mark)
            return True
        return False

    def _need(self, mark: str) -> None:
        self._skip(_SPACE)
        if not self._next(mark):
            raise _LostError


class _LostError(Exception):
    """The scanner lost its way."""
