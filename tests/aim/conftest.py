"""Drawn beds with known truth: a tub with rim, wall and powder under a pinhole camera, bench clutter beside it.

Written apart from the code under test: three plane homographies, one per height, and a class for every pixel.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.bed.model import Bed, Zone
from bedwatch.frames.frame import Picture


@dataclass(frozen=True, kw_only=True)
class Scene:
    bed: Bed
    frames: list[Picture]
    homography: NDArray[np.float64]  # surface millimetres to pixels
    rim_homography: NDArray[np.float64]


def make_bed(shape: str = "round", width: float = 420.0, length: float | None = None, below: float = 80.0) -> Bed:
    length = width if length is None else length
    if shape == "round":
        t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
        outline = np.stack([np.sin(t), np.cos(t)], 1) * width / 2
        area = np.pi * width**2 / 4
    else:
        outline = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * np.array([width, length]) / 2
        area = width * length
    zone = Zone(name="1", polygon_mm=outline, area_mm2=float(area))
    kind: Any = shape
    return Bed(name="drawn", shape=kind, width_mm=width, length_mm=length, surface_below_rim_mm=below, zones=(zone,))


def plane_homographies(
    size: tuple[int, int],
    focal: float,
    distance: float,
    tilt_deg: float,
    azimuth_deg: float,
    centre: tuple[float, float],
    roll_deg: float,
    heights: tuple[float, ...],
) -> list[NDArray[np.float64]]:
    """Homographies of the planes at the heights, x axis horizontal in the picture (then rolled by roll_deg)."""
    t, a = np.deg2rad(tilt_deg), np.deg2rad(azimuth_deg)
    normal = np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), -np.cos(t)])
    k = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    ray = np.linalg.inv(k) @ np.array([centre[0], centre[1], 1.0])
    origin = ray * distance / np.linalg.norm(ray)
    # points C + t x keep the picture row of C when x is perpendicular to (0, Z, -Y)
    x = np.cross(normal, [0.0, origin[2], -origin[1]])
    x *= np.sign(x[0]) / np.linalg.norm(x)
    y = np.cross(normal, x)
    r = np.deg2rad(roll_deg)
    x, y = np.cos(r) * x + np.sin(r) * y, -np.sin(r) * x + np.cos(r) * y
    return [k @ np.stack([x, y, origin + h * normal], 1) for h in heights]


def _onto(h: NDArray[np.float64], u: Any, v: Any) -> tuple[Any, Any]:
    i = np.linalg.inv(h)
    w = i[2, 0] * u + i[2, 1] * v + i[2, 2]
    return (i[0, 0] * u + i[0, 1] * v + i[0, 2]) / w, (i[1, 0] * u + i[1, 1] * v + i[1, 2]) / w


def _excess(bed: Bed, x: Any, y: Any) -> Any:
    """How far outside the inner wall, mm (negative inside)."""
    if bed.shape == "round":
        return np.hypot(x, y) - bed.width_mm / 2
    return np.maximum(np.abs(x) - bed.width_mm / 2, np.abs(y) - bed.length_mm / 2)


def _grain(rng: np.random.Generator, n: int, sigma: float) -> Any:
    g = cv2.GaussianBlur(rng.normal(size=(n, n)).astype(np.float32), (0, 0), sigma)
    return g / g.std()


def _texture(grain: Any, x: Any, y: Any, mm: float) -> Any:
    n = len(grain)
    across = np.float32(np.abs((x / mm) % (2 * n) - n)), np.float32(np.abs((y / mm) % (2 * n) - n))
    return cv2.remap(grain, *across, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def _clutter(rng: np.random.Generator, x: Any, y: Any, colour: Any, count: int, clear: float) -> None:
    for _ in range(count):
        a, d = rng.uniform(0, 2 * np.pi), rng.uniform(clear * 1.1, clear * 2.2)
        cx, cy, r = d * np.cos(a), d * np.sin(a), rng.uniform(25, 0.7 * clear)
        r = min(r, d - clear * 1.02)
        tone = rng.uniform(20, 230, 3)
        kind = rng.integers(4)
        q = np.hypot(x - cx, y - cy)
        if kind == 0:
            colour[q < r] = tone
        elif kind == 1:
            colour[(q < r) & (q > 0.9 * r)] = tone
        elif kind == 2:
            colour[q < r] = tone
            colour[q < 0.85 * r] = tone * 0.6
        else:
            b = rng.uniform(0, np.pi)
            p, s = (x - cx) * np.cos(b) + (y - cy) * np.sin(b), (y - cy) * np.cos(b) - (x - cx) * np.sin(b)
            colour[(np.abs(p) < r) & (np.abs(s) < rng.uniform(0.1, 0.9) * r)] = tone


def draw_bed(
    *,
    bed: Bed | None = None,
    size: tuple[int, int] = (1280, 720),
    focal: float | None = None,
    distance: float = 900.0,
    tilt_deg: float = 0.0,
    azimuth_deg: float = -90.0,
    centre: tuple[float, float] | None = None,
    roll_deg: float = 0.0,
    powder: tuple[float, float, float] = (190, 195, 200),
    wall: tuple[float, float, float] = (90, 95, 90),
    rim: tuple[float, float, float] = (150, 150, 155),
    bench: tuple[float, float, float] = (60, 80, 110),
    rim_width: float = 6.0,
    grain: float = 6.0,
    clutter: int = 4,
    frames: int = 8,
    moving: bool = True,
    noise: float = 3.0,
    blur: float = 0.7,
    jpeg: int | None = None,
    hang: bool = False,
    seed: int = 0,
) -> Scene:
    """A scene; azimuth -90: the far side is at the top of the picture, as for a camera that leans over the bed."""
    bed = bed or make_bed()
    rng = np.random.default_rng(seed)
    focal = focal or 0.9 * size[0]
    centre = centre or ((size[0] - 1) / 2, (size[1] - 1) / 2)
    below = bed.surface_below_rim_mm
    surface, top, floor = plane_homographies(
        size, focal, distance, tilt_deg, azimuth_deg, centre, roll_deg, (0.0, below, -180.0)
    )
    over = 2
    v, u = np.mgrid[0 : size[1] * over, 0 : size[0] * over].astype(np.float32)
    u, v = (u + 0.5) / over - 0.5, (v + 0.5) / over - 0.5
    fx, fy = _onto(floor, u, v)
    tx, ty = _onto(top, u, v)
    sx, sy = _onto(surface, u, v)
    g1, g2 = _grain(rng, 512, 1.6), _grain(rng, 512, 4.0)
    colour = np.empty((*u.shape, 3), np.float32)
    colour[:] = bench
    colour += 5.0 * (_texture(g1, fx, fy, 2.0) + _texture(g2, fx, fy, 5.0))[..., None]
    body = float(max(bed.width_mm, bed.length_mm)) / 2 * (1.0 if bed.shape == "round" else 1.3)
    _clutter(rng, fx, fy, colour, clutter, body * 1.05)
    out = _excess(bed, tx, ty)
    colour[(_excess(bed, fx, fy) < rim_width) & (out > rim_width)] = np.array(wall) * 0.7  # outside of the tub
    lamp = rng.uniform(0, 2 * np.pi)
    side = np.clip((sx * np.cos(lamp) + sy * np.sin(lamp)) / body, -1, 1)
    colour[(out >= 0) & (out <= rim_width)] = rim
    inner = out < 0
    colour[inner] = np.array(wall, np.float32) * (1 + 0.25 * side[inner])[:, None]
    on = (inner & (_excess(bed, sx, sy) < 0)).astype(np.float32)
    if hang:
        hose = (np.abs(u - centre[0] - 30) < 9) & (v < centre[1] * 0.8)
        on[hose], colour[hose] = 0, (30, 30, 30)
    colour *= 1 - on[..., None]
    colour = cv2.resize(colour, size, interpolation=cv2.INTER_AREA)
    on = cv2.resize(on, size, interpolation=cv2.INTER_AREA)[..., None]
    half = slice(over // 2, None, over)
    sx, sy, side = sx[half, half], sy[half, half], side[half, half, None]
    pictures = []
    drift = np.zeros(2)
    for _ in range(frames):
        tone = _texture(g1, sx + drift[0], sy + drift[1], 2.0) + _texture(g2, sx - drift[1], sy, 6.0)
        here = colour + on * (np.array(powder, np.float32) + 0.7 * grain * tone[..., None]) * (1 + 0.08 * side)
        drift = drift + rng.normal(size=2) * 12 * moving
        if blur:
            here = cv2.GaussianBlur(here, (0, 0), blur)
        here = here + rng.standard_normal(here.shape, dtype=np.float32) * noise
        picture = np.clip(here, 0, 255).astype(np.uint8)
        if jpeg:
            picture = cv2.imdecode(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, jpeg])[1], 1)
        pictures.append(picture)
    return Scene(bed=bed, frames=pictures, homography=surface, rim_homography=top)


def plane_error_mm(bed: Bed, got: NDArray[np.float64], true: NDArray[np.float64]) -> tuple[float, float]:
    """Error at the bed's centre and the worst of eight places at its wall, mm in the bed plane."""
    t = np.arange(8) * np.pi / 4
    ring = np.stack([np.cos(t), np.sin(t)], 1)
    if bed.shape == "rectangular":
        ring = ring / np.abs(ring).max(1)[:, None]
    places = np.vstack([[0, 0], ring * np.array([bed.width_mm, bed.length_mm]) / 2])
    uvw = np.hstack([places, np.ones((9, 1))]) @ true.T
    back = np.hstack([uvw[:, :2] / uvw[:, 2:], np.ones((9, 1))]) @ np.linalg.inv(got).T
    miss = np.hypot(*(back[:, :2] / back[:, 2:] - places).T)
    return float(miss[0]), float(miss[1:].max())


@pytest.fixture(scope="session")
def draw() -> Callable[..., Scene]:
    return draw_bed


@pytest.fixture(scope="session")
def bed_of() -> Callable[..., Bed]:
    return make_bed


@pytest.fixture(scope="session")
def plane_error() -> Callable[..., tuple[float, float]]:
    return plane_error_mm


@pytest.fixture(scope="session")
def planes() -> Callable[..., list[NDArray[np.float64]]]:
    return plane_homographies
