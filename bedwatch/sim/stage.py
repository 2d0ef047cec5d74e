"""Everything in the picture that stands still: bench, tub, rim, wall, and which pixels see the powder."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed
from bedwatch.frames.cv import cv2
from bedwatch.sim.camera import Camera, Pose, pixel_grid, plane_to_picture, pose
from bedwatch.sim.clutter import Around, Brush, lay_over, light_field, rectangle, ring, stand

Image = NDArray[np.float32]
Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """One soft lamp from the side. azimuth_deg clockwise from 12 o'clock, elevation above the surface.

    ambient: share of the light on a level surface that comes from all round. wall_shadow: 0 to 1, how much
    of the lamp the wall takes from the powder close under it. falloff: how much brighter the lamp's side is
    than the middle.
    """

    azimuth_deg: float = 300.0
    elevation_deg: float = 20.0
    ambient: float = 0.4
    wall_shadow: float = 0.35
    falloff: float = 0.15

    def direction(self) -> NDArray[np.float64]:
        """(3,) unit vector from the bed to the lamp."""
        azimuth, elevation = math.radians(self.azimuth_deg), math.radians(self.elevation_deg)
        level = math.cos(elevation)
        return np.array([level * math.sin(azimuth), level * math.cos(azimuth), math.sin(elevation)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Tub:
    """The tub and the bench it stands on; colours are blue, green, red reflectances, 0 to 1."""

    rim_mm: float = 8.0
    depth_mm: float = 260.0
    rim: Colour = (0.45, 0.46, 0.46)
    wall: Colour = (0.28, 0.29, 0.30)
    outside: Colour = (0.22, 0.22, 0.23)
    bench: Colour = (0.16, 0.22, 0.30)
    bench_contrast: float = 0.25
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """The still part of the picture, in coded values (gamma applied), 0 to 255.

    still: (h, w, 3) picture with the powder left out (already weighted by what of a pixel is not powder).
    see: (h, w) share of each pixel that shows the powder surface. vignette: (h, w) coded factor.
    box: (left, top, right, bottom) pixels that hold all of `see`.
    """

    still: Image
    see: Image
    vignette: Image
    box: tuple[int, int, int, int]


def distance_inside(bed: Bed, x: Image, y: Image, grow_mm: float = 0.0) -> Image:
    """Distance (mm) from the bed's outline, positive inside, of points x, y; grow_mm widens the outline."""
    if bed.shape == "round":
        return np.asarray(bed.width_mm / 2 + grow_mm - np.hypot(x, y), dtype=np.float32)
    from_x = bed.width_mm / 2 + grow_mm - np.abs(x)
    from_y = bed.length_mm / 2 + grow_mm - np.abs(y)
    return np.asarray(np.minimum(from_x, from_y), dtype=np.float32)


def mottle(rng: np.random.Generator, shape: tuple[int, int], scale_px: float) -> Image:
    """Smooth random field, mean 0, standard deviation 1, with patches about scale_px across."""
    small = (max(4, int(shape[0] / scale_px) + 3), max(4, int(shape[1] / scale_px) + 3))
    coarse = rng.standard_normal(small).astype(np.float32)
    field = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray((field - field.mean()) / (field.std() + 1e-9), dtype=np.float32)


def _paint(canvas: Image, cover: Image, colour: Colour, light: Image | float) -> None:
    shade = np.asarray(light, dtype=np.float32)[..., None] * np.array(colour, dtype=np.float32)
    canvas += cover[..., None] * (shade - canvas)


def _bench(rng: np.random.Generator, tub: Tub, at: Pose, camera: Camera, z_mm: float) -> Image:
    """Brightness of the bench (about 1): boards along one way, blotches, specks."""
    width, height = camera.size_px
    x, y = pixel_grid(at, z_mm, camera.size_px)
    angle = rng.uniform(0, math.pi)
    across = x * math.cos(angle) + y * math.sin(angle)
    blotch = 0.5 * mottle(rng, (height, width), height / 6) + 0.5 * mottle(rng, (height, width), height / 40)
    grain = np.sin(across / rng.uniform(5, 12) + 2.0 * mottle(rng, (height, width), height / 5))
    specks = mottle(rng, (height, width), 2.5)
    seam = np.exp(-(((across / rng.uniform(90, 160)) % 1.0 - 0.5) ** 2) / 1e-4)
    return np.asarray(
        np.clip(1 + tub.bench_contrast * (0.5 * blotch + 0.35 * grain + 0.2 * specks) - 0.4 * seam, 0.2, 2.5),
        dtype=np.float32,
    )


