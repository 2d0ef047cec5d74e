"""A printable disc of random dots, to be put on something that turns at a known rate: a check of the speed that is read.

Page coordinates as of the cards: millimetres from the upper left corner, y down.
"""

from __future__ import annotations

import numpy as np

from bedwatch.aim.cards.sheet import PAPERS, Page, Paper, Shape, Stroke, Words
from bedwatch.bed.model import Points

SMALLEST_MM, LARGEST_MM = 60.0, 190.0
SPINDLE_MM = 7.2  # hole of a record (IEC 60098)
_RULE_MM = 100.0
_SEED = 4
_DOT_MM = (9.0, 6.5, 4.5, 3.0, 2.0, 1.4)  # radii, large first: pattern of every width, as a fast disc needs coarse ones
_CLEAR_MM = 0.8
_TRIES = 500  # for each size
_WORDS_MM, _LINE_MM = 3.0, 3.8
HOW = (
    "Print at actual size (100 %): the rule must measure 100 mm. Cut along the ring, glue on stiff card, pierce the middle.",
    "Put it on something that turns evenly at a rate you know, flat and level. A record player at 33 1/3 turns a minute is",
    "fast: only the middle is in range. A turntable of 1 to 3 turns a minute uses all of it. Film it from above, 15 s or more.",
)


def disc_page(diameter_mm: float, paper: Paper) -> Page:
    """The disc in the middle of a page, with its check rule. Raises ValueError for a size that is not on the paper."""
    width, height = PAPERS[paper]
    if not SMALLEST_MM <= diameter_mm <= LARGEST_MM:
        raise ValueError(f"a disc of {diameter_mm:g} mm, expected {SMALLEST_MM:g} to {LARGEST_MM:g} mm")
    centre = np.array([width / 2, 34.0 + diameter_mm / 2])
    shapes = [Shape(corners_mm=centre + dot) for dot in dots(diameter_mm)]
    strokes = [
        Stroke(places_mm=centre + _circle(diameter_mm / 2, 180, closed=True), width_mm=0.3),
        Stroke(places_mm=centre + _circle(SPINDLE_MM / 2, 36, closed=True), width_mm=0.2),
        Stroke(places_mm=centre + np.array([[-2.0, 0.0], [2.0, 0.0]])),
        Stroke(places_mm=centre + np.array([[0.0, -2.0], [0.0, 2.0]])),
    ]
    rule_y, left = float(centre[1]) + diameter_mm / 2 + 14, width / 2 - _RULE_MM / 2
    strokes.append(Stroke(places_mm=np.array([[left, rule_y], [left + _RULE_MM, rule_y]])))
    for step in range(11):
        half = 3.0 if step in (0, 10) else 1.2
        x = left + 10.0 * step
        strokes.append(Stroke(places_mm=np.array([[x, rule_y - half], [x, rule_y + half]])))
    lines = (f"Turning disc, {diameter_mm:g} mm across.", *HOW)
    words = [Words(at_mm=(10.0, 10.0 + _LINE_MM * i), size_mm=_WORDS_MM, text=text) for i, text in enumerate(lines)]
    words.append(Words(at_mm=(width / 2, rule_y + 7), size_mm=2.6, text="100 mm", centred=True))
    return Page(size_mm=(width, height), shapes=tuple(shapes), strokes=tuple(strokes), words=tuple(words))


def dots(diameter_mm: float) -> list[Points]:
    """Outlines (20, 2) of dots about the disc's middle: no two meet, none covers the middle, no direction is favoured.

    Some lie across the ring: cut along it, the print reaches the very edge, which the disc is found by.
    """
    rng = np.random.default_rng(_SEED)
    radius = diameter_mm / 2
    placed = np.empty((0, 3))
    for size in _DOT_MM:
        for _ in range(_TRIES):
            r = size * rng.uniform(0.8, 1.2)
            out, turn = radius * np.sqrt(rng.uniform()), rng.uniform(0, 2 * np.pi)
            x, y = out * np.cos(turn), out * np.sin(turn)
            free = (np.hypot(placed[:, 0] - x, placed[:, 1] - y) >= placed[:, 2] + r + _CLEAR_MM).all()
            if free and out > r + 1.5:  # the middle is left free, to be pierced
                placed = np.vstack([placed, [x, y, r]])
    return [row[:2] + _circle(float(row[2]), 20) for row in placed]


def _circle(radius_mm: float, corners: int, *, closed: bool = False) -> Points:
    turn = 2 * np.pi * np.arange(corners + int(closed)) / corners
    return np.asarray(radius_mm * np.column_stack([np.cos(turn), np.sin(turn)]), np.float64)


__all__ = ["LARGEST_MM", "SMALLEST_MM", "disc_page", "dots"]
