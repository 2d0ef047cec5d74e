"""The printable sheet of cards as pages of plain shapes, true to scale in millimetres. How they become a file: `printing`.

Page coordinates: millimetres from the upper left corner, y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import CLEAR_MM, FACTORS, HOURS, MARK_MM, MODULES, Card, card
from bedwatch.aim.cards.marks_seen import mark_bits
from bedwatch.bed.model import Points

Paper = Literal["a4", "letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1
RULE_MM = 100.0
_GUTTER_MM, _SIDE_MM, _EDGE_MM = 12.0, 8.0, 6.3  # most printers leave 4 to 6 mm of the paper white
_WORDS_MM, _LINE_MM = 3.0, 3.5
HOW = (
    "Print at actual size (100 %). The rule must measure 100 mm; if not, give what it measures with --printed-mm.",
    'Cut along the lines, glue on stiff board. Air off, dust settled: lay the cards flat on the still powder, "wall" edge',
    "against the wall, both corners touching, at 12, 3, 6 and 9 o'clock. Measure from the top of the wall down to the cards.",
)
CAUTION = (
    "Shut the air off and keep sparks away before you reach in: powder in air can explode and must not be breathed.",
    "Local codes, the powder's safety data sheet and licensed practice come first. Take the cards out before the air comes on.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A filled polygon (n, 2), black or white."""

    corners_mm: Points
    white: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """An open line through places (n, 2)."""

    places_mm: Points
    width_mm: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A line of plain ASCII. at_mm: the left end, or the middle, of its base line."""

    at_mm: tuple[float, float]
    size_mm: float
    text: str
    centred: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One side of paper; white shapes lie on the black ones before them."""

    size_mm: tuple[float, float]
    shapes: tuple[Shape, ...]
    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]


def pages(factor: float, paper: Paper) -> list[Page]:
    """The four cards of a size: all on one page while they fit, else one a page. Raises ValueError for no such size."""
    cards = [card(factor, hour) for hour in HOURS]
    return [_page(cards, paper)] if factor <= 1.0 else [_page([one], paper) for one in cards]


def beds_for(factor: float) -> str:
    """For which beds a size of card is meant, in words."""
    larger = [one for one in FACTORS if one > factor]
    upward = f" to {CLEAR_MM * larger[0]:.0f} mm across" if larger else " mm across and more"
    return f"{CLEAR_MM * factor:.0f}{upward}"


def _page(cards: list[Card], paper: Paper) -> Page:
    width, height = PAPERS[paper]
    wide, deep = cards[0].width_mm, cards[0].depth_mm
    columns = min(2, len(cards))
    left = (width - columns * wide - (columns - 1) * _GUTTER_MM) / 2
    left = max(left, _SIDE_MM + _GUTTER_MM) if columns == 1 else left
    lines = (f"Bed cards for {beds_for(cards[0].factor)}: {', '.join(str(one.hour) for one in cards)} o'clock.", *HOW)
    top = _EDGE_MM + _LINE_MM * len(lines) + 1.0
    low = height - _EDGE_MM - _LINE_MM * (len(CAUTION) - 1)
    words = [_line(_EDGE_MM + _WORDS_MM + _LINE_MM * i, text) for i, text in enumerate(lines)]
    words += [_line(low + _LINE_MM * i, text) for i, text in enumerate(CAUTION)]
    shapes: list[Shape] = []
    strokes: list[Stroke] = []
    for number, one in enumerate(cards):
        row, column = divmod(number, columns)
        edge = np.array([left + column * (wide + _GUTTER_MM) + wide / 2, top + row * deep])
        shapes += [*_marks(one, edge), _arrow(one, edge)]
        strokes.append(_cut(one, edge))
        words += _label(one, edge)
    rule = left - _GUTTER_MM / 2 if columns == 1 else left + wide + _GUTTER_MM / 2
    rule_strokes, rule_words = _rule(rule, top + 5.0)
    return Page(
        size_mm=(width, height),
        shapes=tuple(shapes),
        strokes=(*strokes, *rule_strokes),
        words=(*words, *rule_words),
    )


