"""The looks of coating powders: colour, grain and clumps, and what their grains need of air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.sim.physics import minimum_fluidisation_mm_s

Image = NDArray[np.float32]
Look = Literal["white", "black", "blue", "faint", "coarse"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """A powder as lit from above and as fluidised.

    colour: blue, green, red relative to the brightest channel. level_dn: coded brightness of the settled
    surface once the camera has set its exposure. albedo: reflectance, sets how bright all else comes out.
    grains: (size mm, relative standard deviation) pairs of the texture, from grains to clumps.
    speckle: share of the area covered by odd-coloured grains; speckle_depth: their relative brightness.
    """

    name: Look
    colour: tuple[float, float, float]
    level_dn: float
    albedo: float
    grains: tuple[tuple[float, float], ...]
    speckle: float = 0.0
    speckle_mm: float = 1.5
    speckle_depth: float = 0.4
    grain_um: float = 120.0
    density_kg_m3: float = 1400.0

    @property
    def minimum_mm_s(self) -> float:
        """Minimum fluidisation velocity, mm/s."""
        return minimum_fluidisation_mm_s(self.grain_um, self.density_kg_m3)


POWDERS: dict[Look, Powder] = {
    "white": Powder(
        name="white",
        colour=(0.96, 0.99, 1.0),
        level_dn=170,
        albedo=0.75,
        grains=((0.35, 0.14), (0.8, 0.055), (2.2, 0.032), (16.0, 0.010)),
        density_kg_m3=1450,
    ),
    "black": Powder(
        name="black",
        colour=(1.0, 0.98, 0.97),
        level_dn=62,
        albedo=0.05,
        grains=((0.4, 0.26), (0.9, 0.11), (2.4, 0.055), (16.0, 0.015)),
        speckle=0.004,
        speckle_mm=0.8,
        speckle_depth=1.9,
    ),
    "blue": Powder(
        name="blue",
        colour=(1.0, 0.55, 0.26),
        level_dn=140,
        albedo=0.22,
        grains=((0.4, 0.16), (0.9, 0.075), (2.2, 0.042), (18.0, 0.012)),
        grain_um=116,
    ),
    "faint": Powder(
        name="faint",
        colour=(0.86, 0.95, 1.0),
        level_dn=150,
        albedo=0.45,
        grains=((0.3, 0.08), (0.8, 0.028), (2.0, 0.016), (20.0, 0.006)),
        grain_um=114,
    ),
    "coarse": Powder(
        name="coarse",
        colour=(0.80, 0.90, 1.0),
        level_dn=125,
        albedo=0.30,
        grains=((0.5, 0.16), (1.1, 0.08), (2.6, 0.035), (15.0, 0.015)),
        speckle=0.06,
        speckle_mm=1.3,
        speckle_depth=0.45,
        grain_um=126,
    ),
}


def _band(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> Image:
    """Noise of unit standard deviation with grains grain_px across, as seen by samples one pixel wide."""
    noise = rng.standard_normal(shape, dtype=np.float32)
    if grain_px < 1.0:
        return np.asarray(noise * np.float32(grain_px), dtype=np.float32)  # grains average out within a sample
    blurred = cv2.GaussianBlur(noise, (0, 0), grain_px / 2.4)
    return np.asarray(blurred / blurred.std(), dtype=np.float32)


def texture(powder: Powder, shape: tuple[int, int], sample_mm: float, seed: int) -> Image:
    """(rows, columns) brightness of the settled powder about 1, sampled every sample_mm."""
    rng = np.random.default_rng([seed, 404])
    sheet: Image = np.zeros(shape, dtype=np.float32)
    for grain_mm, deviation in powder.grains:
        sheet += np.float32(deviation) * _band(rng, shape, grain_mm / sample_mm)
    sheet = np.exp(sheet)
    if powder.speckle > 0:
        spots = _band(rng, shape, max(1.0, powder.speckle_mm / sample_mm))
        limit = float(np.quantile(spots, 1 - powder.speckle))
        cover = np.clip((spots - limit) * 2.5 + 0.5, 0, 1) * min(1.0, powder.speckle_mm / sample_mm)
        sheet *= 1 + (powder.speckle_depth - 1) * cover
    return np.asarray(sheet / sheet.mean(), dtype=np.float32)
