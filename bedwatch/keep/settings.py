"""The folder of settings: save, find, list, rename, remove. A setting is NAME.setting.toml and a picture beside it.

The TOML file is what counts: a picture is written under a name of its own before the TOML that names it takes its place,
and an old one is removed after. So at any moment a name stands for one whole setting or for none.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from bedwatch.bed.toml_text import printable
from bedwatch.errors import UserError
from bedwatch.files import write_bytes
from bedwatch.judge.setting import Setting
from bedwatch.keep.names import checked_name, same_name
from bedwatch.keep.setting_read import read_setting
from bedwatch.keep.setting_text import setting_text

ENDING = ".setting.toml"
_HASH_LETTERS = 8
# What a save leaves behind that was killed on the way is older than this when another one clears it away.
_STALE_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A file of the folder. setting is None when it cannot be read: `damage` then says why, a line for each mistake.

    picture: the picture's file, None when there is none or it is not as it was saved, which `damage` tells too.
    """

    path: Path
    name: str
    setting: Setting | None
    picture: Path | None = None
    damage: tuple[str, ...] = ()


def file_of(folder: Path, name: str) -> Path:
    """Where a setting of that name lies."""
    return folder / f"{name}{ENDING}"


def save_setting(
    setting: Setting, folder: Path, picture: bytes | None = None, *, ending: str = ".jpg", force: bool = False
) -> Path:
    """Writes a setting, with its picture if there is one, whole or not at all; the TOML file's path.

    Raises UserError when the name is not fit, is taken (by another spelling too) and force is not given, or the
    folder cannot be written to.
    """
    name = checked_name(setting.name)
    taken = _taken(folder, name)
    if taken is not None and not force:
        raise UserError(
            f'{taken}: found a setting "{name}" already, expected a name that is free, or --force to replace it'
        )
    path = taken or file_of(folder, name)
    old = _picture_named(path)
    beside = _write(replace(setting, name=name), path, picture, ending)
    if old is not None and old.name != beside:
        with suppress(OSError):
            old.unlink(missing_ok=True)
    _clear_away(folder, name, beside)
    return path


def _write(setting: Setting, path: Path, picture: bytes | None, ending: str) -> str | None:
    """The picture under a name no other one has, then the file that names it; the picture's name."""
    beside, new = None, False
    if picture is not None:
        beside = f"{setting.name}.{hashlib.sha256(picture).hexdigest()[:_HASH_LETTERS]}{ending}"
        new = not (path.parent / beside).exists()
        write_bytes(path.parent / beside, picture)
    try:
        write_bytes(path, setting_text(replace(setting, picture=beside)).encode())
    except UserError:
        if beside is not None and new:
            (path.parent / beside).unlink(missing_ok=True)  # no setting names it
        raise
    return beside


def _clear_away(folder: Path, name: str, beside: str | None) -> None:
    """Drafts and pictures of this name that a killed save has left; nothing that another save may be about to name."""
    draft = re.compile(rf"\.{re.escape(name)}\.(setting|[0-9a-f]{{{_HASH_LETTERS}}})-[0-9a-f]{{16}}\.\w+")
    picture = re.compile(rf"{re.escape(name)}\.([0-9a-f]{{{_HASH_LETTERS}}})\.\w+")
    with suppress(OSError):
        for path in folder.iterdir():
            shown = picture.fullmatch(path.name)
            if path.name == beside or not (shown or draft.fullmatch(path.name)):
                continue
            with suppress(OSError):
                if time.time() - path.stat().st_mtime < _STALE_S:
                    continue
                if shown is None or hashlib.sha256(path.read_bytes()).hexdigest().startswith(shown[1]):
                    path.unlink()


def look_up(text: str, folders: Sequence[Path]) -> Path:
    """The file that is meant by a path, or by a name in the first of the folders that has it.

    Raises UserError, one line, when there is none.
    """
    path = Path(text)
    if text.casefold().endswith(".toml") or len(path.parts) > 1:
        if not path.is_file():
            raise UserError(f"{printable(text, 200)}: found no such file, expected a setting, NAME{ENDING}")
        return path
    for folder in folders:
        if text and (found := _taken(folder, text)) is not None:
            return found
    there = [kept.name for folder in dict.fromkeys(folders) for kept in list_settings(folder)]
    known = f"it has {', '.join(f'{name!r}' for name in there[:6])}" if there else "there is none yet"
    where = " or ".join(dict.fromkeys(str(folder) for folder in folders))
    raise UserError(
        f"{printable(text)}: found no setting of that name in {where}, expected one that was saved there ({known})"
    )