def _line(y_mm: float, text: str) -> Words:
    return Words(at_mm=(_SIDE_MM, y_mm), size_mm=_WORDS_MM, text=text)


def _on_page(places_mm: Points, edge_mm: NDArray[np.float64]) -> Points:
    """Places of a card on its page. edge_mm: where the middle of its wall edge lies there."""
    return np.asarray(edge_mm + places_mm * np.array([1.0, -1.0]))


def _marks(one: Card, edge_mm: NDArray[np.float64]) -> list[Shape]:
    """Each mark as a black square and, on it, the rectangles of its white modules."""
    module = MARK_MM * one.factor / MODULES
    out = []
    for mark, square in zip(one.ids, one.corners_mm, strict=True):
        out.append(Shape(corners_mm=_on_page(square, edge_mm)))
        for row, column, rows, columns in rectangles(mark_bits(mark)):
            box = np.array([[0, 0], [columns, 0], [columns, -rows], [0, -rows]]) + np.array([column, -row])
            out.append(Shape(corners_mm=_on_page(square[0] + box * module, edge_mm), white=True))
    return out


def rectangles(white: NDArray[np.bool_]) -> list[tuple[int, int, int, int]]:
    """(row, column, rows, columns) of rectangles that together cover the true modules once."""
    left = white.copy()
    out = []
    for row, column in np.argwhere(white).tolist():
        if not left[row, column]:
            continue
        columns = int(np.argmin(np.append(left[row, column:], False)))
        rows = 1
        while row + rows < len(white) and left[row + rows, column : column + columns].all():
            rows += 1
        left[row : row + rows, column : column + columns] = False
        out.append((row, column, rows, columns))
    return out


def _cut(one: Card, edge_mm: NDArray[np.float64]) -> Stroke:
    half, deep = one.width_mm / 2, one.depth_mm
    around = np.array([[-half, 0], [half, 0], [half, -deep], [-half, -deep], [-half, 0]], np.float64)
    return Stroke(places_mm=_on_page(around, edge_mm))


def _arrow(one: Card, edge_mm: NDArray[np.float64]) -> Shape:
    """Points to the wall, in the place that carries the hour."""
    tip = one.number_mm + np.array([0.0, 0.46 * MARK_MM * one.factor])
    size = 0.2 * MARK_MM * one.factor
    return Shape(corners_mm=_on_page(tip + np.array([[0, 0], [0.6 * size, -size], [-0.6 * size, -size]]), edge_mm))


def _label(one: Card, edge_mm: NDArray[np.float64]) -> list[Words]:
    side = MARK_MM * one.factor
    parts = (("wall", 0.12, 0.13), (str(one.hour), 0.42, -0.24), ("o'clock", 0.15, -0.45))
    out = []
    for text, size, y in parts:
        at = _on_page(one.number_mm + np.array([0.0, y * side]), edge_mm)
        out.append(Words(at_mm=(float(at[0]), float(at[1])), size_mm=size * side, text=text, centred=True))
    return out


def _rule(x_mm: float, top_mm: float) -> tuple[list[Stroke], list[Words]]:
    """An upright rule of 100 mm with a tick every 10 mm, its ends the middles of the end ticks."""
    strokes = [Stroke(places_mm=np.array([[x_mm, top_mm], [x_mm, top_mm + RULE_MM]]))]
    for step in range(11):
        half, y = (3.0 if step in (0, 10) else 1.5 if step == 5 else 1.0), top_mm + 10.0 * step
        strokes.append(Stroke(places_mm=np.array([[x_mm - half, y], [x_mm + half, y]])))
    ends = ((0.0, "0", -1.0), (RULE_MM, "100 mm", 3.0))
    words = [Words(at_mm=(x_mm, top_mm + y + down), size_mm=2.2, text=text, centred=True) for y, text, down in ends]
    return strokes, words


__all__ = ["PAPERS", "Page", "Paper", "Shape", "Stroke", "Words", "beds_for", "pages", "rectangles"]
