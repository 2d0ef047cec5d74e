"""The part of the picture that shows the bed, and the aim for pictures of that part alone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bedwatch.aim.outline import outline_points
from bedwatch.aim.types import Aim, Corners, Ellipse, Outline

# Round the rim, as a share of the bed's size in the picture: what stands still there is the witness for a shaking camera.
MARGIN = 0.08
_EVEN = 2  # JPEG and most players halve the colours


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A part of a picture in whole pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def part(self) -> tuple[slice, slice]:
        """Rows and columns, to index a picture with."""
        return slice(self.top, self.top + self.height), slice(self.left, self.left + self.width)


def bed_window(aim: Aim, size_px: tuple[int, int]) -> Window:
    """The rim, or the surface where the rim is not known, with a margin; within a picture of size_px (width, height)."""
    outlines = [outline_points(line, 180) for line in (aim.rim, aim.surface) if line is not None]
    points = np.vstack(outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = MARGIN * float((high - low).max())
    limit = np.array(size_px)
    first = np.clip(np.floor(low - margin), 0, limit - _EVEN).astype(int) // _EVEN * _EVEN
    last = np.clip(np.ceil(high + margin), first + _EVEN, limit).astype(int)
    size = (last - first) // _EVEN * _EVEN
    return Window(left=int(first[0]), top=int(first[1]), width=int(size[0]), height=int(size[1]))


def aim_in(aim: Aim, window: Window) -> Aim:
    """The same aim for pictures that are only this window of the ones it was made for."""
    away = np.array([[1.0, 0.0, -window.left], [0.0, 1.0, -window.top], [0.0, 0.0, 1.0]])
    centre = None if aim.lens is None else _shifted(aim.lens.centre_px, window)
    return replace(
        aim,
        surface=_outline(aim.surface, window),
        rim=None if aim.rim is None else _outline(aim.rim, window),
        bed_to_picture=away @ aim.bed_to_picture,
        size_px=(window.width, window.height),
        lens=None if aim.lens is None or centre is None else replace(aim.lens, centre_px=centre),
    )


def _shifted(pixel: tuple[float, float], window: Window) -> tuple[float, float]:
    return pixel[0] - window.left, pixel[1] - window.top


def _outline(line: Outline, window: Window) -> Outline:
    if isinstance(line, Ellipse):
        return replace(line, centre_px=_shifted(line.centre_px, window))
    a, b, c, d = (_shifted(corner, window) for corner in line.corners_px)
    return Corners(corners_px=(a, b, c, d))


__all__ = ["Window", "aim_in", "bed_window"]
