"""What a camera above a bed sees of four cards that lie nearly as they should: numbers in, pixels out.

The numbers, in this order: the camera (logarithm of the focal length in pixels, principal point off the middle of the
picture, k1 and k2 of Brown 1971 as in `lens`), where it stands (a turn as a Rodrigues vector, a shift in mm, both from
the bed to the camera), how far ink or blur moves the corners of a mark inward in px, the logarithm of the print's scale,
the surface's height over the cards against what was told in mm; then for every card how far it slid along the wall
(radians about the axis of a round bed, mm along the side of a rectangular one), its gap to the wall in mm, its turn, its
height in mm, and its two slopes. Each has a place where it is expected and how far it may well be from there, so that the
fit and its errors know what a pair of hands can do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import Card, turned, wall_mm
from bedwatch.bed.model import Bed, Points
from bedwatch.frames.cv import cv2

Vector = NDArray[np.float64]
LN_FOCAL, SHIFT_U, SHIFT_V, K1, K2 = range(5)
TURN, STAND = slice(5, 8), slice(8, 11)
INSET, LN_SCALE, LEVEL, CARDS = 11, 12, 13, 14
SLIDE, GAP, YAW, HEIGHT, SLOPE_X, SLOPE_Y = range(6)
PER_CARD = 6

# How far things may well be from where they are expected (standard deviations); common practice, no source.
_LENS = (0.35, 0.2, 0.08)  # ln focal, k1, k2
_MIDDLE_SHARE = 0.01  # principal point, share of the picture's width
_INSET_PX, _SCALE = 0.4, 0.004
_SLID_RAD, _SLID_MM, _GAP_MM, _EDGE_MM, _HEIGHT_MM, _SLOPE = 0.2, 40.0, 0.7, 0.7, 1.5, 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Where the numbers are expected and how far they may well be from there; infinite where anything goes."""

    at: Vector
    spread: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """Cards in a bed before a camera. cards: those that are seen. seen: (m, 2) card and mark on it; corners of each."""

    bed: Bed
    size_px: tuple[int, int]
    cards: tuple[Card, ...]
    seen: NDArray[np.intp]
    lift_mm: float  # of the powder surface with air on, above the cards

    @property
    def middle_px(self) -> tuple[float, float]:
        return (self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2

    @property
    def count(self) -> int:
        return CARDS + PER_CARD * len(self.cards)

    def expected(self, printed_share: float, level_spread_mm: float) -> Expected:
        """printed_share: size of the print against what it should be. level_spread_mm: how well lift_mm is known."""
        at, spread = np.zeros(self.count), np.full(self.count, np.inf)
        at[LN_FOCAL], at[K1], at[LN_SCALE] = np.log(0.9 * self.size_px[0]), -0.05, np.log(printed_share)
        spread[[LN_FOCAL, K1, K2]] = _LENS
        spread[[SHIFT_U, SHIFT_V]] = _MIDDLE_SHARE * self.size_px[0]
        spread[INSET], spread[LN_SCALE], spread[LEVEL] = _INSET_PX, _SCALE, level_spread_mm
        for number, card in enumerate(self.cards):
            first = CARDS + PER_CARD * number
            slid = _SLID_RAD if self.bed.shape == "round" else _SLID_MM
            if card.hour == 12 and self.bed.shape == "round":
                slid = 1e-9  # this card says where 12 o'clock is
            turn = np.sqrt(2) * _EDGE_MM / card.width_mm
            spread[first : first + PER_CARD] = slid, _GAP_MM, turn, _HEIGHT_MM, _SLOPE, _SLOPE
        return Expected(at=at, spread=spread)

    def places_mm(self, numbers: Vector) -> Vector:
        """(m, 4, 3) corners of the marks seen, in the bed, z up from the cards' plane."""
        scale = float(np.exp(numbers[LN_SCALE]))
        out = np.empty((len(self.seen), 4, 3))
        for number, card in enumerate(self.cards):
            first = CARDS + PER_CARD * number
            slid, gap, yaw, height, slope_x, slope_y = numbers[first : first + PER_CARD]
            mine = self.seen[:, 0] == number
            flat = card.corners_mm[self.seen[mine, 1]] * scale
            rise = height + slope_x * flat[..., 0] + slope_y * (flat[..., 1] + card.depth_mm / 2)
            up = turned(flat, yaw) + np.array([0.0, wall_mm(self.bed, card.hour, card.width_mm * scale) - gap])
            turn = np.radians(30.0 * card.hour)
            if self.bed.shape == "round":
                turn += slid
            else:
                up = up + np.array([slid, 0.0])
            out[mine, :, :2] = turned(up, turn)
            out[mine, :, 2] = rise
        return out

    def pixels(self, numbers: Vector) -> Vector:
        """(m, 4, 2) where the camera sees the corners of the marks."""
        corners = self.seen_from(numbers, self.places_mm(numbers).reshape(-1, 3)).reshape(-1, 4, 2)
        inward = corners.mean(axis=1, keepdims=True) - corners
        length = np.maximum(np.sqrt((inward * inward).sum(axis=2, keepdims=True)), 1e-9)
        return np.asarray(corners + numbers[INSET] * inward / length)

    def seen_from(self, numbers: Vector, places_mm: Vector) -> Points:
        """(n, 2) pixels of places (n, 3) of the bed: pinhole and radial bend, as OpenCV's projectPoints."""
        turn = np.asarray(cv2.Rodrigues(numbers[TURN])[0], np.float64)
        at = places_mm @ turn.T + numbers[STAND]
        x = at[:, :2] / np.where(at[:, 2:] > 1.0, at[:, 2:], 1.0)
        r2 = (x * x).sum(axis=1, keepdims=True)
        bent = x * (1 + numbers[K1] * r2 + numbers[K2] * r2 * r2)
        middle = np.array(self.middle_px) + numbers[SHIFT_U : SHIFT_V + 1]
        return np.asarray(bent * np.exp(numbers[LN_FOCAL]) + middle)


__all__ = ["CARDS", "PER_CARD", "Expected", "Laid"]
