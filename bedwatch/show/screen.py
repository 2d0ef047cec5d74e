"""All parts on one screen of a given size. Nothing is measured or judged here."""

from __future__ import annotations

from rich.style import Style
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import Reading
from bedwatch.show.lines import Lines, beside, joined
from bedwatch.show.look import Look
from bedwatch.show.parts import (
    bed_line,
    bed_map,
    cautions,
    faults_list,
    header,
    next_move,
    problems_list,
    zone_table,
)

_LEAST_TABLE = 54
_DOUBLE_WIDTH, _DOUBLE_ROWS = 150, 36
_FULL_CAUTIONS_ROWS = 32


def screen(
    reading: Reading | None,
    bed: Bed,
    look: Look,
    *,
    width: int = 80,
    height: int = 24,
    duration_s: float | None = None,
    notes: tuple[str, ...] = (),
) -> Text:
    """The whole picture in at most `height` lines of at most `width` cells; good from 80 x 24 up.

    Smaller screens lose lines from the bottom, never the move. `reading` None: nothing has been read yet.
    `notes`: lines of the program's own, shown with the problems.
    """
    wide = width >= _DOUBLE_WIDTH and height >= _DOUBLE_ROWS
    lines = [header(reading, bed, look, width=width, duration_s=duration_s)]
    words_rows = 3 if look.unicode or height >= 40 else 2
    lines += next_move(reading, look, width=width, words_rows=words_rows, double=wide)
    rule = Text(look.rule * width, style=Style(dim=True), no_wrap=True, end="")
    roomy = height >= _FULL_CAUTIONS_ROWS or reading is None
    below = [bed_line(reading, look, width=width)]
    warned = cautions(look, width=width, short=not roomy)
    talk = problems_list(reading, look, width=width, rows=2 if height < 30 else 5, notes=notes)
    middle = height - len(lines) - 1 - len(below) - len(talk) - len(warned) - (1 if roomy else 0)
    lines.append(rule)
    lines += _middle(reading, bed, look, width, max(middle, 3))
    lines += below + talk
    if roomy:
        lines += [rule.copy()]
    lines += warned
    return joined(lines[:height])


def _middle(reading: Reading | None, bed: Bed, look: Look, width: int, rows: int) -> Lines:
    """The map on the left, the table and the faults on the right; without the map where there is no room."""
    map_width = min(width * 2 // 5, max(24, width - 2 - _LEAST_TABLE))
    drawn: Lines = []
    right = width
    if width - map_width - 2 >= _LEAST_TABLE or width >= 72:
        drawn = bed_map(reading, bed, look, rows=rows, columns=map_width)
        map_width = max(line.cell_len for line in drawn)
        right = width - map_width - 2
    faults_rows = min(len(reading.faults), 2 if rows < 16 else 6) if reading else 0
    if len(bed.zones) + 2 + faults_rows > rows:
        faults_rows = min(faults_rows, max(1, rows - (len(bed.zones) + 1) // 2 - 2))
    table = zone_table(reading, bed, look, width=right, rows=rows - faults_rows)
    faults = faults_list(reading, look, width=right, rows=faults_rows)
    gap = [Text(end="")] if faults and len(table) + len(faults) < rows else []
    block = [*table, *gap, *faults]
    block += [Text(end="") for _ in range(rows - len(block))]
    return beside(drawn, block, left_width=map_width)[:rows] if drawn else block[:rows]
