"""A pinhole camera over the bed, its true aim, and the still scene it sees."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .bed import Bed, F
from .motion import Grid, noise

D = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Height above the powder, lean from the vertical towards a side, picture size, lens."""

    width: int = 640
    height: int = 360
    height_mm: float = 700.0
    tilt_deg: float = 8.0
    tilt_clock_deg: float = 180.0
    fill: float = 0.86
    offset_px: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    k1: float = 0.0


class View:
    """A camera placed over one bed: everything geometric that a clip needs."""

    def __init__(self, bed: Bed, camera: Camera) -> None:
        self.bed, self.camera = bed, camera
        self._place()
        self._turn_bed()
        rim = self.project(bed.outline(), bed.surface_below_rim_mm)
        surface = self.project(bed.outline(), 0.0)
        self.rim, self.surface = rim, surface
        flat = bed.outline(48)
        fine = np.concatenate([flat * s for s in (0.25, 0.5, 0.75, 1.0)])
        h, _ = cv2.findHomography(fine, self.project(fine, 0.0))
        self.homography: D = np.asarray(h / h[2, 2], np.float64)

    def _place(self) -> None:
        c, bed = self.camera, self.bed
        lean, way = math.radians(c.tilt_deg), math.radians(c.tilt_clock_deg)
        reach = c.height_mm
        eye = np.array([math.tan(lean) * math.sin(way) * reach, math.tan(lean) * math.cos(way) * reach, reach])
        forward = -eye / np.linalg.norm(eye)
        up = np.array([0.0, 1.0, 0.0])
        right = np.cross(forward, up)
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        a = math.radians(c.roll_deg)
        self._rot = np.stack(
            [right * math.cos(a) + down * math.sin(a), down * math.cos(a) - right * math.sin(a), forward]
        )
        self._eye = eye
        self._turn = 0.0
        outline = bed.outline(grow_mm=12)
        self._f, self._c = 1.0, np.zeros(2)
        span = np.ptp(self._pinhole(outline, bed.surface_below_rim_mm), axis=0)
        self._f = c.fill * min(c.width * 0.97 / span[0], c.height / span[1])
        box = self._pinhole(outline, bed.surface_below_rim_mm)
        middle = (box.min(0) + box.max(0)) / 2
        self._c = np.array([c.width / 2 - 0.5, c.height / 2 - 0.5])
        self._shift = np.array(c.offset_px) - middle
        # an off-axis crop of the sensor: the optical axis stays the distortion's centre
        self._c = self._c + self._shift

    def _turn_bed(self) -> None:
        """Turn the bed so that its x axis looks horizontal at its centre."""
        e = 0.5
        o, px, py = self.project(np.array([[0, 0], [e, 0], [0, e]], float), 0.0)
        vx, vy = px[1] - o[1], py[1] - o[1]
        self._turn = math.atan2(-vx, vy)
        o, px = self.project(np.array([[0, 0], [e, 0]], float), 0.0)
        if px[0] < o[0]:
            self._turn += math.pi

    def _pinhole(self, xy: D, z: float) -> D:
        c, s = math.cos(self._turn), math.sin(self._turn)
        x, y = xy[:, 0] * c - xy[:, 1] * s, xy[:, 0] * s + xy[:, 1] * c
        p = (np.stack([x, y, np.full_like(x, z)], 1) - self._eye) @ self._rot.T
        q = p[:, :2] / p[:, 2:3]
        r2 = (q**2).sum(1, keepdims=True) * self._f**2 / (self.camera.width / 2) ** 2 if self._f != 1.0 else 0.0
        return np.asarray(q * (1 + self.camera.k1 * r2) * self._f + self._c)

    def project(self, xy_mm: D, z_mm: float) -> D:
        """Bed millimetres at a height above the surface to picture pixels."""
        return self._pinhole(np.asarray(xy_mm, float), z_mm)

    def plane(self, z_mm: float) -> tuple[F, F]:
        """Where each pixel's ray meets the level plane at a height: x and y in mm."""
        w, h = self.camera.width, self.camera.height
        u, v = np.meshgrid(np.arange(w, dtype=float), np.arange(h, dtype=float))
        q = np.stack([u.ravel(), v.ravel()], 1) - self._c
        norm, bent = 1 / (self.camera.width / 2) ** 2, q.copy()
        for _ in range(6):
            q = bent / (1 + self.camera.k1 * (q**2).sum(1, keepdims=True) * norm)
        ray = np.concatenate([q / self._f, np.ones((q.shape[0], 1))], 1) @ self._rot
        at = self._eye + ray * ((z_mm - self._eye[2]) / ray[:, 2:3])
        c, s = math.cos(-self._turn), math.sin(-self._turn)
        x, y = at[:, 0] * c - at[:, 1] * s, at[:, 0] * s + at[:, 1] * c
        return x.reshape(h, w).astype(np.float32), y.reshape(h, w).astype(np.float32)

    def grid_maps(self, grid: Grid) -> tuple[F, F]:
        x, y = self.plane(0.0)
        ny, nx = grid.shape
        return x / grid.cell_mm + nx // 2, (ny // 2 - y / grid.cell_mm).astype(np.float32)

    def polygon(self, points: D, soft: float = 0.5) -> F:
        """Anti-aliased mask of a closed outline given in pixels."""
        mask = np.zeros((self.camera.height, self.camera.width), np.uint8)
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return np.asarray(cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), soft), np.float32)

    def visible(self) -> F:
        """Share of each pixel that shows powder: inside the surface and seen through the rim."""
        return self.polygon(self.surface) * self.polygon(self.rim)

    def aim_toml(self) -> str:
        h = self.homography
        side = np.linalg.norm((self._through(1, 0) - self._through(-1, 0)) / 2)
        tall = np.linalg.norm((self._through(0, 1) - self._through(0, -1)) / 2)
        rows = ",\n  ".join("[" + ", ".join(f"{v:.10g}" for v in row) + "]" for row in h)
        return (
            f"mm_per_px = {1 / math.sqrt(side * tall):.5f}\nproblems = []\n"
            f"bed_to_picture = [\n  {rows}\n]\n\n"
            f"[surface]\n{self._outline(0.0)}\n[rim]\n{self._outline(self.bed.surface_below_rim_mm)}"
        )

    def _through(self, x: float, y: float) -> D:
        p = self.homography @ np.array([x, y, 1.0])
        return np.asarray(p[:2] / p[2])

    def _outline(self, z: float) -> str:
        if self.bed.shape == "rectangular":
            w, t = self.bed.width_mm / 2, self.bed.length_mm / 2
            c = self.project(np.array([[-w, t], [w, t], [w, -t], [-w, -t]]), z)
            return "corners_px = [" + ", ".join(f"[{u:.3f}, {v:.3f}]" for u, v in c) + "]\n"
        points = self.project(self.bed.outline(), z).astype(np.float32)
        (u, v), (a, b), t_deg = cv2.fitEllipseDirect(points)
        if b > a:
            a, b, t_deg = b, a, t_deg + 90
        t_deg = (t_deg + 90) % 180 - 90
        return f"centre_px = [{u:.3f}, {v:.3f}]\naxes_px = [{a / 2:.3f}, {b / 2:.3f}]\nangle_deg = {t_deg:.3f}\n"


