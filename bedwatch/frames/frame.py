"""What a picture source gives: one record per frame, one protocol for every source."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol, overload

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2

Picture = NDArray[np.uint8]
_WHOLE = np.empty((0, 0), np.uint16)  # no fractions of a pixel


def pick(picture: Picture, at_px: NDArray[np.int16]) -> Picture:
    """Single pixels of a picture, (rows, cols) or (rows, cols, 3) as it is. at_px: (rows, cols, 2) whole pixels (u, v) of it."""
    return np.asarray(cv2.remap(picture, at_px, _WHOLE, cv2.INTER_NEAREST), np.uint8)


class Planes(Protocol):
    """A decoded picture with its colour kept apart from its brightness."""

    def coloured(self) -> Picture: ...
    def colours(self, at_px: NDArray[np.int16]) -> Picture: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One picture and what is known of when it was taken.

    picture: (height, width, 3) BGR or (height, width) grey, read-only; grey also where the decoder gives brightness and colour
    apart, in `planes`.
    time_s: source time in seconds from the first frame of the source.
    number: 0, 1, 2, ... over the frames that were delivered.
    dropped_before: frames known to be missing between this one and the one before it.
    repeated: the picture is the previous one again (a camera or recorder filled a gap with it).
    """

    picture: Picture
    time_s: float
    number: int
    dropped_before: int = 0
    repeated: bool = False
    planes: Planes | None = None

    def coloured(self) -> Picture:
        """(height, width, 3) BGR, read-only; (height, width) when there is no colour."""
        return self.picture if self.planes is None else self.planes.coloured()

    def colours(self, at_px: NDArray[np.int16]) -> Picture:
        """(rows, cols, 3) BGR of single pixels, or (rows, cols) grey. at_px: (rows, cols, 2) whole pixels (u, v)."""
        return pick(self.picture, at_px) if self.planes is None else self.planes.colours(at_px)


class Coloured(Sequence[Picture]):
    """The coloured pictures of some frames, each made anew when it is asked for: they take twice what the decoder gave."""

    def __init__(self, frames: Sequence[Frame]) -> None:
        self._frames = frames

    def __len__(self) -> int:
        return len(self._frames)

    @overload
    def __getitem__(self, at: int) -> Picture: ...
    @overload
    def __getitem__(self, at: slice) -> Coloured: ...
    def __getitem__(self, at: int | slice) -> Picture | Coloured:
        return Coloured(self._frames[at]) if isinstance(at, slice) else self._frames[at].coloured()


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A frame whose picture nobody wanted, so that it was not decoded; its fields are those of a `Frame`."""

    time_s: float
    number: int
    dropped_before: int = 0
    repeated: bool = False


# By its number, whether a frame's picture is wanted. May be asked in another thread, some frames ahead.
Wants = Callable[[int], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """No picture is at hand at this source time: only a live source says so, since a file has no pauses."""

    time_s: float


class Outcome(StrEnum):
    """How a source came to its end."""

    OPEN = "open"  # not at its end yet
    END = "end"  # the last frame of a file or folder was given out
    CUT_SHORT = "cut short"  # a file that ends before it said it would
    LOST = "lost"  # a live source went away and did not come back


class Source(Protocol):
    """Where frames come from. Iterate once; `close` may be called at any time, also twice.

    live: true when frames arrive in real time and must not be kept waiting.
    size_px: (width, height) of the pictures.
    duration_s: length by the container's word, for a progress bar only; None when unknown.
    outcome: how it ended; meaningful once the iterator is exhausted.
    notes: one line each for what the user should be told (holes, a file cut short, ...), in order.
    """

    @property
    def live(self) -> bool: ...
    @property
    def size_px(self) -> tuple[int, int]: ...
    @property
    def duration_s(self) -> float | None: ...
    @property
    def outcome(self) -> Outcome: ...
    @property
    def notes(self) -> tuple[str, ...]: ...
    def __iter__(self) -> Iterator[Frame]: ...
    def close(self) -> None: ...
