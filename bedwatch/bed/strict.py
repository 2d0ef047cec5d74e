"""A strict reader of TOML files: every mistake in one go, each one line with file, line and key.

    document = Document.read(path)
    bed = document.top.table("bed")
    diameter_mm = bed.length_mm("diameter", 20.0, 10_000.0) if bed else None
    document.finish()  # raises FileError if anything was wrong, unknown keys too

The reading methods return None for what is missing or wrong, so that reading can go on to the next mistake.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.toml_lines import KeyLines, Path
from bedwatch.bed.toml_text import FileError, parse, printable, read_text, shown
from bedwatch.bed.units import angle_deg, length_mm

_MOST_LINES = 50


class Document:
    """A TOML file that is being read. `top` is its outermost table."""

    def __init__(self, name: str, text: str) -> None:
        """name: what messages call the file. Raises FileError when the text is not TOML."""
        self.name = printable(name, 400)
        values = parse(text, self.name)
        self._lines = KeyLines(text)
        self._mistakes: list[tuple[int, str]] = []
        self._tables: list[Table] = []
        self.top = Table(self, (), values)

    @classmethod
    def read(cls, path: FilePath | str) -> Document:
        """Opens a file. Raises FileError with one line when it cannot be read or is not TOML."""
        return cls(str(path), read_text(FilePath(path)))

    def mistake(self, path: Path, found_and_expected: str) -> None:
        """Notes "found ..., expected ..." about the key at `path`."""
        line = self._lines[path]
        where = f"{self.name}:{line}: {key_text(path)}: " if path else f"{self.name}:{line}: "
        self._mistakes.append((line, where + found_and_expected))

    def finish(self) -> None:
        """Raises FileError with all mistakes in the order of their lines, if there are any."""
        for table in self._tables:
            table.settle()
        if self._mistakes:
            lines = [text for _, text in sorted(self._mistakes, key=lambda pair: pair[0])]
            if len(lines) > _MOST_LINES:
                rest = len(lines) - _MOST_LINES
                lines = [*lines[:_MOST_LINES], f"{self.name}: found {rest} more mistakes, expected none"]
            raise FileError(*lines)

    def enrol(self, table: Table) -> None:
        """Has the table's unknown and missing keys reported at the end."""
        self._tables.append(table)


