"""Cards with printed marks, pushed against the wall of the bed: what is on them, and where they lie. No pictures here.

Four cards, at 12, 3, 6 and 9 o'clock, each with five square marks of an open dictionary (Garrido-Jurado et al. 2014,
Automatic generation and detection of highly reliable fiducial markers under occlusion; OpenCV's DICT_5X5_100). A card's
straight edge is pushed against the wall: in a round bed its two corners touch, so its distance from the bed's axis is
known from the bed's diameter and the same cards serve beds of many sizes. Together they span the whole bed, where a
single sheet in its middle would have to be extrapolated to the wall.

Card coordinates: millimetres as printed at full size, origin at the middle of the wall edge, y towards the wall, x to
the right for somebody who looks at the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed, Points

HOURS = (12, 3, 6, 9)
MARKS_PER_CARD = 5
FACTORS = (0.5, 0.7, 1.0, 1.4, 2.0)  # sizes of card; each has marks of its own, so a picture tells which it is
WIDTH_MM, DEPTH_MM = 92.0, 122.0  # of a card of factor 1
MARK_MM, GAP_MM = 32.0, 8.0
MODULES = 7  # black border, five rows of bits, black border
CLEAR_MM = 355.0  # a bed must be so wide (times the factor) for four cards to lie clear of each other


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One card. corners_mm: (5, 4, 2) of its marks' black squares, clockwise from the upper left of the mark upright."""

    hour: int
    factor: float
    ids: tuple[int, ...]
    corners_mm: Points

    @property
    def width_mm(self) -> float:
        return WIDTH_MM * self.factor

    @property
    def depth_mm(self) -> float:
        return DEPTH_MM * self.factor

    @property
    def number_mm(self) -> Points:
        """Middle of the free sixth place, where the card's hour is printed."""
        return np.asarray(_middles()[MARKS_PER_CARD] * self.factor)


def _middles() -> Points:
    """(6, 2) middles of the six places of a card of factor 1, row by row from the wall; the last carries the hour."""
    step = MARK_MM + GAP_MM
    rest = (DEPTH_MM - 2 * step - MARK_MM) / 2
    return np.array([[x * step / 2, -(rest + MARK_MM / 2 + row * step)] for row in range(3) for x in (-1, 1)])


def card(factor: float, hour: int) -> Card:
    """The card of a size for an hour. Raises ValueError when there is none."""
    first = MARKS_PER_CARD * (len(HOURS) * FACTORS.index(factor) + HOURS.index(hour))
    half = MARK_MM / 2
    square = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
    corners = (_middles()[:MARKS_PER_CARD, None, :] + square[None]) * factor
    return Card(hour=hour, factor=factor, ids=tuple(range(first, first + MARKS_PER_CARD)), corners_mm=corners)


def card_of(mark: int) -> tuple[Card, int]:
    """The card that carries a mark, and the mark's number on it from 0. Raises ValueError when there is none."""
    if not 0 <= mark < MARKS_PER_CARD * len(HOURS) * len(FACTORS):
        raise ValueError(f"found the mark {mark}, expected one of the {len(FACTORS)} sets of cards")
    which, number = divmod(mark, MARKS_PER_CARD)
    size, place = divmod(which, len(HOURS))
    return card(FACTORS[size], HOURS[place]), number


def factor_for(bed: Bed) -> float | None:
    """The largest size of card of which four lie in the bed clear of each other; None when it is too narrow for any."""
    across = min(bed.width_mm, bed.length_mm)
    return max((factor for factor in FACTORS if across >= CLEAR_MM * factor), default=None)


def wall_mm(bed: Bed, hour: int, card_width_mm: float) -> float:
    """From the bed's axis to the straight edge of a card of this width whose corners touch the wall."""
    if bed.shape == "round":
        return float(np.sqrt((bed.width_mm / 2) ** 2 - (card_width_mm / 2) ** 2))
    return (bed.length_mm if hour in (12, 6) else bed.width_mm) / 2


def turned(places_mm: Points, clockwise_rad: float | NDArray[np.float64]) -> Points:
    """Places (..., 2) turned about the origin, clockwise as seen from above."""
    c, s = np.cos(clockwise_rad), np.sin(clockwise_rad)
    x, y = places_mm[..., 0], places_mm[..., 1]
    return np.stack([c * x + s * y, c * y - s * x], axis=-1)


def laid(card: Card, bed: Bed) -> Points:
    """(5, 4, 2) bed places of the corners of a card that lies exactly at its hour."""
    up = card.corners_mm + np.array([0.0, wall_mm(bed, card.hour, card.width_mm)])
    return turned(up, np.radians(30.0 * card.hour))


__all__ = ["FACTORS", "HOURS", "MARKS_PER_CARD", "Card", "card", "card_of", "factor_for", "laid", "turned", "wall_mm"]