def _outer_wall(at: Pose, bed: Bed, tub: Tub, size_px: tuple[int, int]) -> Image:
    """Coverage of the tub's outside: hull of its top and foot as seen."""
    if bed.shape == "round":
        turn = np.linspace(0, 2 * math.pi, 240, endpoint=False)
        radius = bed.width_mm / 2 + tub.rim_mm
        ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    else:
        x, y = bed.width_mm / 2 + tub.rim_mm, bed.length_mm / 2 + tub.rim_mm
        ring = np.array([[-x, y], [x, y], [x, -y], [-x, -y]])
    both = []
    for z_mm in (bed.surface_below_rim_mm, bed.surface_below_rim_mm - tub.depth_mm):
        h = np.column_stack([ring, np.ones(len(ring))]) @ plane_to_picture(at, z_mm).T
        straight = h[:, :2] / h[:, 2:]
        both.append(straight if at.bend is None else at.bend.bend(straight))
    hull = cv2.convexHull(np.concatenate(both).astype(np.float32))
    cover = np.zeros((size_px[1], size_px[0]), dtype=np.uint8)
    cv2.fillConvexPoly(cover, np.round(hull * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
    return np.asarray(cover / np.float32(255), dtype=np.float32)


def _wall_light(bed: Bed, lamp: Lamp, rim_xy: tuple[Image, Image], floor_xy: tuple[Image, Image]) -> Image:
    """Brightness of the inner wall where the line of sight from the rim plane to the surface meets it."""
    (x0, y0), (x1, y1) = rim_xy, floor_xy
    dx, dy = x1 - x0, y1 - y0
    if bed.shape == "round":
        a = dx * dx + dy * dy + 1e-9
        b = x0 * dx + y0 * dy
        c = x0 * x0 + y0 * y0 - np.float32((bed.width_mm / 2) ** 2)
        s = (-b + np.sqrt(np.maximum(b * b - a * c, 0))) / a
        nx, ny = -(x0 + s * dx), -(y0 + s * dy)
    else:
        to_x = (np.sign(dx) * bed.width_mm / 2 - x0) / np.where(np.abs(dx) < 1e-6, 1e-6, dx)
        to_y = (np.sign(dy) * bed.length_mm / 2 - y0) / np.where(np.abs(dy) < 1e-6, 1e-6, dy)
        s = np.minimum(to_x, to_y)
        nx, ny = np.where(to_x < to_y, -np.sign(dx), 0), np.where(to_x < to_y, 0, -np.sign(dy))
    norm = np.hypot(nx, ny) + 1e-6
    towards = lamp.direction()
    facing = np.clip((nx * towards[0] + ny * towards[1]) / norm, 0, 1)
    depth = np.clip(s, 0, 1)
    light = (0.45 + 0.75 * facing) * (1 - 0.35 * depth)
    return np.asarray(light, dtype=np.float32)


def _tub_shadow(brush: Brush, bed: Bed, tub: Tub, dark: float) -> None:
    """The tub's soft shadow on the bench, away from the lamp."""
    z_mm, reach = bed.surface_below_rim_mm - tub.depth_mm, 0.6 * tub.depth_mm
    half = (bed.width_mm / 2 + tub.rim_mm, bed.length_mm / 2 + tub.rim_mm)
    x, y = -reach * brush.lamp[0], -reach * brush.lamp[1]
    far = ring(x, y, half[0], z_mm) if bed.shape == "round" else rectangle(x, y, half, 0.0, z_mm)
    near = ring(0.0, 0.0, half[0], z_mm) if bed.shape == "round" else rectangle(0.0, 0.0, half, 0.0, z_mm)
    brush.darken(brush.mask(brush.hull(near, far), brush.canvas.shape[0] / 50), dark)


def _glint(lamp: Lamp, rim_xy: tuple[Image, Image]) -> Image:
    """The lamp's reflection in the rounded edge of the rim: towards the lamp, and fainter on the far side."""
    turn = np.arctan2(rim_xy[0], rim_xy[1]) - np.float32(math.radians(lamp.azimuth_deg))
    towards = np.cos(turn)
    return np.asarray(np.exp((towards - 1) * 12) + 0.6 * np.exp((-towards - 1) * 20), np.float32)


def surface_light(bed: Bed, lamp: Lamp, x: Image, y: Image) -> Image:
    """The lamp's light on the level powder: 1 in the middle, less under the wall on the lamp's side."""
    towards = lamp.direction()
    reach = max(bed.width_mm, bed.length_mm) / 2
    near = 1 + np.float32(lamp.falloff / reach / math.hypot(towards[0], towards[1])) * (
        x * np.float32(towards[0]) + y * np.float32(towards[1])
    )
    if bed.surface_below_rim_mm <= 0 or lamp.wall_shadow <= 0:
        return np.asarray(near, dtype=np.float32)
    length = bed.surface_below_rim_mm / math.tan(math.radians(lamp.elevation_deg))
    level = math.hypot(towards[0], towards[1])
    step = length / level
    passed = distance_inside(bed, x + np.float32(towards[0] * step), y + np.float32(towards[1] * step))
    open_share = 1 / (1 + np.exp(-np.clip(passed / np.float32(0.25 * length + 5), -30, 30)))
    return np.asarray(near * (1 - lamp.wall_shadow * (1 - open_share)), dtype=np.float32)


def encode(light: Image, camera: Camera) -> Image:
    """Linear light (1 = white) to coded values 0 to 255, before noise and rounding."""
    span = np.float32(255 - camera.black_dn)
    return np.asarray(np.power(np.clip(light, 0, None), np.float32(1 / camera.gamma)) * span, dtype=np.float32)


def _tub(
    canvas: Image, bed: Bed, camera: Camera, lamp: Lamp, tub: Tub, rng: np.random.Generator, around: Around | None
) -> Image:
    """Paint outside, rim and inner wall; (h, w) share of each pixel that sees the powder.

    Exact occlusion: a pixel sees powder where its line of sight passes the rim's opening and then meets the
    surface plane inside the bed; inside the opening but outside the bed it sees the wall.
    """
    at = pose(camera, bed.surface_below_rim_mm)
    width, height = camera.size_px
    rim_z = bed.surface_below_rim_mm
    rim_xy = pixel_grid(at, rim_z, camera.size_px)
    floor_xy = pixel_grid(at, 0.0, camera.size_px)
    px_rim = camera.height_mm / camera.focal_px
    px_floor = (camera.height_mm + rim_z) / camera.focal_px

    def cover(inside: Image, px_mm: float) -> Image:
        return np.asarray(np.clip(inside / px_mm + 0.5, 0, 1), dtype=np.float32)

    _paint(canvas, _outer_wall(at, bed, tub, camera.size_px), tub.outside, 0.8)
    gleam = 1 + 0.08 * mottle(rng, (height, width), height / 15)
    if around is not None and around.gloss > 0:
        gleam *= 1 + around.gloss * _glint(lamp, rim_xy)
    _paint(canvas, cover(distance_inside(bed, *rim_xy, tub.rim_mm), px_rim), tub.rim, gleam)
    opening = cover(distance_inside(bed, *rim_xy), px_rim)
    streaks = 1 + 0.06 * mottle(rng, (height, width), height / 60)
    _paint(canvas, opening, tub.wall, _wall_light(bed, lamp, rim_xy, floor_xy) * streaks)
    if around is not None and around.dusted > 0:
        on_tub = cover(distance_inside(bed, *rim_xy, tub.rim_mm), px_rim)
        patches = np.clip(mottle(rng, (height, width), height / 12) - (1 - 2 * around.dusted), 0, 1)
        _paint(canvas, 0.8 * on_tub * patches, around.dust, 0.75 * gleam)
    return np.asarray(opening * cover(distance_inside(bed, *floor_xy), px_floor), np.float32)


def build_stage(bed: Bed, camera: Camera, lamp: Lamp, tub: Tub, exposure: float, around: Around | None = None) -> Stage:
    """Render what stands still. exposure: linear light of a white level surface in full lamp light."""
    rng = np.random.default_rng([tub.seed, 77])
    at = pose(camera, bed.surface_below_rim_mm)
    width, height = camera.size_px
    rim_z = bed.surface_below_rim_mm
    canvas: Image = np.zeros((height, width, 3), dtype=np.float32)
    _paint(
        canvas,
        np.ones((height, width), np.float32),
        tub.bench,
        _bench(rng, tub, at, camera, rim_z - tub.depth_mm),
    )
    brush = Brush(canvas, at, lamp.azimuth_deg)
    if around is not None:
        _tub_shadow(brush, bed, tub, 0.0 if around.no_tub else 0.5)
        stand(brush, around, rim_z - tub.depth_mm)
    see: Image
    if around is not None and around.no_tub:
        see = np.zeros((height, width), np.float32)
        lay_over(brush, around, rim_z, see)
    else:
        see = _tub(canvas, bed, camera, lamp, tub, rng, around)
        if around is not None:
            see *= 1 - lay_over(brush, around, rim_z, see)

    u = (np.arange(width, dtype=np.float32) - (width - 1) / 2) / (width / 2)
    v = (np.arange(height, dtype=np.float32) - (height - 1) / 2) / (height / 2)
    falloff = 1 - camera.vignette * (u[None, :] ** 2 + v[:, None] ** 2) / 2
    if around is not None:
        falloff = falloff * light_field(around, camera.size_px)
    vignette = np.asarray(np.power(falloff, 1 / camera.gamma), dtype=np.float32)
    coded = encode(canvas * np.float32(exposure), camera) * vignette[..., None]
    still: Image = np.minimum(coded, 255) * (1 - see[..., None])
    if camera.blur_px > 0.05:
        still, see = (np.asarray(cv2.GaussianBlur(a, (0, 0), camera.blur_px), dtype=np.float32) for a in (still, see))
    rows, columns = np.flatnonzero(see.max(axis=1) > 1e-4), np.flatnonzero(see.max(axis=0) > 1e-4)
    if rows.size == 0 and around is not None and around.no_tub:
        return Stage(still=still, see=see, vignette=vignette, box=(0, 0, 1, 1))
    if rows.size == 0:
        raise ValueError("no pixel of this camera sees the powder surface")
    box = (int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1)
    return Stage(still=still, see=see, vignette=vignette, box=box)