def still_scene(view: View, rng: np.random.Generator) -> F:
    """Bench, things on it, tub wall and rim; linear light, shape (height, width, 3), BGR."""
    bed, cam = view.bed, view.camera
    deep = -rng.uniform(120, 260)
    x, y = view.plane(deep)
    wood = (
        noise(rng, (512, 512), 60) * 0.5
        + cv2.resize(noise(rng, (512, 40), 3), (512, 512)) * 0.5
        + 0.25 * noise(rng, (512, 512), 1.5)
    )
    tile = cv2.remap(wood, x / 2.3 + 256, y / 2.3 + 256, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    tint = rng.uniform(0.6, 1.3, 3) * np.array([0.75, 0.9, 1.0])
    scene = (rng.uniform(0.10, 0.35) * (1 + 0.14 * tile)[..., None] * tint).astype(np.float32)
    for _ in range(int(rng.integers(2, 7))):
        _thing(scene, view, rng, deep)
    wall = rng.uniform(4, 14)
    z = bed.surface_below_rim_mm
    outer_top = view.project(bed.outline(grow_mm=wall), z)
    outer_low = view.project(bed.outline(grow_mm=wall), deep)
    hull = cv2.convexHull(np.concatenate([outer_top, outer_low]).astype(np.float32))[:, 0]
    shade = cv2.GaussianBlur(view.polygon(hull + rng.uniform(-14, 14, 2)), (0, 0), 14)
    scene *= (1 - 0.55 * shade)[..., None]
    steel = rng.uniform(0.12, 0.5) * rng.uniform(0.85, 1.1, 3)
    _paint(scene, view.polygon(hull.astype(float)), steel * 0.7)
    way = np.degrees(np.arctan2(x, y)) + rng.uniform(0, 360)
    gloss = (1 + 0.3 * np.cos(np.radians(way)) + 0.2 * np.cos(np.radians(3 * way + 50)))[..., None]
    _paint(scene, view.polygon(outer_top), steel * gloss * rng.uniform(0.9, 1.7))
    px, py = view.plane(z / 2)
    soft = 1 - 0.5 * np.clip(bed.wall_distance(px, py) / 40, 0, 1)
    dusty = steel * rng.uniform(0.4, 1.0) * gloss * soft[..., None]
    _paint(scene, view.polygon(view.rim), dusty * (1 + 0.05 * noise(rng, (cam.height, cam.width), 5)[..., None]))
    return np.asarray(np.clip(scene, 0.004, 2), np.float32)


def _paint(scene: F, mask: F, colour: D | F) -> None:
    m = mask[..., None]
    scene[:] = scene * (1 - m) + (colour * m).astype(np.float32)


def _thing(scene: F, view: View, rng: np.random.Generator, deep: float) -> None:
    a, far = rng.uniform(0, 2 * math.pi), max(view.bed.size_mm) / 2 * rng.uniform(1.15, 1.9)
    w, t, turn = rng.uniform(15, 90), rng.uniform(10, 60), rng.uniform(0, math.pi)
    n = int(rng.choice([4, 4, 6, 24]))
    b = np.arange(n) / n * 2 * math.pi + math.pi / 4
    shape = np.stack([w * np.cos(b), t * np.sin(b)], 1) @ np.array(
        [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
    )
    at = shape + far * np.array([math.sin(a), math.cos(a)])
    points = view.project(at, deep + 5)
    scene *= (1 - 0.5 * cv2.GaussianBlur(view.polygon(points + 4), (0, 0), 3))[..., None]
    _paint(scene, view.polygon(points), rng.uniform(0.03, 0.6) * rng.uniform(0.5, 1.2, 3))
