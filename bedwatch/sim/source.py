"""The make-believe bed as a frame source."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim.camera import pixel_grid, plane_to_picture, pose, scale_mm_per_px
from bedwatch.sim.feed import Grid
from bedwatch.sim.playing import MadeSource
from bedwatch.sim.powder import texture
from bedwatch.sim.scene import Scene
from bedwatch.sim.sensor import Sensor
from bedwatch.sim.stage import build_stage, surface_light
from bedwatch.sim.surface import Surface
from bedwatch.sim.thrown import Thrown
from bedwatch.sim.truth import Event, Truth, right_hints, view_truth

Image = NDArray[np.float32]

_MARGIN_MM = 30.0  # texture kept beyond the bed for what is carried in
_WARM_STEP_S = 1 / 20
_MOST_STEP_S = 1 / 24


class BedSource(MadeSource):
    """Frames of a `Scene`. Speeds and events of `truth` run up to the last frame given out."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene.camera.size_px, scene.duration_s, scene.fps)
        self.scene = scene
        bed, camera = scene.bed, scene.camera
        self._at = pose(camera, bed.surface_below_rim_mm)
        pixel_mm = scale_mm_per_px(self._at)
        across = max(bed.width_mm, bed.length_mm)
        self.grid = Grid(bed, min(1.5, max(1.2 * pixel_mm, across / 440, 0.6)))
        self.surface = Surface(
            self.grid,
            scene.air,
            scene.powder,
            depth_mm=scene.depth_mm,
            seed=scene.seed,
            spouts=scene.spouts,
            dead=scene.dead,
            leaks=scene.leaks,
            changes=scene.changes,
            bed=bed,
        )
        self._thrown = Thrown(self.grid, self._at.centre_mm, scene.seed)
        self._stage = build_stage(bed, camera, scene.lamp, scene.tub, exposure_of(scene), scene.around)
        self._sensor = Sensor(camera, self._stage, scene.seed)
        self._prepare()
        self._time_s = -math.inf
        self._zone_row = (self.grid.zone + 1).ravel()
        self._speed_sum = np.zeros(len(bed.zones) + 1)
        self._speed_steps = 0

    def _prepare(self) -> None:
        """Texture at half the grid's step, light on the level surface, and the maps that stay the same."""
        scene, grid = self.scene, self.grid
        self._texel_mm = grid.cell_mm / 2
        pad = math.ceil(_MARGIN_MM / self._texel_mm)
        shape = (2 * grid.rows + 2 * pad, 2 * grid.columns + 2 * pad)
        sheet = texture(scene.powder, shape, self._texel_mm, scene.seed)
        self._sheet = cv2.GaussianBlur(sheet, (0, 0), 0.8)
        index = [a.astype(np.float32) for a in np.meshgrid(np.arange(grid.columns), np.arange(grid.rows))]
        self._index = index
        self._texture_at = [2 * a + pad for a in index]
        self._lit = surface_light(scene.bed, scene.lamp, grid.x, grid.y)
        towards = scene.lamp.direction()
        slope = 1 / math.tan(math.radians(scene.lamp.elevation_deg))
        level = math.hypot(towards[0], towards[1])
        self._slope_x = float(-towards[0] / level * slope)
        self._slope_y = float(towards[1] / level * slope)  # rows run against y
        centre = self._at.centre_mm
        scale = np.float32(1 / (centre[2] * grid.cell_mm))  # cells an upright millimetre leans outward
        self._lean = [(grid.x - np.float32(centre[0])) * scale, (np.float32(centre[1]) - grid.y) * scale]
        left, top, right, bottom = self._stage.box
        window = (slice(top, bottom), slice(left, right))
        shift = np.array([[1.0, 0, -left], [0, 1.0, -top], [0, 0, 1.0]])
        self._mapping = shift @ plane_to_picture(self._at) @ grid.to_bed()
        self._bent: tuple[Image, Image] | None = None
        if self._at.bend is not None:
            x, y = (a[window] for a in pixel_grid(self._at, 0.0, self.size_px))
            self._bent = ((x - grid.left_mm) / np.float32(grid.cell_mm), (grid.top_mm - y) / np.float32(grid.cell_mm))
        colour = np.array(scene.powder.colour, dtype=np.float32) ** np.float32(1 / scene.camera.gamma)
        colour = colour / colour.max()
        see = self._stage.see[window] * self._stage.vignette[window]
        self._paint = np.ascontiguousarray(see[..., None] * colour * np.float32(scene.powder.level_dn))

    @property
    def truth(self) -> Truth:
        """What was there; speeds and events up to the last frame given out."""
        bed = self.scene.bed
        homography, mm_per_px, surface, rim = view_truth(bed, self._at)
        counts = np.bincount(self.grid.zone.ravel() + 1, minlength=len(bed.zones) + 1)[1:]
        speed = np.sqrt(self._speed_sum[1:] / np.maximum(counts * max(self._speed_steps, 1), 1))
        events = tuple(
            Event(x_mm=x, y_mm=y, bubble_mm=d, start_s=start, burst_s=burst)
            for x, y, d, start, burst in self.surface.events
        )
        troubled = {self.grid_zone(p.x_mm, p.y_mm) for p in self.scene.spouts}
        troubled |= {self.grid_zone(p.x_mm, p.y_mm) for p in self.scene.dead}
        for leak in self.scene.leaks:
            x, y = leak.middle(bed)
            troubled.add(self.grid_zone(0.95 * x, 0.95 * y))
        return Truth(
            zones=tuple(zone.name for zone in bed.zones),
            air=self.scene.air,
            hints=tuple(right_hints(a, k in troubled) for k, a in enumerate(self.scene.air)),
            bed_to_picture=homography,
            mm_per_px=mm_per_px,
            surface=surface,
            rim=rim,
            speed_mm_s=tuple(float(v) for v in speed),
            events=events,
            bend=self._at.bend,
        )

    def grid_zone(self, x_mm: float, y_mm: float) -> int:
        """Index of the zone at a point, -1 outside them all."""
        column = round((x_mm - self.grid.left_mm) / self.grid.cell_mm)
        row = round((self.grid.top_mm - y_mm) / self.grid.cell_mm)
        if not (0 <= row < self.grid.rows and 0 <= column < self.grid.columns):
            return -1
        return int(self.grid.zone[row, column])

    def _step(self, dt_s: float) -> None:
        """Advance by a frame's time, in equal steps short enough for the eruptions."""
        parts = max(1, math.ceil(dt_s / _MOST_STEP_S - 1e-9))
        for _ in range(parts):
            self.surface.advance(dt_s / parts)
            self._thrown.step(self.surface, dt_s / parts)
            across, down = self.surface.moved_mm
            squared = (across * across + down * down) * np.float32((parts / dt_s) ** 2)
            self._speed_sum += np.bincount(self._zone_row, squared.ravel(), self._speed_sum.size)
            self._speed_steps += 1

    def light(self) -> Image:
        """(rows, columns) brightness of the surface as lit, in the bed plane; 1 is level settled powder."""
        surface = self.surface
        at = [cv2.scaleAdd(o, 1 / self._texel_mm, a) for o, a in zip(surface.offset_mm, self._texture_at, strict=True)]
        skin = cv2.remap(self._sheet, at[0], at[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
        lit: Image = np.asarray(skin, dtype=np.float32)
        ambient = self.scene.lamp.ambient
        lit *= np.float32(ambient) + np.float32(1 - ambient) * self._lit * self._facing(surface.height_mm)
        self._thrown.draw(lit, self.scene.lamp)
        seen = [
            cv2.subtract(i, cv2.multiply(surface.height_mm, lean))
            for i, lean in zip(self._index, self._lean, strict=True)
        ]
        return np.asarray(cv2.remap(lit, seen[0], seen[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    def _facing(self, height_mm: Image) -> Image:
        """Lambert's cosine towards the lamp over that of a level surface, softened where it turns away."""
        scale = 1 / (8 * self.grid.cell_mm)
        across = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, ksize=3, scale=scale)
        down = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3, scale=scale)
        towards = cv2.addWeighted(across, self._slope_x, down, self._slope_y, 1.0)
        facing = cv2.divide(towards, cv2.sqrt(across * across + down * down + 1))
        soft = 0.12
        softened = facing + cv2.sqrt(facing * facing + soft)
        return np.asarray(softened / (1 + math.sqrt(1 + soft)), dtype=np.float32)

    def render(self) -> Image:
        """(h, w, 3) clean coded values, over black, of the stage's box as the surface is now."""
        camera = self.scene.camera
        lit = cv2.pow(np.maximum(self.light(), 0), 1 / camera.gamma)
        left, top, right, bottom = self._stage.box
        if self._bent is not None:
            seen = cv2.remap(lit, *self._bent, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        else:
            seen = cv2.warpPerspective(
                lit,
                self._mapping,
                (right - left, bottom - top),
                flags=cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
        if camera.blur_px > 0.3:
            seen = cv2.GaussianBlur(seen, (0, 0), camera.blur_px)
        return np.asarray(cv2.multiply(cv2.merge([seen, seen, seen]), self._paint))

    def picture_at(self, time_s: float) -> Picture:
        self._reach(time_s)
        return self._sensor.expose(self.render())

    def clear_at(self, time_s: float) -> Image:
        """(h, w, 3) coded values of the picture before noise, for `trouble`; times in rising order."""
        self._reach(time_s)
        return self._sensor.clear(self.render())

    def develop(self, clear: Image) -> Picture:
        """What the sensor makes of a clear picture."""
        return self._sensor.develop(clear)

    def _reach(self, time_s: float) -> None:
        if self._time_s == -math.inf:
            self.surface.time_s = time_s - self.scene.start_s
            while self.surface.time_s < time_s - 1e-9:
                self.surface.advance(min(_WARM_STEP_S, time_s - self.surface.time_s))
        elif time_s > self._time_s:
            self._step(time_s - self._time_s)
        self._time_s = time_s


class BenchSource(MadeSource):
    """Frames of a bench without a tub (`around.no_tub`). `truth` is where the bed of the scene would have been."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene.camera.size_px, scene.duration_s, scene.fps)
        if scene.around is None or not scene.around.no_tub:
            raise ValueError("a bench without a tub is asked for by around.no_tub")
        self.scene = scene
        exposure = exposure_of(scene)
        self._sensor = Sensor(
            scene.camera,
            build_stage(scene.bed, scene.camera, scene.lamp, scene.tub, exposure, scene.around),
            scene.seed,
        )
        self._nothing: Image = np.zeros((1, 1, 3), np.float32)

    @property
    def truth(self) -> Truth:
        bed = self.scene.bed
        at = pose(self.scene.camera, bed.surface_below_rim_mm)
        homography, mm_per_px, surface, rim = view_truth(bed, at)
        return Truth(zones=(), air=(), hints=(), bed_to_picture=homography, mm_per_px=mm_per_px, surface=surface,
                     rim=rim, speed_mm_s=(), bend=at.bend)  # fmt: skip

    def picture_at(self, time_s: float) -> Picture:  # noqa: ARG002
        return self._sensor.expose(self._nothing)


def exposure_of(scene: Scene) -> float:
    """Linear light of a white level surface, once the camera has set the powder to its brightness."""
    camera = scene.camera
    return float((scene.powder.level_dn / (255 - camera.black_dn)) ** camera.gamma / scene.powder.albedo)
