"""A small picture in the terminal: every cell shows two pixels, one above the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TextIO

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.style import Style
from rich.text import Text

from bedwatch.show.lines import Lines
from bedwatch.show.look import look_for

LEAST_COLUMNS, MOST_COLUMNS = 60, 100
Word = tuple[str, float, float]


def thumbnail_columns(stream: TextIO, environ: Mapping[str, str]) -> int | None:
    """How many cells wide a small picture should be on this stream; None where it would not be one.

    It takes a terminal of 60 columns or more that shows half blocks and at least 256 colours, and no NO_COLOR.
    """
    look = look_for(stream, environ)
    if not (look.colour and look.unicode):
        return None
    console = Console(file=stream, _environ=environ)
    if console.width < LEAST_COLUMNS or console.color_system not in ("256", "truecolor", "windows"):
        return None
    return min(console.width, MOST_COLUMNS)


def thumbnail(picture: NDArray[np.uint8], words: Sequence[Word] = ()) -> Lines:
    """Lines of half blocks of a BGR picture (rows, columns, 3), two rows of pixels to a line.

    words: text and the pixel (column, row) it stands about, written over the picture, light on dark.
    """
    if len(picture) % 2:
        picture = np.concatenate([picture, picture[-1:]])
    columns = picture.shape[1]
    letters: dict[tuple[int, int], str] = {}
    for text, u, v in words:
        row, first = round(v) // 2, round(u - (len(text) - 1) / 2)
        if 0 <= 2 * row < len(picture):
            letters |= {(row, first + i): ch for i, ch in enumerate(text) if 0 <= first + i < columns}
    lines = []
    for row in range(len(picture) // 2):
        line = Text(no_wrap=True, end="")
        for column in range(columns):
            upper, lower = picture[2 * row, column], picture[2 * row + 1, column]
            if (letter := letters.get((row, column))) is not None:
                line.append(letter, Style(color="#ffffff", bgcolor="#14181c", bold=True))
            else:
                line.append("▀", Style(color=_css(upper), bgcolor=_css(lower)))
        lines.append(line)
    return lines


def print_thumbnail(picture: NDArray[np.uint8], words: Sequence[Word], stream: TextIO) -> None:
    """The small picture, below what stands on the terminal already."""
    console = Console(file=stream, highlight=False)
    for line in thumbnail(picture, words):
        console.print(line)


def _css(pixel: NDArray[np.uint8]) -> str:
    blue, green, red = (int(value) for value in pixel)
    return f"#{red:02x}{green:02x}{blue:02x}"


__all__ = ["print_thumbnail", "thumbnail", "thumbnail_columns"]
