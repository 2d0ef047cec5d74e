"""Reading a small TOML file so that whatever is wrong with it becomes one line for the user."""

from __future__ import annotations

import json
import re
import stat
import tomllib
from pathlib import Path as FilePath
from typing import Any

from bedwatch.errors import UserError

LARGEST_BYTES = 1_000_000
_DEEPEST_KEY = 32
# tomllib needs time and memory with the square of the parts of one dotted key
_KEY_PART = r"(?:[A-Za-z0-9_-]+|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*')"
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_\\-]){_KEY_PART}(?:[ \t]*\.[ \t]*{_KEY_PART}){{{_DEEPEST_KEY}}}")
_BARE_QUANTITY = re.compile(r"=\s*[-+]?[0-9][0-9.,]*\s*(mm|cm|m|in|ft|deg|rad)\b")


class FileError(UserError):
    """Everything that is wrong with one file, a line for each mistake."""


def printable(text: str, longest: int = 60) -> str:
    """The text on one line: what cannot be printed as escapes, cut to `longest` letters."""
    cut = text if len(text) <= longest else text[: longest - 3] + "..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in cut)


def shown(value: object) -> str:
    """A TOML value as it may be quoted in a message: short, one line, harmless to a terminal."""
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**20 else "a huge number"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        try:
            text = json.dumps(value, ensure_ascii=False)
        except (TypeError, ValueError, RecursionError):
            return "an array"
        return printable(text) if len(text) <= 60 else f"an array of {len(value)} values"
    return f"a date or time ({value})"


def read_text(path: FilePath) -> str:
    """The text of a plain UTF-8 file of at most `LARGEST_BYTES`. Raises FileError, with one line,
    otherwise.
    """
    name = printable(str(path), 400)
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise FileError(f"{name}: found a folder, expected a TOML file")
        if not stat.S_ISREG(mode):
            raise FileError(f"{name}: found a device or pipe, expected a plain TOML file")
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise FileError(f"{name}: found no such file, expected a TOML file; check the name") from None
    except PermissionError:
        raise FileError(f"{name}: found a file that may not be read, expected one with read permission") from None
    except (OSError, ValueError) as error:
        reason = printable(getattr(error, "strerror", None) or str(error))
        raise FileError(f"{name}: found a file that cannot be opened ({reason}), expected a TOML file") from None
    if len(data) > LARGEST_BYTES:
        raise FileError(f"{name}: found more than 1 MB, expected a small TOML file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FileError(f"{name}:{line}: found bytes that are not UTF-8, expected text; save it as UTF-8") from None
    if not text.strip():
        raise FileError(f"{name}: found an empty file, expected TOML")
    return text.replace("\r\n", "\n")


def parse(text: str, name: str) -> dict[str, Any]:
    """The tables of a TOML text. Raises FileError with one line, with its line number, when it is not
    TOML.
    """
    long_key = _LONG_KEY.search(text)
    if long_key is not None:
        line = text.count("\n", 0, long_key.start()) + 1
        raise FileError(f"{name}:{line}: found a key of more than {_DEEPEST_KEY} parts, expected a plain key")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileError(_syntax_line(text, name, str(error))) from None
    except RecursionError:
        raise FileError(f"{name}: found brackets nested too deeply, expected a plain TOML file") from None
    except ValueError as error:  # a number of thousands of digits
        raise FileError(f"{name}: found a value out of range ({printable(str(error))}), expected TOML") from None


def _syntax_line(text: str, name: str, message: str) -> str:
    lines = text.split("\n")
    place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
    line = int(place.group(1)) if place and place.group(1) else max(1, len(text.rstrip().split("\n")))
    reason = printable(message[: place.start()] if place else message, 120)
    source = lines[line - 1].strip() if line <= len(lines) else ""
    advice = '; write a length or an angle in quotes, as "420 mm"' if _BARE_QUANTITY.search(source) else ""
    return f"{name}:{line}: found {shown(source)}, expected TOML ({reason}){advice}"
