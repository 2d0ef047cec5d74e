"""Folders, globs and single files of pictures."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.frames.picture_size import picture_size
from bedwatch.frames.reel import FileSource, Shot

SUFFIXES = frozenset({".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp", ".pgm"})
ASSUMED_PER_S = 30.0
_TIME_IN_NAME = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?)(m?)s$", re.IGNORECASE)
_NUMBER_IN_NAME = re.compile(r"^(.*?)(\d+)$")
_MISSING_MOST = 0.2
_NAMED_MOST = 5


def is_picture(path: Path) -> bool:
    """Whether the name has the ending of a picture, and is not a hidden file."""
    return path.suffix.lower() in SUFFIXES and not path.name.startswith(".")


def natural_key(path: Path) -> tuple[tuple[int, int, str], ...]:
    """Sorts img_9 before img_10: runs of digits compare as numbers."""
    parts = re.split(r"(\d+)", str(path).casefold())
    return tuple((1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts)


def read_picture(path: Path) -> Picture | None:
    """(h, w, 3) BGR or (h, w) grey, 8 bit, alpha dropped; None if it cannot be decoded. Raises OSError."""
    # imread cannot open every path on Windows; imdecode of nothing raises.
    data = np.fromfile(path, np.uint8)
    if data.size == 0:
        return None
    try:
        picture = cv2.imdecode(data, cv2.IMREAD_ANYCOLOR)
    except cv2.error:
        return None
    return None if picture is None else np.asarray(picture, np.uint8)


class PictureDecoder:
    """Reads pictures one by one; `times_s` beside them.

    A broken or unreadable one is left out and counted. Raises UserError when a picture's size is not that of
    the first.
    """

    whole: bool | None = True

    def __init__(self, paths: Sequence[Path], times_s: Sequence[float], notes: Sequence[str]) -> None:
        self.notes: list[str] = list(notes)
        self.duration_s: float | None = None
        if len(times_s) > 1:
            self.duration_s = times_s[-1] - times_s[0] + float(np.median(np.diff(times_s)))
        self._left = list(zip(paths, times_s, strict=True))[::-1]
        self._shape: tuple[int, ...] | None = None
        self._named = 0

    def read(self) -> Shot | None:
        """The next picture that can be decoded; None after the last."""
        broken = 0
        while self._left:
            path, time_s = self._left.pop()
            picture, why = None, "is not a whole picture"
            try:
                picture = read_picture(path)
            except OSError as error:
                why = f"cannot be read ({error.strerror})"
            if picture is None:
                broken += 1
                self._named += 1
                # The count of all follows in one line of its own.
                if self._named <= _NAMED_MOST:
                    self.notes.append(f"{path}: {why}; left out")
                continue
            self._check_size(path, picture)
            return Shot(picture=picture, time_s=time_s, broken_before=broken)
        return None

    def close(self) -> None:
        """Give up the rest."""
        self._left.clear()

    def _check_size(self, path: Path, picture: Picture) -> None:
        shape = picture.shape[:2]
        if self._shape is None:
            self._shape = shape
        elif shape != self._shape:
            raise _unlike(path, shape[::-1], self._shape[::-1])


class PictureFiles(FileSource):
    """Pictures as a `Source`, in the order given.

    Times: from the names if every one ends in one (`bed_12.345s.png`, `bed_12345ms.png`); else from
    pictures_per_s, or 30/s with a note that this is a guess. Numbers in the names that skip a few mark
    missing pictures. Raises UserError when the sizes differ or none can be decoded.
    """

    def __init__(self, paths: Sequence[Path], name: str, pictures_per_s: float | None = None) -> None:
        _refuse_unlike(paths)
        paths, times_s, notes = _timed(paths, pictures_per_s)
        super().__init__(PictureDecoder(paths, times_s, notes), name)


def _timed(paths: Sequence[Path], pictures_per_s: float | None) -> tuple[Sequence[Path], list[float], list[str]]:
    if pictures_per_s is None and (named := _times_in_names(paths)) is not None:
        ordered = sorted(zip(named, paths, strict=True))
        return [path for _, path in ordered], [time_s for time_s, _ in ordered], []
    notes = []
    if pictures_per_s is None and len(paths) > 1:
        notes.append(
            f"pictures carry no times: taken as {ASSUMED_PER_S:g} per second, a guess; "
            "speeds are only as right as it is"
        )
    per_s = pictures_per_s or ASSUMED_PER_S
    return paths, [place / per_s for place in _places(paths)], notes


def _times_in_names(paths: Sequence[Path]) -> list[float] | None:
    """Seconds, one per path; None unless every name has one and all differ."""
    times = []
    for path in paths:
        found = _TIME_IN_NAME.search(path.stem)
        if found is None:
            return None
        times.append(float(found[1]) / (1000.0 if found[2] else 1.0))
    return times if len(times) > 1 and len(set(times)) == len(times) else None


def _places(paths: Sequence[Path]) -> list[int]:
    """0, 1, 2, ..., with gaps where numbered names skip a few; if they skip many it is no numbering."""
    plain = list(range(len(paths)))
    found = [_NUMBER_IN_NAME.match(path.stem) for path in paths]
    heads = {(path.parent, match[1]) for path, match in zip(paths, found, strict=True) if match}
    if len(heads) != 1 or None in found:
        return plain
    numbers = [int(match[2]) for match in found if match]
    steps = [b - a for a, b in pairwise(numbers)]
    if not steps or min(steps) <= 0:
        return plain
    unit = Counter(steps).most_common(1)[0][0]
    if any(step % unit for step in steps):
        return plain
    places = [(number - numbers[0]) // unit for number in numbers]
    return places if places[-1] + 1 - len(places) <= _MISSING_MOST * len(places) else plain


def _refuse_unlike(paths: Sequence[Path]) -> None:
    """Compare the sizes in the headers, as far as they can be read without decoding."""
    first: tuple[int, int] | None = None
    for path in paths:
        size = picture_size(path)
        if size is None:
            continue
        first = first or size
        # A camera's turn flag swaps the sides after this; decoding compares again.
        if sorted(size) != sorted(first):
            raise _unlike(path, size, first)


def _unlike(path: Path, size: Sequence[int], first: Sequence[int]) -> UserError:
    return UserError(
        f"{path}: is {size[0]} x {size[1]} pixels; the pictures before it are {first[0]} x {first[1]}; "
        "keep pictures of one camera setting in a folder of their own"
    )
