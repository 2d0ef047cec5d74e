"""The bed map: from above, 12 o'clock up, each zone with its number, its mark and its live share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rich.style import Style
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import HintWord, Reading, ZoneReading
from bedwatch.show.bed_plan import BORDER, NO_ZONE, BedPlan, outline, plan_bed
from bedwatch.show.lines import Lines
from bedwatch.show.look import Look
from bedwatch.show.scale import Rgb, css, ink_on, live_colour
from bedwatch.show.words import HINTS, known, share, zone_tags

_PAPER = Style()
_UNKNOWN = "?"
_EDGE: Rgb = (128, 128, 128)
_HALVES = {(True, True): "█", (True, False): "▀", (False, True): "▄"}
_Edge = NDArray[np.bool_]


@dataclass(slots=True)
class _Dot:
    char: str
    style: Style = _PAPER
    taken: bool = False


def bed_map(reading: Reading | None, bed: Bed, look: Look, *, rows: int, columns: int) -> Lines:
    """The bed in at most `rows` by `columns` terminal cells.

    In colour each zone is filled by its live share, without colour by the density of its dots (an outline where
    the share can't be told); its number, the mark of its hint and the share in figures stand on it either way.
    """
    plan = plan_bed(bed, rows, columns)
    zones = zones_in_order(reading, bed)
    live = [known(zone.live) if zone else None for zone in zones]
    edge = outline(plan, np.array([value is None for value in live], dtype=np.bool_))
    if look.colour and look.unicode:
        dots = [_coloured_row(plan, row, live, edge) for row in range(plan.rows)]
    else:
        dots = [_plain_row(plan, row, live, edge, look) for row in range(plan.rows)]
    for index, tag in enumerate(zone_tags(bed)):
        _label(dots, plan, index, tag, zones[index], live[index], look)
    for fault in reading.faults if reading else ():
        if place := plan.cell_at(fault.x_mm, fault.y_mm):
            _put_near(dots, place, look.fault_mark(fault.kind), look)
    return [_line(row) for row in dots]


def zones_in_order(reading: Reading | None, bed: Bed) -> list[ZoneReading | None]:
    """The zones of the reading in the bed's order, None for one the reading does not have."""
    by_name = {zone.zone: zone for zone in reading.zones} if reading else {}
    return [by_name.get(zone.name) for zone in bed.zones]


def _fill(zone: int, live: list[float | None]) -> Rgb | None:
    value = live[zone] if zone >= 0 else None
    return None if value is None else live_colour(value)


def map_legend(look: Look) -> str:
    """What the fill of a zone says."""
    if look.colour and look.unicode:
        return "map: bright moves, dark still, ? can't tell"
    return f"map: {look.fills[3] * 2} moves, {look.fills[0] * 2} still, ? can't tell"


def _coloured_row(plan: BedPlan, row: int, live: list[float | None], edge: _Edge) -> list[_Dot]:
    dots = []
    for column in range(plan.columns):
        top, bottom = int(plan.halves[2 * row, column]), int(plan.halves[2 * row + 1, column])
        above = _EDGE if edge[2 * row, column] else _fill(top, live)
        below = _EDGE if edge[2 * row + 1, column] else _fill(bottom, live)
        if above and below:
            style = Style(color=css(above), bgcolor=css(below))
            dots.append(_Dot("▀", style) if above != below else _Dot(" ", Style(bgcolor=css(above))))
        elif above or below:
            dots.append(_Dot("▀" if above else "▄", Style(color=css(above or below or (0, 0, 0)))))
        else:
            dots.append(_Dot(" "))
    return dots


def _plain_row(plan: BedPlan, row: int, live: list[float | None], edge: _Edge, look: Look) -> list[_Dot]:
    dots = []
    for column in range(plan.columns):
        top, bottom = int(plan.halves[2 * row, column]), int(plan.halves[2 * row + 1, column])
        zone = int(plan.cells[row, column])
        above, below = bool(edge[2 * row, column]), bool(edge[2 * row + 1, column])
        if above or below:
            dots.append(_Dot(_HALVES[above, below] if look.unicode else "o", Style(dim=True)))
        elif zone == NO_ZONE or BORDER in (top, bottom) or (value := live[zone]) is None:
            dots.append(_Dot(" "))
        else:
            dots.append(_Dot(look.fills[min(int(max(value, 0.0) * 4), 3)]))
    return dots


def _label(
    dots: list[list[_Dot]],
    plan: BedPlan,
    index: int,
    tag: str,
    zone: ZoneReading | None,
    live: float | None,
    look: Look,
) -> None:
    spot = plan.spots[index]
    if spot is None:
        return
    hint = zone.hint if zone else HintWord.WAIT
    mark = look.mark(hint)
    if spot.columns > len(tag):
        words = [f"{tag} {mark}" if spot.columns >= len(tag) + 2 else tag + mark]
    else:
        words = [tag if spot.columns == len(tag) else mark]
    waiting = hint is HintWord.WAIT and live is None  # its mark, "?", says all
    if spot.rows > 2 and not waiting:
        words.append(HINTS[hint])
    if spot.rows > 1 and not waiting:
        percent = share(live) or _UNKNOWN
        words.append(percent if len(percent) <= spot.columns else percent.replace(" ", ""))
    colour = live_colour(live) if live is not None and look.colour and look.unicode else None
    style = Style(bold=True, color=css(ink_on(colour)), bgcolor=css(colour)) if colour else Style(bold=True)
    for line, text in enumerate(words):
        for column, char in enumerate(text.center(spot.columns)):
            dots[spot.row + line][spot.column + column] = _Dot(char, style, taken=char != " ")


def _put_near(dots: list[list[_Dot]], place: tuple[int, int], mark: str, look: Look) -> None:
    """The mark at its place, or as near as no letter is hidden by it."""
    row, column = place
    free = [
        (abs(r - row) * 2 + abs(c - column), r, c)
        for r in range(max(0, row - 1), min(len(dots), row + 2))
        for c in range(max(0, column - 4), min(len(dots[0]), column + 5))
        if not dots[r][c].taken
    ]
    if not free:
        return
    _, r, c = min(free)
    style = Style(bold=True, color="#ffffff", bgcolor="#b0003a") if look.colour else Style(reverse=True)
    dots[r][c] = _Dot(mark, style, taken=True)


def _line(row: list[_Dot]) -> Text:
    line = Text(no_wrap=True, end="")
    for dot in row:
        line.append(dot.char, dot.style)
    return line
