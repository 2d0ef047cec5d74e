"""Beds that mislead: a thing on the powder, cracks and slabs, a patch across zones, a zone alive along its border only."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from .bed import POWDERS, Air, Bed, F, Fault
from .motion import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Bolt:
    """A hexagon of another tone that lies on the powder and does not move."""

    x_mm: float
    y_mm: float
    across_mm: float
    tone: float

    def draw(self, lum: F, grid: Grid, _t: float) -> F:
        cx, cy = grid.cells(self.x_mm, self.y_mm)
        turn = np.arange(6) / 6 * 2 * math.pi + self.x_mm
        r = self.across_mm / 2 / grid.cell_mm
        points = np.stack([cx + r * np.cos(turn), cy + r * np.sin(turn)], 1)
        mask = np.zeros(grid.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        m = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.6)
        return np.asarray(lum * (1 - m) + np.float32(self.tone) * m, np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slabs:
    """Cracked powder: dark lines, and plates between them that tilt to and fro a little."""

    seed: int
    beat_hz: float

    def draw(self, lum: F, grid: Grid, t: float) -> F:
        rng = np.random.default_rng(self.seed)
        span = float(np.abs(grid.x).max())
        seeds = rng.uniform(-span, span, (9, 2))
        far = np.stack([np.hypot(grid.x - a, grid.y - b) for a, b in seeds])
        order = np.sort(far, axis=0)
        crack = np.exp(-(((order[1] - order[0]) / 3.0) ** 2))
        plate = far.argmin(axis=0)
        rocks = rng.uniform(size=9) < 0.4
        phase = rng.uniform(0, 2 * math.pi, 9)
        tilt = (rocks * 0.05 * np.sin(2 * math.pi * self.beat_hz * t + phase))[plate]
        return np.asarray(lum * (1 - 0.45 * crack) * (1 + tilt), np.float32)


Lying = Bolt | Slabs
KINDS = ("bolt", "glassy_bands", "spanning", "slabs", "border")


def _meeting(rng: np.random.Generator, bed: Bed) -> tuple[float, float]:
    """A place where three zones meet (or two, in a bed of few)."""
    if bed.shape == "round":
        angle = math.radians(bed.first_boundary_deg + 360 / bed.rings[-1] * int(rng.integers(bed.rings[-1])))
        r = bed.diameter_mm / 2 * math.sqrt(bed.rings[0] / bed.zones)
        return r * math.sin(angle), r * math.cos(angle)
    col = int(rng.integers(1, bed.grid[1]))
    return bed.width_mm * (col / bed.grid[1] - 0.5), 0.0


def odd(
    rng: np.random.Generator, number: int, bed: Bed, fed: Callable[[int], list[float]]
) -> tuple[str, Air, tuple[Lying, ...]]:
    """Name, air and things of clip `number`; fed: gives air for so many fed zones."""
    name, air = KINDS[number % len(KINDS)], fed(bed.zones)
    faults: tuple[Fault, ...] = ()
    lying: tuple[Lying, ...] = ()
    half = min(bed.size_mm) / 2
    if name == "bolt":
        turn, out = rng.uniform(0, 2 * math.pi), rng.uniform(0.1, 0.75) * half
        bolt = Bolt(
            x_mm=out * math.sin(turn),
            y_mm=out * math.cos(turn),
            across_mm=float(rng.uniform(18, 45)),
            tone=float(rng.choice([0.4, 0.6, 1.6])),
        )
        lying = (bolt,)
    elif name == "spanning":
        x, y = _meeting(rng, bed)
        size = round(float(rng.uniform(50, 75)), 1)
        faults = (Fault(kind="dead_spot", x_mm=round(x, 1), y_mm=round(y, 1), diameter_mm=size, note="dead_spot"),)
    elif name == "slabs":
        air = [round(float(v), 2) for v in rng.uniform(0.5, 0.85, bed.zones)]
        lying = (Slabs(seed=int(rng.integers(1 << 20)), beat_hz=float(rng.uniform(0.4, 1.2))),)
    elif name == "border":
        air[int(rng.integers(bed.zones))] = round(float(rng.uniform(0.4, 0.7)), 2)
    return name, Air(per_zone=tuple(air), faults=faults), lying


GLASSY = next(powder for powder in POWDERS if powder.glassy)


def with_powder(kind: str, number: int) -> bool:
    """Whether a clip asks for the glassy powder."""
    return kind == "odd" and KINDS[number % len(KINDS)] == "glassy_bands"
