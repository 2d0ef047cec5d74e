"""Minimum bubbling: the air velocity at which the first bubbles come, and fine powder turns from glassy to simmering."""

from __future__ import annotations

import math

from bedwatch.air.types import AIR_20C, Estimate, Gas, Powder

SIZES_M = (20e-6, 72e-6)  # of the powders behind the 1980 correlation, from memory
DENSITIES_KG_M3 = (1100.0, 4600.0)


def minimum_bubbling_m_s(powder: Powder, gas: Gas = AIR_20C) -> Estimate:
    """Minimum bubbling velocity (m/s): 2.07 d ρg^0.06 μ^-0.347 exp(0.716 F), F the mass share below 45 µm.

    Abrahamsen & Geldart, Powder Technol. 26 (1980) 35. Only for powders that expand before they bubble: where it comes
    out below the minimum fluidisation velocity, bubbles come with that. Caution outside 20 to 72 µm and 1100 to 4600
    kg/m³ (ranges from memory).
    """
    fluid = gas.density_kg_m3**0.06 * gas.viscosity_pa_s**-0.347
    speed = 2.07 * powder.grain_m * fluid * math.exp(0.716 * powder.fines)
    cautions = []
    if not SIZES_M[0] <= powder.grain_m <= SIZES_M[1]:
        cautions.append(f"grains of {powder.grain_m * 1e6:.0f} µm, made from 20 to 72 µm (range from memory)")
    if not DENSITIES_KG_M3[0] <= powder.density_kg_m3 <= DENSITIES_KG_M3[1]:
        cautions.append(f"{powder.density_kg_m3:.0f} kg/m3, made from 1100 to 4600 (range from memory)")
    return Estimate(value=speed, source="Abrahamsen & Geldart 1980", caution="; ".join(cautions))


def minimum_bubbling_1973_m_s(powder: Powder) -> Estimate:
    """The first rule of thumb (m/s), u = 100 d for powders in air at room temperature: Geldart, Powder Technol. 7 (1973) 285."""
    return Estimate(value=100.0 * powder.grain_m, source="Geldart 1973")
