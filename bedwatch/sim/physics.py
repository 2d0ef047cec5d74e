"""How a fluidised bed of coating powder behaves, from published formulas; SI inside, millimetres outside."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

GRAVITY_MM_S2 = 9810.0
AIR_VISCOSITY_PA_S = 1.82e-5  # 20 °C
POROUS_PLATE_MM = 30.0  # 4 sqrt(A0) of a porous plate, Darton et al. 1977
BUBBLE_SHARE = 0.8  # share of the air beyond the minimum that is seen as bubbles, Werther 1978 (from memory)
SIZE_SPREAD = 0.2  # standard deviation of ln(bubble diameter); common practice, no source
STILL_BELOW = 1.05  # a few per cent beyond the minimum pass between the grains without a bubble

Field = NDArray[np.float64]


def minimum_fluidisation_mm_s(
    grain_um: float, density_kg_m3: float, voidage: float = 0.46, sphericity: float = 0.8
) -> float:
    """Minimum fluidisation velocity of a fine powder in air.

    Ergun, Chem. Eng. Prog. 48 (1952) 89, small-Reynolds form as in Kunii & Levenspiel, Fluidization
    Engineering (2nd ed. 1991), ch. 3: u_mf = d² (rho_s - rho_g) g / (150 mu) * e³ phi² / (1 - e).
    """
    grain_m = grain_um * 1e-6
    drive = grain_m**2 * (density_kg_m3 - 1.2) * (GRAVITY_MM_S2 / 1000) / (150 * AIR_VISCOSITY_PA_S)
    return 1000 * drive * voidage**3 * sphericity**2 / (1 - voidage)


def bubble_mm(excess_mm_s: Field, depth_mm: float) -> Field:
    """Volume-mean bubble diameter at the surface (mm) for air velocities beyond the minimum (mm/s).

    Darton, LaNauze, Davidson & Harrison, Trans. IChemE 55 (1977) 274:
    d = 0.54 (U - U_mf)^0.4 (h + 4 sqrt(A0))^0.8 g^-0.2.
    """
    excess = np.maximum(np.asarray(excess_mm_s, dtype=np.float64), 0)
    height = (depth_mm + POROUS_PLATE_MM) ** 0.8
    return np.asarray(0.54 * excess**0.4 * height * GRAVITY_MM_S2**-0.2, dtype=np.float64)


def eruptions_per_mm2_s(excess_mm_s: Field, depth_mm: float) -> Field:
    """Bubbles that burst per square millimetre and second: visible bubble flow over mean bubble volume.

    Two-phase theory (Toomey & Johnstone 1952) with the visible share BUBBLE_SHARE; bubbles taken as spheres
    of the volume-mean diameter of `bubble_mm`. 0 where there is no air beyond the minimum.
    """
    excess = np.maximum(np.asarray(excess_mm_s, dtype=np.float64), 0)
    volume = math.pi / 6 * np.maximum(bubble_mm(excess, depth_mm), 1e-6) ** 3
    return np.where(excess > 0, BUBBLE_SHARE * excess / volume, 0.0)


def rise_mm_s(diameter_mm: Field) -> Field:
    """Rise velocity of a single bubble, 0.711 sqrt(g d) (Davidson & Harrison, Fluidised Particles, 1963)."""
    return np.asarray(0.711 * np.sqrt(GRAVITY_MM_S2 * np.asarray(diameter_mm)), dtype=np.float64)


def spread_sizes(rng: np.random.Generator, mean_mm: Field) -> Field:
    """Log-normal diameters whose volume mean (third moment) is mean_mm."""
    factor = np.exp(SIZE_SPREAD * rng.standard_normal(len(mean_mm)) - 1.5 * SIZE_SPREAD**2)
    return np.asarray(mean_mm * factor, dtype=np.float64)


def excess_mm_s(air: float, minimum_mm_s: float) -> float:
    """Air velocity that makes bubbles, for `air` times the minimum; 0 up to STILL_BELOW."""
    return 0.0 if air <= STILL_BELOW else (air - 1.0) * minimum_mm_s
