"""The check picture: what was found, drawn on what the camera saw, in colours that colour-blind people tell apart."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.ink import ORANGE, PURPLE, SKY, VERMILION, WHITE, YELLOW, Colour, Pen, Style
from bedwatch.aim.outline import conic_of_ellipse, outline_points
from bedwatch.aim.turned import is_mirrored
from bedwatch.aim.types import Aim, Ellipse, NotFound, Outline
from bedwatch.bed.model import Bed, Points, Zone
from bedwatch.bed.shapes import edges_of
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

STEP_MM = 4.0  # a line is drawn through places this close, since a lens may bend it
Label = tuple[str, float, float]


def check_picture(picture: Picture, bed: Bed, aim: Aim | NotFound, candidate: Aim | None = None) -> Picture:
    """A copy of a picture (BGR or grey) with the finding drawn on it, BGR.

    Found: outlines of rim and powder (dotted where the near wall hides it), a band as wide as the stated error, zones
    with their names, 12 o'clock, a scale bar that lies on the powder. Not found: the reason, and dashed the outlines of
    `candidate`, the best that was seen, if one is given.
    """
    canvas = cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR) if picture.ndim == 2 else picture.copy()
    pen = Pen.on(np.ascontiguousarray(canvas, np.uint8))
    if isinstance(aim, NotFound):
        return _refusal(pen, bed, aim, candidate)
    caption = pen.caption(_told(bed, aim), WHITE)
    shown, hidden = surface_lines(bed, aim)
    write_key = _key(pen, aim, any(np.isfinite(part).all(axis=1).any() for part in hidden))
    _band(pen, bed, aim)
    pen.lines(zone_lines(bed, aim), SKY, thick=1.2)
    if aim.rim is not None:
        pen.lines([closed(outline_points(aim.rim, 360))], ORANGE, Style.DASHED)
    pen.lines(hidden, YELLOW, Style.DOTTED)
    pen.lines(shown, YELLOW)
    for name, u, v in labels(bed, aim):
        pen.words(name, np.array([u, v]), WHITE, 1.15, centred=True)
    _twelve(pen, bed, aim)
    _scale_bar(pen, bed, aim)
    write_key()
    pen.write(caption)
    return pen.canvas


def surface_lines(bed: Bed, aim: Aim) -> tuple[list[Points], list[Points]]:
    """The outline of the powder in pixels: what the camera sees of it, and what the near wall hides."""
    pixels = aim.pixels(_outline_mm(bed))
    seen = within(aim.rim, pixels) | (bed.surface_below_rim_mm == 0)
    both = seen | np.roll(seen, 1) | np.roll(seen, -1)  # no gap where one turns into the other
    return [closed(np.where(both[:, None], pixels, np.nan))], [closed(np.where(~seen[:, None], pixels, np.nan))]


def zone_lines(bed: Bed, aim: Aim) -> list[Points]:
    """The borders between zones, in pixels, as far as they are seen; the wall itself is left out."""
    chains = []
    for zone in bed.zones:
        starts, ends = edges_of(np.asarray(zone.polygon_mm, np.float64))
        for a, b in zip(starts, ends, strict=True):
            if _near_wall(bed, (a + b) / 2):
                continue
            steps = np.linspace(0.0, 1.0, max(2, int(np.hypot(*(b - a)) / STEP_MM) + 1))[:, None]
            pixels = aim.pixels(a + steps * (b - a))
            chains.append(np.where(within(aim.rim, pixels)[:, None], pixels, np.nan))
    return chains


def labels(bed: Bed, aim: Aim) -> list[Label]:
    """The zones' names and where they stand, pixels."""
    places = aim.pixels(np.array([label_place(zone) for zone in bed.zones]))
    return [
        (zone.name, float(u), float(v))
        for zone, (u, v) in zip(bed.zones, places, strict=True)
        if np.isfinite(u) and np.isfinite(v)
    ]


