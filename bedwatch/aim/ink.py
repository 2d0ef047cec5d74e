"""Lines and words on a picture that can be read on light and on dark powder: everything has a dark halo."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

Colour = tuple[int, int, int]
Caption = list[tuple[str, Colour]]
# Okabe & Ito 2008, Color universal design; blue, green, red
ORANGE: Colour = (0, 159, 230)
SKY: Colour = (233, 180, 86)
YELLOW: Colour = (66, 228, 240)
VERMILION: Colour = (0, 94, 213)
PURPLE: Colour = (167, 121, 204)
WHITE: Colour = (255, 255, 255)
DARK: Colour = (20, 20, 20)
FONT = cv2.FONT_HERSHEY_SIMPLEX
FAR_PX = 30000.0
SHARP = 4  # binary digits of a pixel
_SPELT = str.maketrans(
    {"±": "+/-", "°": " deg", "–": "-", "—": "-", "−": "-", "’": "'", "×": "x", "…": "...", "ß": "ss"}
)


class Style(Enum):
    """Ink and gap along a line, in units of the pen; told apart without colour."""

    SOLID = (1.0, 0.0)
    DASHED = (13.0, 8.0)
    DOTTED = (1.5, 6.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Draws on a BGR picture in place. unit: pixels of the picture that a unit of the pen takes; 1 at 1280 across."""

    canvas: Picture
    unit: float

    @classmethod
    def on(cls, canvas: Picture) -> Pen:
        return cls(canvas=canvas, unit=max(0.75, max(canvas.shape[:2]) / 1280))

    def lines(self, chains: Sequence[Points], colour: Colour, style: Style = Style.SOLID, thick: float = 2.0) -> None:
        """Open chains (n, 2) of pixels; they break where a pixel is NaN."""
        parts = [np.clip(part, -FAR_PX, FAR_PX) for chain in chains for part in _unbroken(chain)]
        if style is not Style.SOLID:
            on, off = (max(2.0, length * self.unit) for length in style.value)
            parts = [dash for part in parts for dash in dashes(part, on, off)]
        fixed = [np.rint(part * (1 << SHARP)).astype(np.int32).reshape(-1, 1, 2) for part in parts]
        if not fixed:
            return
        wide = max(1, round(thick * self.unit))
        for tone, width in ((DARK, wide + max(2, round(2.4 * self.unit))), (colour, wide)):
            cv2.polylines(self.canvas, fixed, False, tone, width, cv2.LINE_AA, SHARP)

    def band(self, outer: Points, inner: Points, colour: Colour, share: float = 0.35) -> None:
        """The ring between two closed outlines, tinted."""
        if not (np.isfinite(outer).all() and np.isfinite(inner).all()):
            return
        mask = np.zeros(self.canvas.shape[:2], np.uint8)
        fixed = [np.rint(np.clip(ring, -FAR_PX, FAR_PX) * 16).astype(np.int32) for ring in (outer, inner)]
        cv2.fillPoly(mask, fixed, 255, cv2.LINE_AA, SHARP)
        weight = (mask.astype(np.float32) * (share / 255.0))[..., None]
        self.canvas[:] = self.canvas * (1 - weight) + np.array(colour, np.float32) * weight

    def size(self, scale: float) -> tuple[float, int]:
        """Font scale and thickness, never too small to read."""
        letters = max(0.58, 0.8 * self.unit) * scale
        return letters, max(1, round(2.0 * letters))

    def width(self, text: str, scale: float = 1.0) -> tuple[int, int]:
        """Width and height of words in pixels."""
        letters, thick = self.size(scale)
        (wide, high), _ = cv2.getTextSize(plain(text), FONT, letters, thick)
        return wide, high

    def words(self, text: str, at: Points, colour: Colour, scale: float = 1.0, *, centred: bool = False) -> None:
        """Words that begin at a pixel's lower left, or stand about it."""
        if not np.isfinite(at).all():
            return
        letters, thick = self.size(scale)
        wide, high = self.width(text, scale)
        halo = max(2, round(2.6 * letters))
        left, low = (at[0] - wide / 2, at[1] + high / 2) if centred else (at[0], at[1])
        # written on paper of its own: fonts grow wider with thickness in some versions, so that a thick copy is no halo
        edge = halo + 2
        paper = np.zeros((2 * high + 2 * edge, wide + 2 * edge + thick), np.uint8)
        cv2.putText(paper, plain(text), (edge, edge + high), FONT, letters, 255, thick, cv2.LINE_AA)
        around = cv2.dilate(paper, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * halo + 1, 2 * halo + 1)))
        u, v = round(float(np.clip(left, -1e4, 1e5))) - edge, round(float(np.clip(low, -1e4, 1e5))) - high - edge
        rows, columns = self.canvas.shape[:2]
        top, bottom = max(0, v), min(rows, v + paper.shape[0])
        first, last = max(0, u), min(columns, u + paper.shape[1])
        if top >= bottom or first >= last:
            return
        spot = self.canvas[top:bottom, first:last].astype(np.float32)
        for mask, tone in ((around, DARK), (paper, colour)):
            share = mask[top - v : bottom - v, first - u : last - u, None].astype(np.float32) / 255
            spot = np.asarray(spot * (1 - share) + np.array(tone, np.float32) * share, np.float32)
        self.canvas[top:bottom, first:last] = np.rint(spot)

    def shade(self, top: float, bottom: float) -> None:
        """Darken the rows between, so that words can be read on them."""
        rows = slice(max(0, round(top)), max(0, round(bottom)))
        self.canvas[rows] = (self.canvas[rows] * 0.35).astype(np.uint8)

    def caption(self, lines: Sequence[str], colour: Colour) -> Caption:
        """Room for lines of words across the top, darkened; the first line will be in colour."""
        room = self.canvas.shape[1] - 24 * self.unit
        wrapped = [
            (line, colour if i == 0 else WHITE) for i, text in enumerate(lines) for line in self._wrap(text, room)
        ]
        self.shade(0, (len(wrapped) + 0.6) * self._row())
        return wrapped

    def write(self, caption: Caption) -> None:
        """The words of a caption, after whatever must not hide them."""
        for index, (line, tone) in enumerate(caption):
            self.words(line, np.array([12.0 * self.unit, (index + 1) * self._row()]), tone)

    def _row(self) -> float:
        return 1.75 * self.width("Hg")[1]

    def _wrap(self, text: str, room: float) -> list[str]:
        lines = [""]
        for word in text.split():
            longer = f"{lines[-1]} {word}".strip()
            if lines[-1] and self.width(longer)[0] > room:
                lines.append(word)
            else:
                lines[-1] = longer
        return lines


def plain(text: str) -> str:
    """The words in the letters that the font has."""
    bare = unicodedata.normalize("NFKD", text.translate(_SPELT))
    return "".join(ch for ch in bare if not unicodedata.combining(ch)).encode("ascii", "replace").decode()


def dashes(chain: Points, on: float, off: float) -> list[Points]:
    """What is left of an open chain of pixels when it is drawn with gaps."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(chain, axis=0).T))])
    parts = []
    for start in np.arange(0.0, along[-1], on + off):
        stop = min(start + on, along[-1])
        inner = along[(along > start) & (along < stop)]
        stops = np.concatenate([[start], inner, [stop]])
        parts.append(np.column_stack([np.interp(stops, along, chain[:, axis]) for axis in (0, 1)]))
    return parts


def _unbroken(chain: Points) -> list[Points]:
    good = np.asarray(np.isfinite(chain).all(axis=1), np.bool_)
    cuts = np.flatnonzero(np.diff(good.astype(np.int8))) + 1
    return [part for part in np.split(chain, cuts) if len(part) > 1 and np.isfinite(part[0]).all()]


__all__ = ["ORANGE", "PURPLE", "SKY", "VERMILION", "WHITE", "YELLOW", "Pen", "Style", "dashes", "plain"]
