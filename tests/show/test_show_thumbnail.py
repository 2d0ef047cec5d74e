"""The small picture in the terminal, and where it is left out."""

import io

import numpy as np
import pytest

from bedwatch.show.thumbnail import print_thumbnail, thumbnail, thumbnail_columns


class Screen(io.StringIO):
    """A terminal of a kind."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


COLOURFUL = {"TERM": "xterm-256color", "COLUMNS": "100", "LINES": "40"}


@pytest.mark.parametrize(
    ("changes", "columns"),
    [
        ({}, 100),
        ({"COLUMNS": "72"}, 72),
        ({"COLUMNS": "240"}, 100),
        ({"COLUMNS": "59"}, None),
        ({"NO_COLOR": "1"}, None),
        ({"TERM": "dumb"}, None),
        ({"TERM": "xterm"}, None),  # sixteen colours make no picture
        ({"TERM": "xterm", "COLORTERM": "truecolor"}, 100),
    ],
)
def test_it_is_drawn_only_where_it_can_be_seen(changes, columns):
    assert thumbnail_columns(Screen(), COLOURFUL | changes) == columns


def test_it_is_not_drawn_into_files_and_old_code_pages():
    assert thumbnail_columns(io.StringIO(), COLOURFUL) is None
    old = Screen()
    old.encoding = "cp1252"  # type: ignore[misc]
    assert thumbnail_columns(old, COLOURFUL) is None


def test_each_cell_shows_two_pixels_and_words_lie_over_them():
    picture = np.zeros((5, 8, 3), np.uint8)
    picture[0, 3] = (255, 128, 0)  # blue, green, red
    picture[1, 3] = (1, 2, 3)
    lines = thumbnail(picture, [("12", 5.0, 2.0), ("9", 99.0, 1.0), ("8", 2.0, -7.0)])
    assert [line.cell_len for line in lines] == [8, 8, 8]  # a last odd row is shown twice
    style = lines[0].spans[3].style
    assert (style.color.triplet.hex, style.bgcolor.triplet.hex) == ("#0080ff", "#030201")  # type: ignore[union-attr]
    assert lines[1].plain == "▀▀▀▀12▀▀"
    assert "9" not in "".join(line.plain for line in lines)


def test_it_is_written_line_by_line():
    screen = Screen()
    print_thumbnail(np.full((4, 6, 3), 90, np.uint8), [("1", 3.0, 1.0)], screen)
    assert screen.getvalue().count("\n") == 2
    assert "1" in screen.getvalue()