def small_picture(picture: Picture, bed: Bed, aim: Aim, width_px: int) -> tuple[Picture, list[Label]]:
    """A picture only `width_px` wide with the outlines drawn in whole pixels, and the words to be written on it."""
    times = width_px / picture.shape[1]
    size = (width_px, max(2, round(picture.shape[0] * times)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    canvas = np.ascontiguousarray(cv2.cvtColor(small, cv2.COLOR_GRAY2BGR) if small.ndim == 2 else small, np.uint8)
    rim = [] if aim.rim is None else [closed(outline_points(aim.rim, 360))]
    for chains, colour in ((zone_lines(bed, aim), SKY), (rim, ORANGE), (surface_lines(bed, aim)[0], YELLOW)):
        for chain in chains:
            good = chain[np.isfinite(chain).all(axis=1)]
            whole = np.rint((np.clip(good, -1e4, 1e4) + 0.5) * times - 0.5).astype(np.int32)
            cv2.polylines(canvas, [whole.reshape(-1, 1, 2)], False, colour, 1, cv2.LINE_8)
    twelve = aim.pixels(np.array([[0.0, 0.86 * bed.length_mm / 2]]))[0]
    words = [*labels(bed, aim), ("12", float(twelve[0]), float(twelve[1]))]
    return canvas, [(name, (u + 0.5) * times - 0.5, (v + 0.5) * times - 0.5) for name, u, v in words]


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
    ring = polygon.astype(np.float32).reshape(-1, 1, 2)
    if cv2.pointPolygonTest(ring, (float(centre[0]), float(centre[1])), True) > 0:
        return np.asarray(centre)
    radius = np.hypot(x, y)
    return np.array([0.0, -(radius.max() + radius.min()) / 2])


def within(outline: Outline | None, pixels: Points) -> NDArray[np.bool_]:
    """(n,) which pixels lie inside an outline, or at most half a pixel out; all of them when there is none."""
    if outline is None:
        return np.ones(len(pixels), np.bool_)
    if isinstance(outline, Ellipse):
        p = np.column_stack([pixels, np.ones(len(pixels))])
        slope = p @ conic_of_ellipse(outline)
        return np.asarray((p * slope).sum(axis=1) / (2 * np.hypot(slope[:, 0], slope[:, 1]) + 1e-12) < 0.5)
    corners = np.array(outline.corners_px)
    side = np.roll(corners, -1, axis=0) - corners
    side /= np.hypot(*side.T)[:, None]
    away = pixels[:, None] - corners
    depth = side[:, 0] * away[..., 1] - side[:, 1] * away[..., 0]
    way = np.sign(side[0, 0] * side[1, 1] - side[0, 1] * side[1, 0])  # a mirrored bed goes round the other way
    return np.asarray((depth * way > -0.5).all(axis=1))


def closed(chain: Points) -> Points:
    """The chain with its first place once more at its end."""
    return np.vstack([chain, chain[:1]])


def _outline_mm(bed: Bed, outward_mm: float = 0.0) -> Points:
    if bed.shape == "round":
        turn = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
        return (bed.width_mm / 2 + outward_mm) * np.column_stack([np.sin(turn), np.cos(turn)])
    half = np.array([bed.width_mm, bed.length_mm]) / 2 + outward_mm
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    steps = np.linspace(0.0, 1.0, 90, endpoint=False)[:, None]
    return np.vstack([a + steps * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])


def _near_wall(bed: Bed, place: Points) -> bool:
    if bed.shape == "round":
        return bool(np.hypot(*place) > bed.width_mm / 2 * 0.995 - 0.5)
    return bool((np.abs(place) > np.array([bed.width_mm, bed.length_mm]) / 2 - 0.5).any())


def _band(pen: Pen, bed: Bed, aim: Aim) -> None:
    """Twice the stated error to either side, where that is wider than the line."""
    if aim.error_mm is None or 2 * aim.error_mm / aim.mm_per_px < 1.5 * pen.unit:
        return
    reach = min(2 * aim.error_mm, 0.2 * bed.width_mm)
    pen.band(aim.pixels(_outline_mm(bed, reach)), aim.pixels(_outline_mm(bed, -reach)), YELLOW)


def _refusal(pen: Pen, bed: Bed, refusal: NotFound, candidate: Aim | None) -> Picture:
    lines = [f"Bed not found: {refusal.reason}", refusal.advice]
    if candidate is not None:
        lines.append("Dashed: the best that was seen; it was not believed.")
    caption = pen.caption(lines, ORANGE)
    if candidate is not None:
        outlines = [candidate.pixels(_outline_mm(bed))]
        if candidate.rim is not None:
            outlines.append(outline_points(candidate.rim, 360))
        pen.lines([closed(one) for one in outlines], VERMILION, Style.DASHED)
    pen.write(caption)
    return pen.canvas


def _told(bed: Bed, aim: Aim) -> list[str]:
    words = f"{bed.name}: {aim.mm_per_px:.2f} mm/px at the centre"
    if aim.error_mm is not None:
        words += f", places good to +/- {max(0.1, aim.error_mm):.1f} mm"
    if aim.level_mm is not None:
        words += f", powder {aim.level_mm[0]:.0f} +/- {max(1.0, aim.level_mm[1]):.0f} mm below the rim"
    if is_mirrored(aim.bed_to_picture):
        words += ", mirrored picture"
    return [words, *(f"{problem.kind.value}: {problem.advice}" for problem in aim.problems)]


def _twelve(pen: Pen, bed: Bed, aim: Aim) -> None:
    top = bed.length_mm / 2
    mark = np.array([[0.0, 0.84], [0.0, 1.0], [-0.035, 0.93], [0.0, 1.0], [0.035, 0.93], [0.0, 0.74]]) * top
    pixels = aim.pixels(mark)
    pen.lines([pixels[:2], pixels[2:5]], PURPLE, thick=2.6)
    pen.words("12", pixels[5], PURPLE, centred=True)


def _scale_bar(pen: Pen, bed: Bed, aim: Aim) -> None:
    """A bar of a round number of millimetres lying on the powder, where it is seen best and no name stands."""
    least = min(bed.width_mm, bed.length_mm)
    length = next((step for step in (100.0, 50.0, 20.0) if step <= 0.4 * least), 10.0)
    if least > 2500:
        length = 500.0
    names = np.array([label_place(zone) for zone in bed.zones] + [[0.0, 0.74 * bed.length_mm / 2]])
    edges = np.vstack([np.asarray(zone.polygon_mm, np.float64) for zone in bed.zones])
    half, tick = 0.5 * length, 0.02 * least
    ends = [
        (-half, tick),
        (-half, -tick),
        (-half, 0),
        (0, 0),
        (0, tick),
        (0, 0),
        (half, 0),
        (half, -tick),
        (half, tick),
    ]
    h, w = pen.canvas.shape[:2]
    best: tuple[float, Points] | None = None
    for share in (-0.8, -0.66, -0.52, -0.36, -0.2, 0.2, 0.36, 0.52, 0.66):
        bar = np.array(ends) + np.array([0.0, share * bed.length_mm / 2])
        pixels = aim.pixels(bar)
        if not (within(aim.rim, pixels).all() and (pixels > 4).all() and (pixels < [w - 5, h - 5]).all()):
            continue
        points = bar[0] + np.linspace(0.0, 1.0, 5)[:, None] * (bar[-1] - bar[0])
        room = min(float(np.hypot(*(points[:, None] - other).T).min()) for other in (names, edges))
        if best is None or room > best[0]:
            best = room, pixels
    if best is None:
        return
    pen.lines([best[1]], WHITE, thick=2.0)
    away = np.array([0.0, 1.5 * pen.width("0", 0.9)[1]])
    wall = within(aim.rim, best[1][3:4] + 1.6 * away).all()
    pen.words(f"{length:.0f} mm", best[1][3] + (away if wall else -away), WHITE, 0.9, centred=True)


def _key(pen: Pen, aim: Aim, hidden: bool) -> Callable[[], None]:
    """Darkens room for what the lines mean, along the bottom; the function given back writes it."""
    entries: list[tuple[str, Colour, Style, float]] = [("powder", YELLOW, Style.SOLID, 2.0)]
    if hidden:
        entries.append(("hidden by the wall", YELLOW, Style.DOTTED, 2.0))
    if aim.rim is not None:
        entries.append(("rim", ORANGE, Style.DASHED, 2.0))
    entries.append(("zones", SKY, Style.SOLID, 1.2))
    high, gap = pen.width("Hg", 0.8)[1], 14 * pen.unit
    sample, bottom = 44 * pen.unit, pen.canvas.shape[0] - 0.7 * high
    pen.shade(bottom - 1.6 * high, pen.canvas.shape[0])

    def write() -> None:
        left = gap
        for text, colour, style, thick in entries:
            wide = pen.width(text, 0.8)[0]
            if left + sample + gap + wide > pen.canvas.shape[1]:
                break
            level = bottom - high / 2
            pen.lines([np.array([[left, level], [left + sample, level]])], colour, style, thick)
            pen.words(text, np.array([left + sample + 0.6 * gap, bottom]), WHITE, 0.8)
            left += sample + wide + 2.4 * gap

    return write


__all__ = ["check_picture", "label_place", "labels", "small_picture", "surface_lines", "within", "zone_lines"]
