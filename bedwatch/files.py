"""Writing files whole or not at all."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from bedwatch.errors import UserError


@contextmanager
def replacing(path: Path | str) -> Iterator[Path]:
    """A temporary file beside `path` to write to; it takes path's place when the block ends well, else it goes away.

    A link is followed, so that it stays a link; the new file's mode is what a plain `open` would have given it.
    Raises UserError when the folder is missing or cannot be written to, or the path is a folder.
    """
    goal = Path(os.path.realpath(path))
    if goal.is_dir():
        raise UserError(f"{path}: found a folder, expected the name of a file to write")
    # Named before it is made, so that being stopped at any moment leaves nothing behind.
    draft = goal.with_name(f".{goal.stem[:60]}-{secrets.token_hex(8)}{goal.suffix}")
    try:
        try:
            os.close(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        except OSError as error:
            raise UserError(
                f"{path}: cannot be written ({error.strerror}); choose a folder that exists and is yours"
            ) from error
        yield draft
        with draft.open("rb+") as written:
            os.fsync(written.fileno())
        draft.replace(goal)
    except OSError as error:
        raise UserError(f"{path}: cannot be written ({error.strerror}); make room or choose another place") from error
    finally:
        with suppress(OSError):  # below what is no folder there is nothing to remove
            draft.unlink(missing_ok=True)


def write_bytes(path: Path | str, content: bytes) -> None:
    """Write a file whole or not at all. Raises UserError as `replacing`."""
    with replacing(path) as draft:
        draft.write_bytes(content)


def check_places(places: Mapping[str, Path], keep: Mapping[str, Path] | None = None) -> None:
    """Before long work whose result goes to `places`: can it, as far as one can tell without writing?

    Both by what the user knows them as ("--out"). keep: files that must stay. Raises UserError with a line per mistake: a
    folder that is missing or cannot be written to, a folder in the file's place, two places that are one file.
    """
    mistakes = []
    wrong: set[Path] = set()  # folders already told: files that go to one folder need one line
    taken = {os.path.realpath(path): name for name, path in (keep or {}).items()}
    for name, path in places.items():
        goal = Path(os.path.realpath(path))
        if goal.is_dir():
            mistakes.append(f"{name}: found the folder {path}, expected the name of a file to write")
        elif goal.parent in wrong:
            pass
        elif goal.parent.exists() and not goal.parent.is_dir():
            wrong.add(goal.parent)
            mistakes.append(
                f"{name}: found the file {path.parent}, expected a folder to write {path} into; choose another"
            )
        elif not goal.parent.is_dir():
            wrong.add(goal.parent)
            mistakes.append(
                f"{name}: {path}: there is no folder {path.parent}, expected one that exists; make it first"
            )
        elif not os.access(goal.parent, os.W_OK):
            wrong.add(goal.parent)
            mistakes.append(f"{name}: {path}: the folder cannot be written to, expected one that is yours")
        if str(goal) in taken:
            mistakes.append(f"{name}: found {path}, the same file as {taken[str(goal)]}, expected a name of its own")
        taken[str(goal)] = name
    if mistakes:
        raise UserError(*mistakes)
