"""The one widget that draws: finished lines, of which only those that changed are sent to the terminal."""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

Draw = Callable[[int, int], Text]


class Picture(Widget):
    """Draws what `draw(columns, rows)` gives, whenever `again` is called and at every new size."""

    DEFAULT_CSS = "Picture { width: 1fr; height: 1fr; }"

    def __init__(self, draw: Draw) -> None:
        super().__init__()
        self._draw = draw
        self._lines: list[Text] = []

    def again(self) -> None:
        """Draw anew; rows that stay the same are not sent again, which a slow terminal thanks."""
        lines = list(self._draw(self.size.width, self.size.height).split("\n", allow_blank=True))
        rows = [row for row in range(max(len(lines), len(self._lines))) if not _alike(lines, self._lines, row)]
        self._lines = lines
        if rows:
            self.refresh(*(Region(0, row, self.size.width, 1) for row in rows))

    def on_resize(self) -> None:
        self._lines = []
        self.again()

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        if y >= len(self._lines):
            return Strip.blank(width, self.rich_style)
        segments = self._lines[y].render(self.app.console)
        return Strip(segments).apply_style(self.rich_style).adjust_cell_length(width, self.rich_style)


def _alike(a: list[Text], b: list[Text], row: int) -> bool:
    return row < len(a) and row < len(b) and a[row].plain == b[row].plain and a[row].spans == b[row].spans
