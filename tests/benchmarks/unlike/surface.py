"""The powder's look: carried grains, relief and lamps, on the grid of the bed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from .bed import Air, Bed, F, Powder
from .motion import Grid, Motion, noise, splat


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """A distant lamp: where it stands (clockwise from 12 o'clock), how high, how strong."""

    clock_deg: float
    elevation_deg: float
    share: float


class Surface:
    """Steps the bed and gives its brightness, 1 for flat powder in even light."""

    def __init__(
        self, bed: Bed, air: Air, powder: Powder, lamps: tuple[Lamp, ...], *, relief: float = 1.0,
        seed: int = 0, cell_mm: float = 1.5, warm_s: float = 0.8, fps: float = 30.0,
    ) -> None:  # fmt: skip
        self.grid = Grid.over(bed, cell_mm)
        self.motion = Motion(bed, air, powder, self.grid, seed)
        self.rng = np.random.default_rng(seed + 77)
        self.powder, self.lamps, self.relief = powder, lamps, relief
        n = int(self.motion.inside.sum() * 0.75) // 64 * 64
        home = np.flatnonzero(self.motion.inside)
        pick = self.rng.choice(home, n)
        nx = self.grid.shape[1]
        self._home = home
        self.x = (pick % nx + self.rng.uniform(-0.5, 0.5, n)).astype(np.float32)
        self.y = (pick // nx + self.rng.uniform(-0.5, 0.5, n)).astype(np.float32)
        self.tone = self._tones(n)
        self.bulk = self.rng.standard_normal(n).astype(np.float32)
        self.weight = np.ones(n, np.float32)
        self.going = np.zeros(n, bool)
        self._scale = [self._layer(self.tone, powder.grain_cells).std()]
        self._scale += [self._layer(self.bulk, s).std() for s in (1.8, 5.0)]
        self._shade = self._fixed_light()
        self._frozen = (0.5 * noise(self.rng, self.grid.shape, 10) + 0.9 * noise(self.rng, self.grid.shape, 40)).astype(
            np.float32
        )
        self.speed_sum = np.zeros(bed.zones)
        self.steps = 0
        self.motion.t = -warm_s
        for _ in range(int(warm_s * fps)):
            self.step(1 / fps)
        self.motion.start_clock()
        self.speed_sum[:] = 0
        self.steps = 0

    def _tones(self, n: int) -> F:
        t = self.rng.standard_normal(n)
        glint = self.rng.uniform(size=n) < 0.02 * self.powder.glints
        return np.where(glint, 7.0, t).astype(np.float32)

    def _layer(self, what: F, sigma: float) -> F:
        return np.asarray(cv2.GaussianBlur(splat(self.x, self.y, what * self.weight, self.grid.shape), (0, 0), sigma))

    def _fixed_light(self) -> F:
        """Fall-off across the bed and the soft shadow of the wall."""
        g = self.grid
        reach = float(np.abs(g.x).max())
        out = np.zeros(g.shape, np.float32)
        for lamp in self.lamps:
            a = math.radians(lamp.clock_deg)
            along = (g.x * math.sin(a) + g.y * math.cos(a)) / reach
            shadow = np.clip((1.02 - along) / 0.1, 0.55, 1) if lamp.elevation_deg < 30 else 1.0
            out += (lamp.share * (1 + 0.16 * along) * shadow).astype(np.float32)
        return np.asarray(cv2.GaussianBlur(out + 1 - sum(lamp.share for lamp in self.lamps), (0, 0), 3), np.float32)

    def _sample(self, field: F, x: F, y: F) -> F:
        out = cv2.remap(field, x.reshape(64, -1), y.reshape(64, -1), cv2.INTER_LINEAR)
        return np.asarray(out.ravel(), np.float32)

    def step(self, dt: float) -> F:
        u, v, h = self.motion.step(dt)
        self.speed_sum += self.motion.zone_speeds(u, v)
        self.steps += 1
        half = np.float32(dt / 2)
        xm = self.x + half * self._sample(u, self.x, self.y)
        ym = self.y + half * self._sample(v, self.x, self.y)
        self.x = self.x + np.float32(dt) * self._sample(u, xm, ym)
        self.y = self.y + np.float32(dt) * self._sample(v, xm, ym)
        self._renew()
        return self._light(h)

    def _renew(self) -> None:
        """Bursts bring fresh powder up; crowded grains sink and come up where the bed thins."""
        ny, nx = self.grid.shape
        i = np.clip(self.x.round().astype(np.int32), 0, nx - 1)
        j = np.clip(self.y.round().astype(np.int32), 0, ny - 1)
        fresh = (self.motion.burst[j, i] > 0) & (self.motion.mobile[j, i] > 0.3)
        fresh &= self.rng.uniform(size=fresh.size) < 0.6
        n = int(fresh.sum())
        self.tone[fresh] = self._tones(n)
        self.bulk[fresh] = self.rng.standard_normal(n)
        bx = nx // 4 + 1
        block = (j // 4) * bx + i // 4
        count = np.bincount(block, minlength=bx * (ny // 4 + 1))
        lost = ~self.motion.inside[j, i]
        crowded = self.rng.uniform(size=block.size) < np.clip((count[block] - 14) / 30, 0, 0.35)
        crowded &= self.motion.mobile[j, i] > 0.02
        self.going |= lost | crowded
        self.weight = np.where(self.going, self.weight - 0.25, np.minimum(self.weight + 0.25, 1)).astype(np.float32)
        gone = np.flatnonzero(self.going & (self.weight <= 0))
        if gone.size:
            hy, hx = self._home // nx, self._home % nx
            thin = self._home[(count[(hy // 4) * bx + hx // 4] < 10) & (self.motion.mobile[hy, hx] > 0.2)]
            at = self.rng.choice(thin if thin.size else self._home, gone.size)
            self.x[gone] = at % nx + self.rng.uniform(-0.5, 0.5, gone.size)
            self.y[gone] = at // nx + self.rng.uniform(-0.5, 0.5, gone.size)
            self.tone[gone], self.bulk[gone] = self._tones(gone.size), self.rng.standard_normal(gone.size)
            self.weight[gone], self.going[gone] = 0, False

    def _light(self, h: F) -> F:
        p, g = self.powder, self.grid
        crowd = cv2.GaussianBlur(splat(self.x, self.y, self.weight, g.shape), (0, 0), 1.6)
        even = 1 / np.sqrt(np.maximum(crowd / 0.75, 0.12))
        grain = self._layer(self.tone, p.grain_cells) * even / self._scale[0]
        bulk = splat(self.x, self.y, self.bulk * self.weight, g.shape) * even
        mid = cv2.GaussianBlur(bulk, (0, 0), 1.8) / self._scale[1]
        large = cv2.GaussianBlur(bulk, (0, 0), 5.0) / self._scale[2]
        albedo = 1 + p.grain * grain + p.blotch * (mid + 0.7 * large)
        live = self.motion.mobile
        height = self.relief * (h + 0.10 * mid + 0.22 * large + self._frozen * (0.5 - 0.3 * live)) / g.cell_mm
        kx = np.array([[-0.5, 0, 0.5]], np.float32)
        hx, hy = cv2.filter2D(height, -1, kx), cv2.filter2D(height, -1, kx.T)
        norm = 1 / np.sqrt(1 + hx**2 + hy**2)
        shade = np.full(g.shape, 1 - sum(lamp.share for lamp in self.lamps), np.float32)
        for lamp in self.lamps:
            a, e = math.radians(lamp.clock_deg), math.radians(lamp.elevation_deg)
            slope = hx * math.sin(a) - hy * math.cos(a)
            shade += lamp.share * np.clip((1 - slope / math.tan(e)) * norm, 0.05, 2.2)
        hollow = 1 + 0.015 * np.clip(height - cv2.GaussianBlur(height, (0, 0), 4), -6, 3)
        return self._flying(albedo * shade * hollow * self._shade)

    def _flying(self, lum: F) -> F:
        s = self.motion.spits
        if s.shape[0]:
            lamp = self.lamps[0]
            a, e = math.radians(lamp.clock_deg), math.radians(lamp.elevation_deg)
            away = s[:, 2] / self.grid.cell_mm / math.tan(e)
            one = np.ones(s.shape[0])
            dark = splat(s[:, 0] - away * math.sin(a), s[:, 1] + away * math.cos(a), 0.35 * one, self.grid.shape)
            light = splat(s[:, 0], s[:, 1], 0.4 * one, self.grid.shape)
            lum = lum * (1 + cv2.GaussianBlur(light, (0, 0), 0.8) - cv2.GaussianBlur(dark, (0, 0), 1.1))
        return np.asarray(np.clip(lum, 0.03, 4), np.float32)
