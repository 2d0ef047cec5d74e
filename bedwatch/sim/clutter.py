"""What stands and hangs about in a shop: buckets, lids, hoops, boxes, hoses, a hanging part, printed sheets, uneven light.

All of it stands still. Places are of the bed frame (x right, y to 12 o'clock, millimetres); heights are over the bench
for what stands on it, over the rim for what lies on the tub or hangs above it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim.camera import Pose, pixel_grid, project

Image = NDArray[np.float32]
Array = NDArray[np.float64]
Colour = tuple[float, float, float]
Kind = Literal["bucket", "lid", "hoop", "box", "bar"]

_ROUND = np.linspace(0, 2 * math.pi, 90, endpoint=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something on the bench. size_mm: diameter, or side; height_mm: how high it stands; filling: what a bucket holds.

    filled: share of a bucket's height.
    """

    kind: Kind
    x_mm: float
    y_mm: float
    size_mm: float
    height_mm: float
    colour: Colour
    filling: Colour = (0.05, 0.05, 0.05)
    filled: float = 0.5
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hose:
    """A hose or cable along a line of places, above_mm over the rim: it hides what is under it."""

    line_mm: tuple[tuple[float, float], ...]
    width_mm: float
    colour: Colour
    above_mm: float = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A plate with a hole, hanging from a hook, turn_deg about the hook: seen nearly edge on from above, and the hook's rod."""

    x_mm: float
    y_mm: float
    above_mm: float
    long_mm: float
    thick_mm: float
    colour: Colour
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A printed sheet that lies flat. picture: grey, white is 255; its middle at a place, above_mm over the rim.

    turn_deg: anticlockwise from above; at 0 the sheet's top edge is towards 12 o'clock.
    """

    picture: Picture
    mm_per_px: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    above_mm: float = 0.0
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """All that is about a tub. ramp: how unevenly a window lights the picture, from -ramp to +ramp across it.

    shade: how much light a soft shadow over part of the picture takes. dusted: share of the rim and wall that powder of
    the colour dust covers. gloss: brightness of the lamp's reflection on the rim, 0 for a dull one. no_tub: only the bench.
    """

    things: tuple[Thing, ...] = ()
    hoses: tuple[Hose, ...] = ()
    parts: tuple[Part, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    ramp: float = 0.0
    ramp_deg: float = 0.0
    shade: float = 0.0
    dusted: float = 0.0
    dust: Colour = (0.7, 0.7, 0.7)
    gloss: float = 0.0
    no_tub: bool = False
    seed: int = 0


class Brush:
    """Paints shapes of the bed frame onto linear light (h, w, 3), seen through one pose."""

    def __init__(self, canvas: Image, at: Pose, lamp_deg: float) -> None:
        self.canvas, self.at = canvas, at
        turn = math.radians(lamp_deg)
        self.lamp = (math.sin(turn), math.cos(turn))

    def pixels(self, xyz_mm: Array) -> Array:
        return project(self.at, xyz_mm)

    def mask(self, pixels: Array, soft_px: float = 0.0) -> Image:
        """(h, w) how much of each pixel a polygon covers; nothing when part of it cannot be seen at all."""
        cover = np.zeros(self.canvas.shape[:2], np.uint8)
        if np.isfinite(pixels).all() and np.abs(pixels).max() < 1e5:
            cv2.fillPoly(cover, [np.round(pixels * 16).astype(np.int32)], (255,), cv2.LINE_AA, 4)
        seen = cover.astype(np.float32) / np.float32(255)
        return np.asarray(cv2.GaussianBlur(seen, (0, 0), soft_px) if soft_px else seen, np.float32)

    def hull(self, *rings: Array) -> Array:
        """Outline in pixels of what spans several outlines."""
        pixels = np.concatenate([self.pixels(ring) for ring in rings])
        if not np.isfinite(pixels).all():
            return pixels
        return np.asarray(cv2.convexHull(pixels.astype(np.float32))[:, 0], np.float64)

    def paint(self, cover: Image, colour: Colour, light: float = 1.0) -> None:
        shade = np.array(colour, np.float32) * np.float32(light)
        top, bottom, left, right = _extent(cover)
        view = self.canvas[top:bottom, left:right]
        view += cover[top:bottom, left:right, None] * (shade - view)

    def side_light(self, cover: Image, colour: Colour) -> None:
        """Paint with light that falls from the lamp's side to the other across the shape."""
        top, bottom, left, right = _extent(cover)
        if bottom <= top:
            return
        v, u = np.mgrid[-1 : 1 : complex(0, bottom - top), -1 : 1 : complex(0, right - left)].astype(np.float32)
        light = 0.8 + 0.35 * (u * self.lamp[0] - v * self.lamp[1])
        view = self.canvas[top:bottom, left:right]
        shade = light[..., None] * np.array(colour, np.float32)
        view += cover[top:bottom, left:right, None] * (shade - view)

    def darken(self, cover: Image, by: float) -> None:
        self.canvas *= (1 - np.float32(by) * cover)[..., None]


