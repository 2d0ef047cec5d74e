"""All parts on one screen of a given size. Nothing is measured or judged here."""

from __future__ import annotations

from rich.style import Style
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import BedReading, Reading, ZoneReading
from bedwatch.show.bed_map import map_legend
from bedwatch.show.key_bar import key_bar
from bedwatch.show.lines import Lines, beside, cut, joined, wrapped
from bedwatch.show.look import Look
from bedwatch.show.next_move import told, why_no_picture
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
from bedwatch.show.standing import NOTHING_BESIDE, Standing, Trends, trends
from bedwatch.show.way_back_view import is_back, off_saved, toward, way_back_lines
from bedwatch.show.words import ABOUT, ABOUT_KEY, speed
from bedwatch.show.zone_table import width_with_reasons

_LEAST_TABLE = 54
_DOUBLE_WIDTH, _DOUBLE_ROWS = 150, 36
_FULL_CAUTIONS_ROWS = 32
_AMOUNT_ROWS = 34
_SMALL_ROWS = 16
_LEAST_MAP = 30


def screen(
    reading: Reading | None,
    bed: Bed,
    look: Look,
    *,
    width: int = 80,
    height: int = 24,
    duration_s: float | None = None,
    notes: tuple[str, ...] = (),
    standing: Standing = NOTHING_BESIDE,
) -> Text:
    """The whole picture in at most `height` lines of at most `width` cells; good from 80 x 24 up.

    Smaller screens lose zones, then lines from the bottom, never the move. `reading` None: nothing has been read
    yet. `notes`: lines of the program's own, the newest last; that one is shown before all else. `standing`: moves,
    saved setting, keys.
    """
    against = standing.against
    answer = notes[-1] if notes else None
    notes = (*way_back_lines(reading, against, bed.valves), *notes[-2::-1])
    if reading is not None:
        reading = toward(reading, against)
    if standing.ended is not None:
        notes = (f"{standing.ended} Q closes the screen.", *notes)
    small = height < _SMALL_ROWS
    wide = width >= _DOUBLE_WIDTH and height >= _DOUBLE_ROWS
    lines = [header(reading, bed, look, width=width, duration_s=duration_s, standing=standing)]
    words_rows = 3 if (look.unicode and not small) or height >= 40 else 2
    if why_no_picture(reading):  # the last word of a run: whole, whatever it moves
        words_rows = max(
            words_rows, min(len(wrapped(told(reading, bed.valves)[0], width, look)), height - (6 if small else 9))
        )
    now_s = None if reading is None else reading.time_s
    noted = standing.made if standing.made_s is not None and standing.made_s == now_s else None
    lines += next_move(
        reading,
        look,
        width=width,
        words_rows=words_rows,
        double=wide,
        amount=height >= _AMOUNT_ROWS,
        noted=noted,
        back=is_back(reading, against),
        paused=standing.paused,
        valves=bed.valves,
    )
    rule = Text(look.rule * width, style=Style(dim=True), no_wrap=True, end="")
    below = [bed_line(reading, look, width=width, saved=standing.saved)]
    keys = key_bar(standing, look, width=width, now_s=now_s, valves=bed.valves) if standing.keys else []
    keys = keys[: 1 if small else 2]
    warned = cautions(look, width=width)
    roomy = height >= _FULL_CAUTIONS_ROWS or (reading is None and len(lines) + 6 + len(warned) <= height)
    warned = [rule, *warned] if roomy else cautions(look, width=width, short=True)
    talk = problems_list(
        reading, look, width=width, rows=1 if small else 2 if height < 30 else 5, notes=notes, answer=answer
    )
    if not small:
        lines.append(rule.copy())
    last = [*keys, *warned]
    since = trends(reading, standing.before) if against is None else off_saved(reading, against)
    middle = height - len(lines) - len(below) - len(talk) - len(last)
    lines += _middle(reading, bed, look, width, max(middle, 3), since)
    lines += below + talk
    return joined([*lines[: max(height - len(last), 0)], *last][:height] if height > 8 else lines[:height])


def _middle(reading: Reading | None, bed: Bed, look: Look, width: int, rows: int, since: Trends) -> Lines:
    """The map on the left, the table and the faults on the right; without the map where there is no room."""
    map_width = min(width * 2 // 5, max(24, width - 2 - _LEAST_TABLE))
    with_reasons = width_with_reasons(bed)
    if width - 2 - _LEAST_MAP >= with_reasons:
        map_width = min(map_width, width - 2 - with_reasons)
    drawn: Lines = []
    right = width
    if width - map_width - 2 >= _LEAST_TABLE or width >= 72:
        drawn = bed_map(reading, bed, look, rows=rows, columns=map_width)
        map_width = max(line.cell_len for line in drawn)
        right = width - map_width - 2
    faults_rows = min(len(reading.faults), 2 if rows < 16 else 6) if reading else 0
    if len(bed.zones) + 2 + faults_rows > rows:
        faults_rows = min(faults_rows, max(1, rows - (len(bed.zones) + 1) // 2 - 2))
    faults_rows = min(faults_rows, max(0, rows - 3))
    keys = _keys(reading, look, right, with_map=bool(drawn))[: max(0, rows - faults_rows - len(bed.zones) - 2)]
    table = zone_table(reading, bed, look, width=right, rows=rows - faults_rows - len(keys), trends=since)
    faults = faults_list(reading, look, width=right, rows=faults_rows)
    gap = [Text(end="")] if (faults or keys) and len(table) + len(faults) + len(keys) < rows else []
    block = [*table, *gap, *faults, *keys]
    block += [Text(end="") for _ in range(rows - len(block))]
    return beside(drawn, block, left_width=map_width)[:rows] if drawn else block[:rows]


def _keys(reading: Reading | None, look: Look, width: int, *, with_map: bool) -> Lines:
    """What may need explaining, the more needful first."""
    rows: list[BedReading | ZoneReading] = [reading.bed, *reading.zones] if reading else []
    about = any((speed(row.speed_mm_s, row.speed_error_mm_s) or "").startswith(ABOUT) for row in rows)
    words = ([ABOUT_KEY] if about else []) + ([map_legend(look)] if with_map and reading else [])
    return [Text(cut(word, width, look), style=Style(dim=True), no_wrap=True, end="") for word in words]
