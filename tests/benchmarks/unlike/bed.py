"""The bed's outline, zones, faults and files. Millimetres, x to the right, y to 12 o'clock."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float32]
I32 = NDArray[np.int32]
FaultKind = Literal["spout", "dead_spot", "rim_leak"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A round bed (`rings`) or a rectangular one (`grid` = rows, columns)."""

    name: str = "Gate-latch bed"
    shape: Literal["round", "rectangular"] = "round"
    diameter_mm: float = 420.0
    width_mm: float = 500.0
    length_mm: float = 300.0
    surface_below_rim_mm: float = 80.0
    rings: tuple[int, ...] = (1, 6)
    first_boundary_deg: float = 0.0
    grid: tuple[int, int] = (2, 3)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Extent along x and y."""
        if self.shape == "round":
            return self.diameter_mm, self.diameter_mm
        return self.width_mm, self.length_mm

    @property
    def zones(self) -> int:
        return sum(self.rings) if self.shape == "round" else self.grid[0] * self.grid[1]

    def wall_distance(self, x: F, y: F) -> F:
        """Distance to the wall in mm, negative outside."""
        if self.shape == "round":
            return np.asarray(self.diameter_mm / 2 - np.hypot(x, y), np.float32)
        dx, dy = self.width_mm / 2 - np.abs(x), self.length_mm / 2 - np.abs(y)
        return np.asarray(np.minimum(dx, dy), np.float32)

    def zone_of(self, x: F, y: F) -> I32:
        """Zone index from 0 at each point, as if the outer zones went on beyond the wall."""
        if self.shape == "rectangular":
            rows, cols = self.grid
            row = np.clip(((self.length_mm / 2 - y) / self.length_mm * rows).astype(int), 0, rows - 1)
            col = np.clip(((x + self.width_mm / 2) / self.width_mm * cols).astype(int), 0, cols - 1)
            return np.asarray(row * cols + col, np.int32)
        radius = np.hypot(x, y) / (self.diameter_mm / 2)
        clock = (np.degrees(np.arctan2(x, y)) - self.first_boundary_deg) % 360.0
        out = np.zeros(radius.shape, np.int32)
        before = 0
        for n in self.rings:
            inner = math.sqrt(before / self.zones)
            sector = np.minimum((clock / 360.0 * n).astype(int), n - 1)
            out = np.where(radius >= inner, before + sector, out).astype(np.int32)
            before += n
        return out

    def outline(self, points: int = 240, grow_mm: float = 0.0) -> NDArray[np.float64]:
        """Wall outline, shape (points, 2), in mm; a rectangle starts at its corner -x, +y."""
        if self.shape == "round":
            a = np.linspace(0, 2 * math.pi, points, endpoint=False)
            r = self.diameter_mm / 2 + grow_mm
            return np.stack([r * np.sin(a), r * np.cos(a)], 1)
        w, h = self.width_mm / 2 + grow_mm, self.length_mm / 2 + grow_mm
        corners = np.array([[-w, h], [w, h], [w, -h], [-w, -h], [-w, h]])
        s = np.linspace(0, 1, points // 4, endpoint=False)[:, None]
        return np.concatenate([corners[i] * (1 - s) + corners[i + 1] * s for i in range(4)])

    def toml(self) -> str:
        head = f'[bed]\nname = "{self.name}"\nshape = "{self.shape}"\n'
        below = f'surface_below_rim = "{self.surface_below_rim_mm:g} mm"\n\n[zones]\n'
        if self.shape == "round":
            return (
                f'{head}diameter = "{self.diameter_mm:g} mm"\n{below}rings = {list(self.rings)}\n'
                f'first_boundary = "{self.first_boundary_deg:g} deg"\n'
            )
        return (
            f'{head}width = "{self.width_mm:g} mm"\nlength = "{self.length_mm:g} mm"\n{below}grid = {list(self.grid)}\n'
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something air does at one place. `arc_deg` is the span of a rim leak."""

    kind: FaultKind
    x_mm: float
    y_mm: float
    diameter_mm: float
    since_s: float = 0.0
    until_s: float | None = None
    wander_mm: float = 0.0
    arc_deg: float = 0.0
    strength: float = 1.0
    note: str = ""

    def on(self, t: float) -> bool:
        return self.since_s <= t and (self.until_s is None or t < self.until_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """How a powder looks and moves. `colour` is linear BGR reflectance."""

    name: str
    colour: tuple[float, float, float]
    grain: float
    blotch: float
    grain_cells: float
    umf_mm_s: float = 5.0
    glassy: bool = False
    glints: float = 0.0


POWDERS: tuple[Powder, ...] = (
    Powder(name="white", colour=(0.62, 0.65, 0.66), grain=0.022, blotch=0.012, grain_cells=0.75),
    Powder(name="grey", colour=(0.17, 0.17, 0.16), grain=0.05, blotch=0.02, grain_cells=0.7),
    Powder(name="black", colour=(0.028, 0.027, 0.026), grain=0.10, blotch=0.03, grain_cells=0.65, glints=0.5),
    Powder(name="blue", colour=(0.34, 0.16, 0.05), grain=0.05, blotch=0.02, grain_cells=0.8),
    Powder(name="rust", colour=(0.04, 0.09, 0.28), grain=0.055, blotch=0.025, grain_cells=0.7),
    Powder(name="coarse grey", colour=(0.24, 0.24, 0.23), grain=0.085, blotch=0.02, grain_cells=1.0, umf_mm_s=6.0),
    Powder(name="fine cream", colour=(0.38, 0.50, 0.54), grain=0.03, blotch=0.022, grain_cells=1.1, umf_mm_s=4.5),
    Powder(
        name="glassy grey", colour=(0.22, 0.23, 0.23), grain=0.04, blotch=0.03, grain_cells=0.9,
        umf_mm_s=4.0, glassy=True,
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """What the air does: multiple of minimum fluidisation per zone, and the faults."""

    per_zone: tuple[float, ...]
    faults: tuple[Fault, ...] = field(default=())

    def hints(self) -> list[list[str]]:
        """Hints that count as right, per zone."""
        return [expected(r) for r in self.per_zone]


def expected(r: float) -> list[str]:
    if r < 1.25:
        return ["more_air"]
    if r < 1.35:
        return ["more_air", "hold"]
    if r <= 3.0:
        return ["hold"]
    return ["hold", "less_air"] if r <= 3.6 else ["less_air"]
