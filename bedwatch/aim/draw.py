"""The check picture: what was found, drawn on what the camera saw, in colours that colour-blind people tell apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.outline import outline_points, to_picture
from bedwatch.aim.types import Aim, NotFound, Outline
from bedwatch.bed.model import Bed, Points, Zone
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

Colour = tuple[int, int, int]
# Okabe & Ito 2002, Color universal design; blue, green, red
ORANGE: Colour = (0, 159, 230)
SKY: Colour = (233, 180, 86)
YELLOW: Colour = (66, 228, 240)
VERMILION: Colour = (0, 94, 213)
WHITE: Colour = (255, 255, 255)
DARK: Colour = (20, 20, 20)
FONT = cv2.FONT_HERSHEY_SIMPLEX


def check_picture(
    picture: Picture, bed: Bed, aim: Aim | NotFound, candidate: Aim | None = None, sharp: int = 4
) -> Picture:
    """A copy of a picture (BGR or grey) with the finding drawn on it, BGR.

    Found: surface and rim outlines, zones with their names, the 12 o'clock mark, a scale bar and a line of words.
    Not found: the reason, and the outlines of `candidate`, the best that was seen, if one is given.
    """
    canvas = cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR) if picture.ndim == 2 else picture.copy()
    canvas = np.ascontiguousarray(canvas, np.uint8)
    unit = max(canvas.shape[:2]) / 1280
    if isinstance(aim, NotFound):
        if candidate is not None:
            for outline in (candidate.rim, candidate.surface):
                _outline(canvas, outline, VERMILION, unit, sharp)
        _title(canvas, ["Bed not found", *_wrapped(aim.reason, canvas), *_wrapped(aim.advice, canvas)], unit, VERMILION)
        return canvas
    for zone in bed.zones:
        _line(canvas, to_picture(aim.bed_to_picture, np.asarray(zone.polygon_mm)), SKY, unit, sharp)
    _outline(canvas, aim.rim, ORANGE, unit, sharp)
    _outline(canvas, aim.surface, YELLOW, unit, sharp)
    for zone in bed.zones:
        place = to_picture(aim.bed_to_picture, label_place(zone)[None])[0]
        if np.isfinite(place).all():
            _words(canvas, zone.name, place, unit, WHITE, centred=True)
    _twelve(canvas, bed, aim, unit, sharp)
    _scale_bar(canvas, aim, unit)
    words = [f"{bed.name}: {aim.mm_per_px:.2f} mm/px at the centre"]
    if aim.error_mm is not None:
        words[0] += f", positions to {max(0.1, 2 * aim.error_mm):.1f} mm"
    for problem in aim.problems:
        words += _wrapped(f"{problem.kind.value}: {problem.advice}", canvas)
    _title(canvas, words, unit, WHITE)
    return canvas


def label_place(zone: Zone) -> NDArray[np.float64]:
    """Where a zone's name stands, mm: its middle, or the middle of its ring at the narrow side when that is a hole."""
    polygon = np.asarray(zone.polygon_mm, np.float64)
    x, y = polygon.T
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    cross = x * ny - nx * y
    area = cross.sum()
    if abs(area) < 1e-9:
        return np.asarray(polygon.mean(axis=0))
    centre = np.array([((x + nx) * cross).sum(), ((y + ny) * cross).sum()]) / (3 * area)
    if (
        cv2.pointPolygonTest(polygon.astype(np.float32).reshape(-1, 1, 2), (float(centre[0]), float(centre[1])), True)
        > 0
    ):
        return np.asarray(centre)
    radius = np.hypot(x, y)
    return np.array([0.0, -(radius.max() + radius.min()) / 2])


def _line(canvas: Picture, pixels: Points, colour: Colour, unit: float, sharp: int, closed: bool = True) -> None:
    """A smooth line with a dark halo; `sharp` binary digits of a pixel."""
    good = pixels[np.isfinite(pixels).all(axis=1)]
    if len(good) < 2:
        return
    fixed = np.rint(np.clip(good, -30000, 30000) * (1 << sharp)).astype(np.int32).reshape(-1, 1, 2)
    for tone, width in ((DARK, 4.5), (colour, 2.0)):
        cv2.polylines(canvas, [fixed], closed, tone, max(1, round(width * unit)), cv2.LINE_AA, sharp)


def _outline(canvas: Picture, outline: Outline | None, colour: Colour, unit: float, sharp: int) -> None:
    if outline is not None:
        _line(canvas, outline_points(outline, 240), colour, unit, sharp)


def _twelve(canvas: Picture, bed: Bed, aim: Aim, unit: float, sharp: int) -> None:
    top = bed.length_mm / 2
    mark = np.array([[0.0, 0.84 * top], [0.0, 1.0 * top], [-0.035 * top, 0.93 * top], [0.035 * top, 0.93 * top]])
    pixels = to_picture(aim.bed_to_picture, mark)
    _line(canvas, pixels[:2], VERMILION, unit, sharp, closed=False)
    _line(canvas, pixels[[2, 1, 3]], VERMILION, unit, sharp, closed=False)
    place = to_picture(aim.bed_to_picture, np.array([[0.0, 0.74 * top]]))[0]
    if np.isfinite(place).all():
        _words(canvas, "12", place, 0.8 * unit, VERMILION, centred=True)


def _scale_bar(canvas: Picture, aim: Aim, unit: float) -> None:
    """A bar as long as a round number of millimetres at the bed's centre."""
    room = 0.2 * canvas.shape[1] * aim.mm_per_px
    length = max((step for step in (10, 20, 50, 100, 200, 500, 1000) if step <= room), default=10)
    right, low = canvas.shape[1] - 30 * unit, canvas.shape[0] - 30 * unit
    ends = np.array([[right - length / aim.mm_per_px, low], [right, low]])
    _line(canvas, ends, WHITE, 1.5 * unit, 4, closed=False)
    _words(canvas, f"{length} mm", ends.mean(axis=0) - (0, 18 * unit), 0.8 * unit, WHITE, centred=True)


def _words(canvas: Picture, text: str, at: Points, unit: float, colour: Colour, *, centred: bool = False) -> None:
    plain = text.encode("ascii", "replace").decode()
    size, thick = 0.8 * unit, max(1, round(1.8 * unit))
    (width, height), _ = cv2.getTextSize(plain, FONT, size, thick)
    shift = (width / 2, -height / 2) if centred else (0.0, 0.0)
    place = (round(float(at[0]) - shift[0]), round(float(at[1]) - shift[1]))
    cv2.putText(canvas, plain, place, FONT, size, DARK, thick + max(2, round(3 * unit)), cv2.LINE_AA)
    cv2.putText(canvas, plain, place, FONT, size, colour, thick, cv2.LINE_AA)


def _title(canvas: Picture, lines: list[str], unit: float, colour: Colour) -> None:
    for index, line in enumerate(lines):
        _words(canvas, line, np.array([16.0, 34.0 + 32.0 * index]) * unit, 0.9 * unit, colour if index == 0 else WHITE)


def _wrapped(text: str, canvas: Picture) -> list[str]:
    """Lines that fit the picture's width."""
    letters = max(20, int(78 * canvas.shape[1] / max(canvas.shape[:2])))
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > letters:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


__all__ = ["check_picture", "label_place"]