def _extent(cover: Image) -> tuple[int, int, int, int]:
    rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    if not rows.size:
        return 0, 0, 0, 0
    return int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1


def ring(x_mm: float, y_mm: float, radius_mm: float, z_mm: float) -> Array:
    """(90, 3) circle."""
    return np.column_stack([x_mm + radius_mm * np.cos(_ROUND), y_mm + radius_mm * np.sin(_ROUND), np.full(90, z_mm)])


def rectangle(x_mm: float, y_mm: float, half: tuple[float, float], turn_deg: float, z_mm: float) -> Array:
    """(4, 3) corners."""
    turn = math.radians(turn_deg)
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * np.array(half)
    spun = corners @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return np.column_stack([spun + np.array([x_mm, y_mm]), np.full(4, z_mm)])


def stand(brush: Brush, around: Around, bench_z_mm: float) -> None:
    """Paint what stands on the bench, the highest last, each with its shadow."""
    soft = brush.canvas.shape[0] / 90
    for thing in sorted(around.things, key=lambda one: one.height_mm):
        base_z, top_z = bench_z_mm, bench_z_mm + thing.height_mm
        x, y, half = thing.x_mm, thing.y_mm, thing.size_mm / 2
        away = (-brush.lamp[0] * thing.height_mm, -brush.lamp[1] * thing.height_mm)
        if thing.kind in ("box", "bar"):
            sides = (half, half * (0.7 if thing.kind == "box" else 0.08))
            base, top = (rectangle(x, y, sides, thing.turn_deg, z) for z in (base_z, top_z))
            shadow = rectangle(x + away[0], y + away[1], sides, thing.turn_deg, base_z)
        else:
            base, top = ring(x, y, half * (0.85 if thing.kind == "bucket" else 1.0), base_z), ring(x, y, half, top_z)
            shadow = ring(x + away[0], y + away[1], half, base_z)
        if thing.kind == "hoop":
            _hoop(brush, thing, top_z, soft)
            continue
        brush.darken(brush.mask(brush.hull(base, shadow), soft), 0.55)
        brush.paint(brush.mask(brush.hull(base, top)), thing.colour, 0.7)
        brush.side_light(brush.mask(brush.pixels(top)), thing.colour)
        if thing.kind == "bucket":
            _inside(brush, thing, base_z)
        elif thing.kind == "lid":
            brush.paint(brush.mask(brush.pixels(ring(x, y, 0.9 * half, top_z))), thing.colour, 0.62)
            brush.side_light(brush.mask(brush.pixels(ring(x, y, 0.87 * half, top_z))), thing.colour)


def _hoop(brush: Brush, thing: Thing, z_mm: float, soft: float) -> None:
    outer, inner = (ring(thing.x_mm, thing.y_mm, share * thing.size_mm / 2, z_mm) for share in (1.0, 0.93))
    band = brush.mask(brush.pixels(outer)) - brush.mask(brush.pixels(inner))
    brush.darken(np.asarray(cv2.GaussianBlur(band, (0, 0), soft), np.float32), 0.4)
    brush.side_light(np.maximum(band, 0), thing.colour)


def _inside(brush: Brush, thing: Thing, base_z: float) -> None:
    """The inner wall of a bucket, and what is in it as far as the near wall lets it be seen."""
    top_z = base_z + thing.height_mm
    half = 0.95 * thing.size_mm / 2
    opening = brush.mask(brush.pixels(ring(thing.x_mm, thing.y_mm, half, top_z)))
    brush.paint(opening, thing.colour, 0.45)
    level = base_z + thing.filled * thing.height_mm
    held = brush.mask(brush.pixels(ring(thing.x_mm, thing.y_mm, half * (0.85 + 0.15 * thing.filled), level)))
    brush.side_light(opening * held, thing.filling)


