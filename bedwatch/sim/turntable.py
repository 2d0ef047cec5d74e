"""A real texture on a disc that turns rigidly inside a still rim: every zone's speed is known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim.camera import Camera, pixel_grid, plane_to_picture, pose, scale_mm_per_px
from bedwatch.sim.playing import MadeSource
from bedwatch.sim.sensor import Sensor
from bedwatch.sim.stage import Lamp, Tub, build_stage, surface_light
from bedwatch.sim.truth import Truth, view_truth

Image = NDArray[np.float32]
Texture = Literal["grass", "gravel", "brick"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turntable:
    """A turning disc as a scene.

    omega_rad_s: anticlockwise seen from above; 0 is a still disc. contrast: scales the texture about its mean
    (1 as photographed, 0.2 faint). level_dn: mean coded brightness of the disc. fps: pictures per second.
    """

    bed: Bed
    omega_rad_s: float
    texture: Texture = "gravel"
    contrast: float = 1.0
    level_dn: float = 120.0
    camera: Camera = field(default_factory=Camera)
    lamp: Lamp = field(default_factory=lambda: Lamp(falloff=0.0, wall_shadow=0.0))
    tub: Tub = field(default_factory=Tub)
    duration_s: float = 10.0
    fps: float = 30.0
    seed: int = 0


def rms_radius_mm(polygon_mm: NDArray[np.float64]) -> float:
    """Root mean square distance from the origin over a polygon: sqrt(polar second moment / area).

    Green's theorem on the polygon's edges (textbook result); (n, 2) corners in order, not closed.
    """
    x, y = polygon_mm[:, 0], polygon_mm[:, 1]
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    cross = x * ny - nx * y
    second = float((cross * (x * x + x * nx + nx * nx + y * y + y * ny + ny * ny)).sum()) / 12
    return math.sqrt(second / (float(cross.sum()) / 2))


def load_texture(name: Texture) -> Image:
    """(512, 512) grey picture from scikit-image's own files, mean 0, in units of its mean brightness."""
    from skimage import data

    read = {"grass": data.grass, "gravel": data.gravel, "brick": data.brick}[name]
    raw = np.asarray(read(), dtype=np.float32)  # type: ignore[no-untyped-call]
    raw = raw - cv2.GaussianBlur(raw, (0, 0), 60, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(raw / 118.0, dtype=np.float32)


class TurntableSource(MadeSource):
    """Frames of a `Turntable`. Zone speeds of `truth` are exact at any time."""

    def __init__(self, table: Turntable) -> None:
        super().__init__(table.camera.size_px, table.duration_s, table.fps)
        if table.camera.k1 or table.camera.k2:
            raise ValueError("the turntable is seen by a straight lens only")
        self.table = table
        self._at = pose(table.camera, table.bed.surface_below_rim_mm)
        self._stage = build_stage(table.bed, table.camera, table.lamp, table.tub, 0.8)
        self._sensor = Sensor(table.camera, self._stage, table.seed)
        self._sheet, self._sheet_to_bed = self._make_sheet()
        left, top, right, bottom = self._stage.box
        window = (slice(top, bottom), slice(left, right))
        x, y = (a[window] for a in pixel_grid(self._at, 0.0, self.size_px))
        shade = np.power(surface_light(table.bed, table.lamp, x, y), 1 / table.camera.gamma)
        self._shown = np.asarray(shade * self._stage.see[window] * self._stage.vignette[window], np.float32)

    @property
    def truth(self) -> Truth:
        """Zone speeds are |omega| times the zone's root mean square radius."""
        bed = self.table.bed
        homography, mm_per_px, surface, rim = view_truth(bed, self._at)
        omega = abs(self.table.omega_rad_s)
        return Truth(
            zones=tuple(zone.name for zone in bed.zones),
            air=(),
            hints=(),
            bed_to_picture=homography,
            mm_per_px=mm_per_px,
            surface=surface,
            rim=rim,
            speed_mm_s=tuple(omega * rms_radius_mm(zone.polygon_mm) for zone in bed.zones),
        )

    def _make_sheet(self) -> tuple[Image, NDArray[np.float64]]:
        """The disc's brightness, finely sampled, blurred to what a pixel can hold; samples to bed (3, 3)."""
        bed, camera = self.table.bed, self.table.camera
        across_mm = math.hypot(bed.width_mm, bed.length_mm) if bed.shape == "rectangular" else bed.width_mm
        texture = load_texture(self.table.texture)
        mm_per_texel = max(1.0, (across_mm + 6) / texture.shape[0])
        need = min(texture.shape[0], math.ceil((across_mm + 6) / mm_per_texel))
        fine = 3
        sheet = cv2.resize(texture[:need, :need], None, fx=fine, fy=fine, interpolation=cv2.INTER_CUBIC)
        sample_mm = mm_per_texel / fine
        pixel_mm = scale_mm_per_px(self._at)
        soft = math.hypot(0.4, camera.blur_px) * pixel_mm / sample_mm  # pixel aperture and lens together
        sheet = cv2.GaussianBlur(sheet, (0, 0), soft)
        coded = self.table.level_dn * np.power(np.clip(1 + self.table.contrast * sheet, 0.02, None), 0.9)
        half = (need * fine - 1) / 2
        to_bed = np.array([[sample_mm, 0, -half * sample_mm], [0, -sample_mm, half * sample_mm], [0, 0, 1.0]])
        return np.asarray(coded, dtype=np.float32), to_bed

    def angle_at(self, time_s: float) -> float:
        """Turn of the disc (rad, anticlockwise from above) at a source time."""
        return self.table.omega_rad_s * time_s

    def render(self, time_s: float) -> Image:
        """(h, w) clean coded brightness of the disc in the stage's box at a time, noise free."""
        angle = self.angle_at(time_s)
        turn = np.array(
            [
                [math.cos(angle), -math.sin(angle), 0.0],
                [math.sin(angle), math.cos(angle), 0.0],
                [0.0, 0.0, 1.0],
            ]
        )
        left, top, right, bottom = self._stage.box
        shift = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top], [0.0, 0.0, 1.0]])
        mapping = shift @ plane_to_picture(self._at) @ turn @ self._sheet_to_bed
        disc = cv2.warpPerspective(
            self._sheet,
            mapping,
            (right - left, bottom - top),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(disc * self._shown, dtype=np.float32)

    def picture_at(self, time_s: float) -> Picture:
        disc = self.render(time_s)
        return self._sensor.expose(np.repeat(disc[..., None], 3, axis=2))
