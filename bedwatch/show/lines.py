"""Lines of text of an exact width in terminal cells: cut, padded, wrapped, set side by side."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len, set_cell_size
from rich.text import Text

from bedwatch.show.look import Look

Lines = list[Text]


def cut(words: str, width: int, look: Look) -> str:
    """The words in at most `width` cells; what was cut off is shown as cut off."""
    words = look.text(words)
    if cell_len(words) <= width:
        return words
    end = "…" if look.unicode else ".."
    if width <= len(end):
        return set_cell_size(words, max(width, 0))
    return set_cell_size(words, width - len(end)).rstrip() + end


def padded(words: str, width: int, look: Look, *, right: bool = False) -> str:
    """As `cut`, filled up with spaces to exactly `width` cells."""
    words = cut(words, width, look)
    fill = " " * (width - cell_len(words))
    return fill + words if right else words + fill


def wrapped(words: str, width: int, look: Look, *, most: int | None = None) -> list[str]:
    """The words over as many lines as they need, at most `most`; at least one line."""
    done: list[str] = []
    line = ""
    left = look.text(words).split()
    while left:
        longer = f"{line} {left[0]}" if line else left[0]
        if cell_len(longer) <= width or not line:
            line = longer
            left.pop(0)
        elif most is not None and len(done) + 1 >= most:
            line = " ".join([line, *left])
            break
        else:
            done.append(line)
            line = ""
    return [cut(piece, width, look) for piece in [*done, line]]


def beside(left: Sequence[Text], right: Sequence[Text], *, left_width: int, gap: int = 2) -> Lines:
    """Two blocks side by side; the shorter is filled up with empty lines."""
    both: Lines = []
    for i in range(max(len(left), len(right))):
        line = left[i].copy() if i < len(left) else Text()
        line.append(" " * max(0, left_width + gap - line.cell_len))
        if i < len(right):
            line.append_text(right[i])
        both.append(line)
    return both


def joined(lines: Sequence[Text]) -> Text:
    """The lines as one drawable that is never wrapped."""
    return Text("\n", no_wrap=True, end="").join(lines)
