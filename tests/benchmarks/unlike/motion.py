"""How the air moves the surface: eruptions, slow currents, slosh, faults.

Every eruption is a few impulses of a Gaussian potential; its gradient pushes powder outward while
the dome lifts and bursts, then lets it slide back. Sizes and rates follow a Darton estimate for a
150 mm deep bed on a porous plate: diameter 5.5 (U-Umf)^0.4 mm, 23 (U-Umf)^-0.19 /s per 2500 mm2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .bed import Air, Bed, F, Fault, Powder

SIGMAS_MM = np.array([2.0, 3.0, 4.5, 6.8, 10.0, 15.0])
G_MM_S2 = 9810.0


def smooth(x: F) -> F:
    x = np.clip(x, 0, 1)
    return np.asarray(x * x * (3 - 2 * x), np.float32)


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells over the bed: rows downward (towards 6 o'clock), columns to the right."""

    cell_mm: float
    x: F
    y: F
    wall: F

    @classmethod
    def over(cls, bed: Bed, cell_mm: float) -> Grid:
        pad = 6
        nx, ny = (2 * math.ceil(s / 2 / cell_mm) + 2 * pad + 1 for s in bed.size_mm)
        col = (np.arange(nx, dtype=np.float32) - nx // 2) * np.float32(cell_mm)
        row = (ny // 2 - np.arange(ny, dtype=np.float32)) * np.float32(cell_mm)
        x, y = np.meshgrid(col, row)
        return cls(cell_mm, x, y, bed.wall_distance(x, y))

    @property
    def shape(self) -> tuple[int, int]:
        return self.x.shape[0], self.x.shape[1]

    def cells(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        ny, nx = self.shape
        return x_mm / self.cell_mm + nx // 2, ny // 2 - y_mm / self.cell_mm


def splat(x: F, y: F, w: F, shape: tuple[int, int]) -> F:
    """Sum of weights dropped bilinearly at cell positions."""
    ny, nx = shape
    x = np.clip(x, 0, nx - 1.001)
    y = np.clip(y, 0, ny - 1.001)
    i, j = x.astype(np.int32), y.astype(np.int32)
    fx, fy = x - i, y - j
    at = j * nx + i
    where = np.concatenate([at, at + 1, at + nx, at + nx + 1])
    what = np.concatenate([w * (1 - fx) * (1 - fy), w * fx * (1 - fy), w * (1 - fx) * fy, w * fx * fy])
    return np.bincount(where, what, nx * ny).reshape(ny, nx).astype(np.float32)


def noise(rng: np.random.Generator, shape: tuple[int, int], scale: float) -> F:
    """Smooth noise of unit deviation, features about `scale` cells across."""
    small = (max(3, int(shape[0] / scale) + 3), max(3, int(shape[1] / scale) + 3))
    out = cv2.resize(rng.standard_normal(small).astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(out / (out.std() + 1e-6), np.float32)


class Motion:
    """Velocity and height of the surface, stepped in time."""

    def __init__(self, bed: Bed, air: Air, powder: Powder, grid: Grid, seed: int) -> None:
        self.bed, self.air, self.powder, self.grid = bed, air, powder, grid
        self.rng = np.random.default_rng(seed)
        self.t = 0.0
        s = grid.shape
        inside = grid.wall > 0
        self._zone = bed.zone_of(grid.x, grid.y)
        base = np.asarray(air.per_zone, np.float32)[self._zone]
        sigma = 9.0 / grid.cell_mm
        w = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), sigma)
        base = cv2.GaussianBlur(np.where(inside, base, 0).astype(np.float32), (0, 0), sigma) / np.maximum(w, 1e-3)
        self.base_air = (base * (1 + 0.05 * noise(self.rng, s, 40 / grid.cell_mm))).astype(np.float32)
        self.inside = inside
        self._wall_slip = smooth(grid.wall / 7.0)
        self._rough = noise(self.rng, s, 9 / grid.cell_mm)
        self._psi = self.rng.standard_normal((3, s[0] // 22 + 4, s[1] // 22 + 4)).astype(np.float32)
        self._slosh = self.rng.uniform(0, 2 * math.pi, 3)
        depth = self.rng.uniform(90, 200)
        self._bounce_hz = math.sqrt(G_MM_S2 / depth) / math.pi
        self._eruptions = np.zeros((0, 7))  # x, y (cells), diameter, start, life, strength, ring angle
        self._wander: dict[int, NDArray[np.float64]] = {}
        self._active: tuple[bool, ...] | None = None
        self.spits = np.zeros((0, 6))  # x, y (cells), z mm, and their speeds (cells/s, cells/s, mm/s)
        self.burst = np.zeros(s, np.uint8)
        self._maps()

    # --- what the air allows -------------------------------------------------------------------
    def _maps(self) -> None:
        g = self.grid
        air = self.base_air.copy()
        free = np.zeros(g.shape, np.float32)
        self._static = np.zeros(g.shape, np.float32)
        for f in self.air.faults:
            if not f.on(self.t):
                continue
            d = np.hypot(g.x - f.x_mm, g.y - f.y_mm)
            if f.kind == "dead_spot":
                edge = f.diameter_mm / 2 * (1 + 0.13 * self._rough)
                air *= 1 - smooth((edge - d) / 9.0 + 0.5)
            elif f.kind == "spout":
                a = f.diameter_mm / 2
                free = np.maximum(free, smooth((1.35 * a - d) / (0.4 * a)))
                ring = np.exp(-(((d - 1.1 * a) / (0.4 * a)) ** 2)) * 0.07 - np.exp(-((d / (0.7 * a)) ** 2)) * 0.10
                self._static += (ring * f.diameter_mm * (1 + 0.3 * self._rough)).astype(np.float32)
            else:
                off = np.abs(leak_offset(f, g.x, g.y))
                free = np.maximum(free, smooth((24 - g.wall) / 8) * (off < f.arc_deg / 2))
        excess = np.maximum(air - 1, 0) * self.powder.umf_mm_s
        seen = smooth((air - 1) / 0.35)
        self.mobile = np.maximum(smooth((air - 0.98) / 0.12), free) * self.inside
        area = g.cell_mm**2
        rate = 23 * np.maximum(excess, 0.2) ** -0.19 / 2500 * seen * area * self.inside
        if self.powder.glassy:
            rate = rate * smooth((air - 2.7) / 0.9)
        wild = smooth((air - 3.2) / 1.6)
        self._splash = np.cumsum((wild * 2.2 / 2500 * area * self.inside).ravel(), dtype=np.float64)
        self._wild = wild
        self._rate = np.cumsum(rate.ravel(), dtype=np.float64)
        self._size = np.clip(5.5 * np.maximum(excess, 0.2) ** 0.4, 4, 26).astype(np.float32)
        drift = (5.0 if self.powder.glassy else 3.6) * excess**0.6 * seen
        self._drift = (drift * self._wall_slip).astype(np.float32)
        self._active = tuple(f.on(self.t) for f in self.air.faults)

    def _spawn(self, dt: float) -> None:
        rng, g, new = self.rng, self.grid, []
        ny, nx = g.shape

        def drop(cum: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
            n = rng.poisson(cum[-1] * dt)
            at = np.minimum(np.searchsorted(cum, rng.uniform(0, cum[-1], n)), nx * ny - 1)
            return at, at % nx + rng.uniform(-0.5, 0.5, n), at // nx + rng.uniform(-0.5, 0.5, n)

        def add(x: object, y: object, d: object, strength: object) -> None:
            x, y, d, strength = np.broadcast_arrays(x, y, d, strength)
            life = (0.2 + 0.012 * d) * rng.uniform(0.8, 1.3, d.shape)
            start = self.t + rng.uniform(0, dt, d.shape)
            new.append(np.stack([x, y, d, start, life, strength, rng.uniform(0, 6.28, d.shape)], 1))

        at, x, y = drop(self._rate)
        wild = self._wild.ravel()[at]
        add(
            x,
            y,
            self._size.ravel()[at] * rng.lognormal(0, 0.28, x.size),
            (1 + 0.5 * wild) * rng.lognormal(-0.05, 0.3, x.size),
        )
        _, x, y = drop(self._splash)
        add(x, y, rng.uniform(22, 44, x.size), rng.uniform(1.2, 1.9, x.size))
        self._spit(x, y, 9, 330)
        for k, f in enumerate(self.air.faults):
            if f.on(self.t) and f.kind == "spout":
                wander = self._wander.setdefault(k, np.zeros(2))
                wander += -wander * dt / 2.5 + f.wander_mm * rng.standard_normal(2) * math.sqrt(2 * dt / 2.5)
                cx, cy = g.cells(f.x_mm + wander[0], f.y_mm + wander[1])
                n, spread = rng.poisson(16 * f.strength * dt), f.diameter_mm / 8 / g.cell_mm
                x, y = cx + spread * rng.standard_normal(n), cy + spread * rng.standard_normal(n)
                add(x, y, f.diameter_mm * rng.uniform(0.45, 0.85, n), rng.uniform(1.0, 1.9, n))
                self._spit(x, y, 3, 250)
            elif f.on(self.t) and f.kind == "rim_leak":
                px, py = leak_points(f, self.bed, rng, dt)
                cx, cy = (
                    (np.asarray(v) for v in zip(*[g.cells(a, b) for a, b in zip(px, py, strict=True)], strict=True))
                    if px.size
                    else (px, py)
                )
                add(cx, cy, rng.uniform(8, 17, px.size), rng.uniform(1.1, 2.0, px.size))
                self._spit(cx, cy, 1, 250)
        self._eruptions = np.concatenate([self._eruptions, *new])

    def _spit(self, x: NDArray[np.float64], y: NDArray[np.float64], each: int, speed: float) -> None:
        n = x.size * each
        if not n:
            return
        a, v = self.rng.uniform(0, 2 * math.pi, n), self.rng.uniform(0.1, 0.6, n) * speed / self.grid.cell_mm
        up = self.rng.uniform(0.4, 1.3, n) * speed
        self.spits = np.concatenate(
            [
                self.spits,
                np.stack([np.repeat(x, each), np.repeat(y, each), np.zeros(n), v * np.cos(a), v * np.sin(a), up], 1),
            ]
        )

    def start_clock(self) -> None:
        """Make now the time 0."""
        self._eruptions[:, 3] -= self.t
        self.t = 0.0

    # --- one step -------------------------------------------------------------------------------
    def step(self, dt: float) -> tuple[F, F, F]:
        """Velocity right and down in cells/s, and height in mm, each of the grid's shape."""
        if tuple(f.on(self.t) for f in self.air.faults) != self._active:
            self._maps()
        self._spawn(dt)
        self.t += dt
        e = self._eruptions
        e = e[e[:, 3] + e[:, 4] > self.t]
        self._eruptions = e
        phase = (self.t - e[:, 3]) / e[:, 4]
        push = np.interp(phase, [0, 0.12, 0.34, 0.42, 0.52, 0.66, 0.86, 1], [0, 0.35, 0.45, 1, 0.25, -0.42, -0.22, 0])
        lift = np.interp(phase, [0, 0.28, 0.36, 0.5, 0.62, 0.8, 1], [0, 0.9, 1, -0.35, -0.3, 0.1, 0])
        peak = 0.33 * np.sqrt(G_MM_S2 * e[:, 2]) * e[:, 5] / self.grid.cell_mm
        potential, height = self._field(e, push * peak, lift * 0.12 * e[:, 2] * np.sqrt(e[:, 5]))
        kx = np.array([[-0.5, 0, 0.5]], np.float32)
        u, v = -cv2.filter2D(potential, -1, kx), -cv2.filter2D(potential, -1, kx.T)
        du, dv = self._currents(dt)
        m = self.mobile * self._wall_slip
        u, v = (u + du) * m, (v + dv) * m
        self._mark_bursts(e, phase, dt)
        self._fly(dt)
        return u, v, height * self.mobile + self._static

    def _field(self, e: NDArray[np.float64], push: NDArray[np.float64], lift: NDArray[np.float64]) -> tuple[F, F]:
        shape, cell = self.grid.shape, self.grid.cell_mm
        potential, height = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        cls = np.abs(np.log(0.42 * np.maximum(e[:, 2:3], 1) / SIGMAS_MM)).argmin(1)
        for k, sigma_mm in enumerate(SIGMAS_MM):
            pick = cls == k
            if not pick.any():
                continue
            s, q = sigma_mm / cell, e[pick]
            x, y, p, h = [], [], [], []
            for share, turn, reach in ((0.5, 0.0, 0.25), (0.3, 2.3, 0.75), (0.2, 4.4, 0.9)):
                x.append(q[:, 0] + reach * s * np.cos(q[:, 6] + turn))
                y.append(q[:, 1] + reach * s * np.sin(q[:, 6] * 1.7 + turn))
                p.append(share * push[pick])
                h.append(share * lift[pick])
            xs, ys = np.concatenate(x), np.concatenate(y)
            scale = 1 if s < 4 else 2
            small = (shape[0] // scale + 1, shape[1] // scale + 1)
            both = cv2.merge([splat(xs / scale, ys / scale, np.concatenate(w), small) for w in (p, h)])
            both = cv2.GaussianBlur(both, (0, 0), s / scale) * (2 * math.pi * (s / scale) ** 2)
            if scale > 1:
                both = cv2.resize(both, None, fx=scale, fy=scale)[: shape[0], : shape[1]]
            both = both[: shape[0], : shape[1]]
            potential += both[..., 0] * (s * math.exp(0.5))
            height += both[..., 1]
        return potential, height

    def _currents(self, dt: float) -> tuple[F, F]:
        keep = math.exp(-dt / 1.6)
        self._psi = keep * self._psi + math.sqrt(1 - keep**2) * self.rng.standard_normal(self._psi.shape).astype(
            np.float32
        )
        ny, nx = self.grid.shape
        psi, chi, _ = (cv2.resize(p, (nx, ny), interpolation=cv2.INTER_CUBIC) for p in self._psi)
        kx = np.array([[-0.5, 0, 0.5]], np.float32)
        u = cv2.filter2D(psi, -1, kx.T) + 0.35 * cv2.filter2D(chi, -1, kx)
        v = -cv2.filter2D(psi, -1, kx) + 0.35 * cv2.filter2D(chi, -1, kx.T)
        unit = self._drift / self.grid.cell_mm / 0.045
        beat = math.cos(2 * math.pi * self._bounce_hz * 0.6 * self.t + self._slosh[0]) / self.grid.cell_mm * 0.3
        a = self._slosh[1] + 0.2 * self.t
        return u * unit + self._drift * beat * math.cos(a), v * unit + self._drift * beat * math.sin(a)

    def _mark_bursts(self, e: NDArray[np.float64], phase: NDArray[np.float64], dt: float) -> None:
        self.burst[:] = 0
        now = (phase >= 0.38) & (phase - dt / e[:, 4] < 0.38)
        for x, y, d in e[now, :3]:
            cv2.circle(self.burst, (round(x), round(y)), max(1, round(0.4 * d / self.grid.cell_mm)), 255, -1)

    def _fly(self, dt: float) -> None:
        s = self.spits
        s[:, :2] += s[:, 3:5] * dt
        s[:, 2] += s[:, 5] * dt
        s[:, 5] -= G_MM_S2 * dt
        self.spits = s[s[:, 2] > 0]

    def zone_speeds(self, u: F, v: F) -> NDArray[np.float64]:
        """Mean square velocity per zone, mm2/s2."""
        z = self._zone[self.inside]
        sq = ((u**2 + v**2) * self.grid.cell_mm**2)[self.inside]
        return np.bincount(z, sq, self.bed.zones) / np.maximum(np.bincount(z, minlength=self.bed.zones), 1)


def leak_offset(f: Fault, x: F, y: F) -> F:
    """Signed angle along the wall from the middle of a leak, degrees (round beds)."""
    mid = math.degrees(math.atan2(f.x_mm, f.y_mm))
    return np.asarray((np.degrees(np.arctan2(x, y)) - mid + 180) % 360 - 180, np.float32)


def leak_points(
    f: Fault, bed: Bed, rng: np.random.Generator, dt: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places where a leak erupts in one step, mm."""
    length = math.radians(f.arc_deg) * bed.diameter_mm / 2
    n = rng.poisson(13 * f.strength * length / 30 * dt)
    a = math.atan2(f.x_mm, f.y_mm) + math.radians(f.arc_deg) * rng.uniform(-0.5, 0.5, n)
    r = bed.diameter_mm / 2 - rng.uniform(5, 14, n)
    return r * np.sin(a), r * np.cos(a)