def has_setting(name: str, folders: Sequence[Path]) -> bool:
    """Whether one of the folders has a setting of that name."""
    return bool(name) and any(_taken(folder, name) is not None for folder in folders)


def open_setting(path: Path) -> Kept:
    """A setting and what is wrong with its picture. Raises UserError when the setting itself cannot be read."""
    name = path.name.removesuffix(ENDING)
    setting = replace(read_setting(path), name=name)  # who copies or renames a file by hand means it
    if setting.picture is None:
        return Kept(path=path, name=name, setting=setting)
    picture = path.parent / setting.picture
    told = _picture_damage(picture)
    return Kept(path=path, name=name, setting=setting, picture=None if told else picture, damage=told)


def list_settings(folder: Path) -> list[Kept]:
    """Every setting of a folder by its name; damaged ones with what is wrong, none of them changed.

    Raises UserError when the folder is not there or cannot be read.
    """
    try:
        paths = sorted((path for path in folder.iterdir() if path.name.endswith(ENDING)), key=lambda path: path.name)
    except OSError as error:
        raise UserError(f"{folder}: cannot be read ({error.strerror}), expected a folder of settings") from error
    found = []
    for path in paths:
        try:
            found.append(open_setting(path))
        except UserError as mistake:
            found.append(Kept(path=path, name=path.name.removesuffix(ENDING), setting=None, damage=mistake.lines))
    return found


def rename_setting(path: Path, name: str) -> Path:
    """Gives a setting another name; the new file. The old one is there until the new one is whole."""
    kept = open_setting(path)
    assert kept.setting is not None
    new = checked_name(name)
    taken = _taken(path.parent, new)
    if taken is not None and not _one_file(taken, path):
        raise UserError(f'{taken}: found a setting "{new}" already, expected a name that is free; remove it first')
    goal = file_of(path.parent, new)
    if goal == path:
        return path
    content = None if kept.picture is None else kept.picture.read_bytes()
    ending = "" if kept.picture is None else kept.picture.suffix
    beside = _write(replace(kept.setting, name=new), goal, content, ending)
    old = kept.picture if kept.picture is not None and kept.picture.name != beside else None
    _remove(None if _one_file(goal, path) else path, old)  # large and small letters may not be told apart here
    return goal


def remove_setting(path: Path) -> list[Path]:
    """Removes a setting and its picture; what was removed. One that is damaged goes too, its picture stays."""
    picture = _picture_named(path)
    return _remove(path, picture)


def _remove(path: Path | None, picture: Path | None) -> list[Path]:
    gone = []
    for one in (path, picture):
        if one is None or not one.exists():
            continue
        try:
            one.unlink()
        except OSError as error:
            raise UserError(f"{one}: cannot be removed ({error.strerror}), expected a file that is yours") from error
        gone.append(one)
    return gone


def _taken(folder: Path, name: str) -> Path | None:
    """The file that has this name, or one that some systems take for the same."""
    exact = file_of(folder, name)
    with suppress(OSError, ValueError):
        if exact.is_file():
            return exact
        for path in folder.iterdir():
            if path.name.endswith(ENDING) and same_name(path.name.removesuffix(ENDING), name):
                return path
    return None


def _one_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _picture_named(path: Path) -> Path | None:
    """The picture that a setting's file names, if it can be read and is there."""
    try:
        name = read_setting(path).picture
    except UserError:
        return None
    picture = None if name is None else path.parent / name
    return picture if picture is not None and picture.is_file() else None


def _picture_damage(picture: Path) -> tuple[str, ...]:
    """What is wrong with a picture that a setting names; its name carries the first letters of its SHA-256."""
    try:
        content = picture.read_bytes()
    except OSError as error:
        return (f"{picture}: its picture cannot be read ({error.strerror}); the figures are whole",)
    wanted = picture.stem.rpartition(".")[2]
    if len(wanted) == _HASH_LETTERS and hashlib.sha256(content).hexdigest()[:_HASH_LETTERS] != wanted:
        return (f"{picture}: its picture is not the one that was saved; the figures are whole",)
    return ()


__all__ = [
    "ENDING",
    "Kept",
    "file_of",
    "list_settings",
    "look_up",
    "open_setting",
    "remove_setting",
    "rename_setting",
    "save_setting",
]
