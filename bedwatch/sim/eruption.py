"""One bubble breaking through the surface: dome, burst, crater, refill, as ready-made stamps on a grid."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.sim.physics import rise_mm_s

Array = NDArray[np.float64]
Image = NDArray[np.float32]

# visible width of dome and crater over bubble diameter; 1.5 to 2 by common practice, no source
FOOTPRINT = 1.9
DOME = 0.32  # dome height over bubble diameter
CRATER = 0.26  # crater depth over bubble diameter
RISE = 1.2  # times below in bubble diameters over its rise velocity
FALL = 0.5
REFILL = 1.0
REST = 3.0
OUTWARD = 1.6  # stretch of the skin while the dome rises, over the footprint's radius
BACK = 0.5  # what slides back into the crater
_CORE = 0.85  # part of the footprint's radius that is renewed by the burst
_VARIANTS = 6
_SIZES = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Unit shapes on a square of cells.

    fields: (4, k, k) dome, crater, outward along columns, outward along rows.
    core: (k, k) true where the burst turns fresh powder up. half: cells from the middle to the edge.
    """

    fields: Image
    core: NDArray[np.bool_]
    half: int


def life_s(diameter_mm: Array) -> tuple[Array, Array]:
    """Seconds from first stir to burst, and from first stir to level again, of bubbles (mm)."""
    beat = np.asarray(diameter_mm) / rise_mm_s(diameter_mm)
    return RISE * beat, (RISE + REST) * beat


def _smooth(x: Array) -> Array:
    x = np.clip(x, 0, 1)
    return np.asarray(x * x * (3 - 2 * x), dtype=np.float64)


def height_terms(age_s: Array, diameter_mm: Array) -> tuple[Array, Array]:
    """Dome height and crater depth (mm, both positive) of bubbles at their age. 0 before and after."""
    beat = diameter_mm / rise_mm_s(diameter_mm)
    after = age_s / beat - RISE
    dome = np.where(after < 0, _smooth(1 + after / RISE), 1 - _smooth(after / FALL))
    fading = np.exp(-np.maximum(after - FALL, 0) / REFILL) * (1 - _smooth((after - REST + 0.6) / 0.6))
    crater = np.where(after < 0, 0.0, _smooth(after / FALL) * fading)
    return DOME * diameter_mm * dome, CRATER * diameter_mm * crater


def outward_mm(age_s: Array, diameter_mm: Array) -> Array:
    """How far the skin has been carried outward by an age (mm; the stamp's profile scales it by radius)."""
    beat = diameter_mm / rise_mm_s(diameter_mm)
    after = age_s / beat - RISE
    out = np.where(age_s <= 0, 0.0, OUTWARD * _smooth((after + RISE) / (RISE + FALL)))
    back = BACK * (1 - np.exp(-np.maximum(after - FALL, 0) / REFILL))
    return np.asarray((out - back) * FOOTPRINT / 2 * diameter_mm, dtype=np.float64)


def _stamp(radius_cells: float, rng: np.random.Generator) -> Stamp:
    half = math.ceil(radius_cells * 1.25)
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    turn = np.arctan2(y, x)
    shape = 1.0 + sum(
        rng.uniform(0.03, 0.16) / k**0.5 * np.cos(k * turn + rng.uniform(0, 2 * math.pi)) for k in (2, 3, 5)
    )
    rho = np.hypot(x, y) / (radius_cells * shape)
    inside = np.clip(1 - rho**2, 0, None)
    dome = inside**1.4
    lip = np.exp(-(((rho - 0.8) / 0.16) ** 2)) * np.where(rho < 1.25, 1, 0)
    crater = -(np.clip(1 - (rho / 0.75) ** 2, 0, None) ** 1.5) + 0.22 * lip
    direction = np.hypot(x, y) + 1e-9
    slide = rho * np.clip(1 - (rho / 1.2) ** 2, 0, None) ** 2
    fields = np.stack([dome, crater, slide * x / direction, slide * y / direction])
    return Stamp(fields=fields.astype(np.float32), core=rho < _CORE, half=half)


class Stamps:
    """Ready-made stamps for footprint radii up to most_mm, on cells of cell_mm."""

    def __init__(self, cell_mm: float, most_mm: float, seed: int) -> None:
        rng = np.random.default_rng([seed, 31])
        self._least = max(1.6 * cell_mm, 2.0)
        self._ratio = (max(most_mm, 2 * self._least) / self._least) ** (1 / (_SIZES - 1))
        self._table = [
            [_stamp(self._least * self._ratio**k / cell_mm, rng) for _ in range(_VARIANTS)] for k in range(_SIZES)
        ]

    def pick(self, diameter_mm: float, variant: int) -> Stamp:
        """The stamp nearest in size to a bubble's footprint."""
        radius = max(FOOTPRINT / 2 * diameter_mm, self._least)
        k = round(math.log(radius / self._least) / math.log(self._ratio))
        return self._table[min(max(k, 0), _SIZES - 1)][variant % _VARIANTS]