class Table:
    """One table of a document. Every key that is asked for is known; the others are mistakes at the end."""

    def __init__(self, document: Document, path: Path, values: dict[str, Any]) -> None:
        self._document = document
        self._values = values
        self._asked: list[str] = []
        self._missing: dict[str, str] = {}
        self.path = path
        document.enrol(self)

    def __contains__(self, key: str) -> bool:
        """Whether the file has the key (which makes it a known one)."""
        self._know(key)
        return key in self._values

    def mistake(self, key: str, found_and_expected: str) -> None:
        """Notes "found ..., expected ..." about one of the table's keys."""
        self._know(key)
        self._document.mistake((*self.path, key), found_and_expected)

    def value(self, key: str, expected: str, *, required: bool = True) -> Any:
        """The value as tomllib gives it; None when missing (TOML itself has no null)."""
        self._know(key)
        if key not in self._values and required:
            self._missing[key] = expected
        return self._values.get(key)

    def text(self, key: str, *, longest: int = 80, required: bool = True) -> str | None:
        """A text of printable letters that is not empty, without spaces round it."""
        expected = f"a text of 1 to {longest} printable letters"
        value = self.value(key, expected, required=required)
        if value is None:
            return None
        if not isinstance(value, str) or not 0 < len(value.strip()) <= longest or not value.strip().isprintable():
            self.mistake(key, f"found {shown(value)}, expected {expected}")
            return None
        return value.strip()

    def choice(self, key: str, options: tuple[str, ...], *, required: bool = True) -> str | None:
        """One of a few words."""
        expected = " or ".join(f'"{option}"' for option in options)
        value = self.value(key, expected, required=required)
        if value is None or (isinstance(value, str) and value in options):
            return value
        near = difflib.get_close_matches(value, options, 1) if isinstance(value, str) and len(value) <= 80 else []
        self.mistake(key, f"found {shown(value)}, expected {expected}{_did_you_mean(near)}")
        return None

    def flag(self, key: str, *, required: bool = True) -> bool | None:
        """true or false."""
        value = self.value(key, "true or false", required=required)
        if value is None or isinstance(value, bool):
            return value
        self.mistake(key, f"found {shown(value)}, expected true or false")
        return None

    def number(
        self, key: str, least: float = -math.inf, most: float = math.inf, *, required: bool = True
    ) -> float | None:
        """A finite number within [least, most]; true and false are not numbers."""
        expected = "a number" if math.isinf(least) and math.isinf(most) else f"a number from {least:g} to {most:g}"
        value = self.value(key, expected, required=required)
        if value is None:
            return None
        number = finite(value)
        if number is None or not least <= number <= most:
            self.mistake(key, f"found {shown(value)}, expected {expected}")
            return None
        return number

    def length_mm(
        self, key: str, least: float, most: float, *, example: str = "420 mm", required: bool = True
    ) -> float | None:
        """A length with its unit, in mm, within [least, most] mm; example: one that fits the key, for messages."""
        return self._quantity(key, length_mm, (least, most, "mm", "a length", example), required)

    def angle_deg(self, key: str, least: float, most: float, *, required: bool = True) -> float | None:
        """An angle with its unit, in degrees, within [least, most] degrees."""
        return self._quantity(key, angle_deg, (least, most, "deg", "an angle", "30 deg"), required)

    def _quantity(
        self, key: str, read: Callable[[str], float], kind: tuple[float, float, str, str, str], required: bool
    ) -> float | None:
        least, most, unit, what, example = kind
        bounds = f"{what} from {least:g} to {most:g} {unit}"
        value = self.value(key, f'{bounds}, such as "{example}"', required=required)
        if value is None:
            return None
        if not isinstance(value, str):
            unquoted = " without a unit" if finite(value) is not None else ""
            self.mistake(key, f'found {shown(value)}{unquoted}, expected {what} with its unit in quotes: "{example}"')
            return None
        try:
            number = read(value)
        except ValueError as error:
            self.mistake(key, str(error))
            return None
        if not least <= number <= most:
            self.mistake(key, f"found {shown(value)}, expected {bounds}")
            return None
        return number

    def whole_numbers(
        self, key: str, least: int, most: int, *, count: int | None = None, required: bool = True
    ) -> tuple[int, ...] | None:
        """An array of whole numbers, each within [least, most]; `count` of them, or at least one."""
        many = f"{count}" if count else "one or more"
        expected = f"an array of {many} whole numbers from {least} to {most}"
        value = self.value(key, expected, required=required)
        if value is None:
            return None
        good = isinstance(value, list) and len(value) > 0 and (count is None or len(value) == count)
        if good:
            good = all(isinstance(v, int) and not isinstance(v, bool) and least <= v <= most for v in value)
        if not good:
            self.mistake(key, f"found {shown(value)}, expected {expected}")
            return None
        return tuple(value)

    def numbers(self, key: str, *shape: int, required: bool = True) -> NDArray[np.float64] | None:
        """Finite numbers in nested arrays of the given shape: (2) a pair, (3, 3) three rows of three."""
        expected = f"an array of {' arrays of '.join(map(str, shape))} numbers"
        value = self.value(key, expected, required=required)
        if value is None:
            return None
        flat, good = [value], True
        for size in shape:
            good = good and all(isinstance(part, list) and len(part) == size for part in flat)
            flat = [part for whole in flat for part in whole] if good else []
        found = [number for number in map(finite, flat) if number is not None]
        if not good or len(found) != len(flat):
            self.mistake(key, f"found {shown(value)}, expected {expected}")
            return None
        return np.array(found).reshape(shape)

    def table(self, key: str, *, required: bool = True) -> Table | None:
        """A table inside this one."""
        value = self.value(key, f"a table [{key_text((*self.path, key))}]", required=required)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.mistake(key, f"found {shown(value)}, expected a table [{key_text((*self.path, key))}]")
            return None
        return Table(self._document, (*self.path, key), value)

    def tables(self, key: str, *, required: bool = True) -> tuple[Table, ...] | None:
        """An array of one or more tables, [[key]] in the file."""
        expected = f"tables [[{key_text((*self.path, key))}]]"
        value = self.value(key, expected, required=required)
        if value is None:
            return None
        if not isinstance(value, list) or not value or not all(isinstance(v, dict) for v in value):
            self.mistake(key, f"found {shown(value)}, expected {expected}")
            return None
        return tuple(Table(self._document, (*self.path, key, i), v) for i, v in enumerate(value))

    def settle(self) -> None:
        """Reports unknown keys, and missing ones unless an unknown key is that one misspelt."""
        meant = set()
        for key in self._values:
            if key in self._asked:
                continue
            near = difflib.get_close_matches(key, self._asked, 1, 0.6) if len(key) <= 80 else []
            meant.update(near)
            known = ", ".join(self._asked)
            self._document.mistake(
                (*self.path, key), f"found an unknown key, expected one of {known}{_did_you_mean(near)}"
            )
        for key, expected in self._missing.items():
            if key not in meant:
                self._document.mistake((*self.path, key), f"found nothing, expected {expected}")

    def _know(self, key: str) -> None:
        if key not in self._asked:
            self._asked.append(key)


def finite(value: object) -> float | None:
    """A TOML number as a float; None for anything else, for nan and infinity, and for true and false."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def key_text(path: Path) -> str:
    """A key path as it is shown: zones.custom[2].name, array elements counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            bare = re.fullmatch(r"[A-Za-z0-9_-]{1,60}", part)
            text += ("." if text else "") + (part if bare else f'"{printable(part)}"')
    return text


def _did_you_mean(near: list[str]) -> str:
    return f' (did you mean "{near[0]}"?)' if near else ""
