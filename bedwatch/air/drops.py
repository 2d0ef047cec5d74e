"""Pressure across the powder: lifted, and at rest."""

from __future__ import annotations

from bedwatch.air.types import AIR_20C, GRAVITY_M_S2, Estimate, Gas, Powder


def bed_drop_pa(depth_m: float, powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> Estimate:
    """Pressure drop (Pa) across lifted powder: its weight per area, (1 - ε)(ρs - ρg) g L.

    Kunii & Levenspiel 1991, eq. 3.17. depth_m: at the powder's voidage. A bed that lifts only in part, or blows through
    channels, shows less.
    """
    weight = (1 - powder.voidage) * (powder.density_kg_m3 - gas.density_kg_m3) * gravity_m_s2
    return Estimate(value=weight * depth_m, source="weight per area")


def bed_depth_m(mass_kg: float, area_m2: float, powder: Powder) -> float:
    """Depth (m) of a mass of powder on an area at the powder's voidage."""
    return mass_kg / (area_m2 * powder.bulk_density_kg_m3)


def packed_drop_pa(speed_m_s: float, depth_m: float, powder: Powder, gas: Gas = AIR_20C) -> Estimate:
    """Pressure drop (Pa) of air through powder at rest.

    Ergun, Chem. Eng. Prog. 48 (1952) 89: 150 μ (1 - ε)² u / (ε³ (φd)²) + 1.75 (1 - ε) ρ u² / (ε³ φd), per depth. Caution
    where Re / (1 - ε), with φd, exceeds 2300; towards 0 the first, viscous part holds.
    """
    size, solid = powder.sphericity * powder.grain_m, 1 - powder.voidage
    viscous = 150 * gas.viscosity_pa_s * solid**2 * speed_m_s / (powder.voidage**3 * size**2)
    inertial = 1.75 * solid * gas.density_kg_m3 * speed_m_s * abs(speed_m_s) / (powder.voidage**3 * size)
    re = size * abs(speed_m_s) * gas.density_kg_m3 / (gas.viscosity_pa_s * solid)
    caution = "" if re <= 2300 else f"Re / (1 - voidage) is {re:.0f}, the equation holds up to 2300"
    return Estimate(value=(viscous + inertial) * depth_m, source="Ergun 1952", caution=caution)