def lay_over(brush: Brush, around: Around, rim_z_mm: float, see: Image) -> Image:
    """Paint what lies across the tub or hangs over it; (h, w) share of each pixel that this hides.

    see: (h, w) share of each pixel that sees the powder: a sheet below the rim lies on it, and is seen only there.
    """
    hidden: Image = np.zeros(brush.canvas.shape[:2], np.float32)
    for sheet in around.sheets:
        hidden = np.maximum(hidden, _lay_sheet(brush, sheet, rim_z_mm, see if sheet.above_mm < 0 else None))
    for hose in around.hoses:
        wide = brush.mask(_band(brush, hose, rim_z_mm, 1.0))
        brush.paint(wide, hose.colour, 0.6)
        brush.paint(brush.mask(_band(brush, hose, rim_z_mm, 0.55)), hose.colour, 1.1)
        hidden = np.maximum(hidden, wide)
    for part in around.parts:
        z = rim_z_mm + part.above_mm
        corners = [rectangle(part.x_mm, part.y_mm, (part.long_mm / 2, part.thick_mm / 2), part.turn_deg, z + up)
                   for up in (0.0, 0.8 * part.long_mm)]  # fmt: skip
        body = brush.mask(brush.hull(*corners))
        brush.side_light(body, part.colour)
        rod = [
            rectangle(part.x_mm, part.y_mm, (2.0, 2.0), 0.0, z + up) for up in (0.8 * part.long_mm, 3 * part.long_mm)
        ]
        wire = brush.mask(brush.hull(*rod))
        brush.paint(wire, (0.2, 0.2, 0.2))
        hidden = np.maximum(hidden, np.maximum(body, wire))
    return hidden


def _band(brush: Brush, hose: Hose, rim_z_mm: float, share: float) -> Array:
    """Outline in pixels of a hose: its line smoothed by Catmull and Rom's spline (1974), widened to both sides."""
    knots = np.array(hose.line_mm, np.float64)
    knots = np.vstack([2 * knots[0] - knots[1], knots, 2 * knots[-1] - knots[-2]])
    t = np.linspace(0, 1, 24, endpoint=False)[:, None]
    line = [
        0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
        for a, b, c, d in zip(knots, knots[1:], knots[2:], knots[3:], strict=False)
    ]
    places = np.concatenate([*line, knots[-2:-1]])
    along = np.gradient(places, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    half = share * hose.width_mm / 2
    outline = np.concatenate([places + half * across, (places - half * across)[::-1]])
    return brush.pixels(np.column_stack([outline, np.full(len(outline), rim_z_mm + hose.above_mm)]))


def _lay_sheet(brush: Brush, sheet: Sheet, rim_z_mm: float, only: Image | None) -> Image:
    height, width = brush.canvas.shape[:2]
    x, y = pixel_grid(brush.at, rim_z_mm + sheet.above_mm, (width, height))
    turn = math.radians(sheet.turn_deg)
    right = ((x - sheet.x_mm) * math.cos(turn) + (y - sheet.y_mm) * math.sin(turn)) / sheet.mm_per_px
    up = ((y - sheet.y_mm) * math.cos(turn) - (x - sheet.x_mm) * math.sin(turn)) / sheet.mm_per_px
    rows, columns = sheet.picture.shape[:2]
    u, v = right + (columns - 1) / 2, (rows - 1) / 2 - up
    inside = np.minimum(np.minimum(u + 0.5, columns - 0.5 - u), np.minimum(v + 0.5, rows - 0.5 - v))
    step = float(np.median(np.abs(np.diff(u[height // 2])))) + 1e-6  # sheet pixels per picture pixel
    ink = cv2.GaussianBlur(sheet.picture, (0, 0), max(0.4, 0.45 * step)).astype(np.float32) / 255
    seen = cv2.remap(ink, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.asarray(np.clip(inside / step + 0.5, 0, 1), np.float32)
    if only is not None:
        cover = np.asarray(only * cover, np.float32)
    light = 0.04 + 0.72 * np.asarray(seen, np.float32).reshape(height, width, -1)
    brush.canvas += cover[..., None] * (light - brush.canvas)
    return cover


def light_field(around: Around, size_px: tuple[int, int]) -> Image:
    """(h, w) linear light over the picture: a window's slope and a soft shadow."""
    width, height = size_px
    u = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    v = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    turn = math.radians(around.ramp_deg)
    field = 1 + np.float32(around.ramp) * (u * np.float32(math.sin(turn)) - v * np.float32(math.cos(turn))) / 1.4
    if around.shade > 0:
        rng = np.random.default_rng([around.seed, 31])
        angle, at, soft = rng.uniform(0, 2 * math.pi), rng.uniform(-0.5, 0.5), rng.uniform(0.02, 0.2)
        side = (u * np.float32(math.cos(angle)) + v * np.float32(math.sin(angle)) - np.float32(at)) / np.float32(soft)
        field = field * (1 - np.float32(around.shade) / (1 + np.exp(-np.clip(side, -30, 30))))
    return np.asarray(field, np.float32)
