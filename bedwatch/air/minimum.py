"""Minimum fluidisation: the air velocity at which the powder just lifts.

Equations and numbers of equations as in Kunii & Levenspiel, Fluidization Engineering, 2nd ed., Butterworth-Heinemann
1991 (KL91), ch. 3. The correlations scatter by a factor of about two on one and the same powder: take all of them, and show no
single one with better than about ±50 %.
"""

from __future__ import annotations

import math

from bedwatch.air.types import AIR_20C, GRAVITY_M_S2, Estimate, Gas, Powder

# Re = sqrt(a² + b Ar) - a, KL91 eq. 25 with Table 4
CORRELATIONS: dict[str, tuple[float, float]] = {
    "Wen & Yu 1966": (33.7, 0.0408),
    "Richardson 1971": (25.7, 0.0365),
    "Saxena & Vogel 1977": (25.3, 0.0571),
    "Babu et al. 1978": (25.3, 0.0651),
    "Grace 1982": (27.2, 0.0408),
    "Chitester et al. 1984": (28.7, 0.0494),
}
ERGUN_MOST_RE = 2300.0  # of Re / (1 - voidage); towards 0 the equation becomes the viscous law, which holds
WEN_YU_RE = (0.001, 4000.0)  # the data behind their correlation, from memory
FINEST_M = 32e-6  # below, forces between the grains may hold the powder together (see `groups`)


def archimedes(powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> float:
    """Archimedes number d³ ρg (ρs - ρg) g / μ² (KL91 ch. 3)."""
    lift = gas.density_kg_m3 * (powder.density_kg_m3 - gas.density_kg_m3) * gravity_m_s2
    return powder.grain_m**3 * lift / gas.viscosity_pa_s**2


def reynolds(speed_m_s: float, powder: Powder, gas: Gas = AIR_20C) -> float:
    """Reynolds number of the grains, d u ρg / μ."""
    return powder.grain_m * speed_m_s * gas.density_kg_m3 / gas.viscosity_pa_s


def ergun_m_s(powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> Estimate:
    """Minimum fluidisation velocity (m/s), K1 Re² + K2 Re = Ar with the powder's own voidage and sphericity.

    Ergun, Chem. Eng. Prog. 48 (1952) 89; KL91 eq. 18 and 19: K1 = 1.75 / (ε³ φ), K2 = 150 (1 - ε) / (ε³ φ²). Caution
    where Re / (1 - ε) exceeds 2300 or the grains are fine enough to stick.
    """
    voids, round_ = powder.voidage**3, powder.sphericity
    k1, k2 = 1.75 / (voids * round_), 150 * (1 - powder.voidage) / (voids * round_**2)
    ar = archimedes(powder, gas, gravity_m_s2)
    re = 2 * ar / (k2 + math.sqrt(k2**2 + 4 * k1 * ar))
    cautions = [_cohesion(powder)]
    if re / (1 - powder.voidage) > ERGUN_MOST_RE:
        cautions.append(f"Re / (1 - voidage) is {re / (1 - powder.voidage):.0f}, the equation holds up to 2300")
    return _estimate(re, powder, gas, "Ergun 1952", cautions)


def fine_grain_m_s(powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> Estimate:
    """The small-Re form of Ergun's equation (m/s), KL91 eq. 21: d² (ρs - ρg) g / (150 μ) · ε³ φ² / (1 - ε).

    Never below `ergun_m_s`. Caution where Re is not below 20.
    """
    voids = powder.voidage**3 * powder.sphericity**2 / (1 - powder.voidage)
    drive = powder.grain_m**2 * (powder.density_kg_m3 - gas.density_kg_m3) * gravity_m_s2
    re = reynolds(drive / (150 * gas.viscosity_pa_s) * voids, powder, gas)
    out = "" if re < 20 else f"Re is {re:.3g}, the small-Re form holds below 20"
    return _estimate(re, powder, gas, "Ergun 1952, small Re", [_cohesion(powder), out])


def coarse_grain_m_s(powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> Estimate:
    """The large-Re form of Ergun's equation (m/s), KL91 eq. 22: u² = d (ρs - ρg) g ε³ φ / (1.75 ρg).

    Caution where Re is not above 1000.
    """
    drive = powder.grain_m * (powder.density_kg_m3 - gas.density_kg_m3) * gravity_m_s2
    speed = math.sqrt(drive * powder.voidage**3 * powder.sphericity / (1.75 * gas.density_kg_m3))
    re = reynolds(speed, powder, gas)
    out = "" if re > 1000 else f"Re is {re:.3g}, the large-Re form holds above 1000"
    return _estimate(re, powder, gas, "Ergun 1952, large Re", [_cohesion(powder), out])


def correlation_m_s(name: str, powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> Estimate:
    """Minimum fluidisation velocity (m/s) when voidage and sphericity are not known, by one of CORRELATIONS.

    Re = sqrt(a² + b Ar) - a, KL91 eq. 25 and Table 4. Caution where Re leaves 0.001 to 4000. Raises
    KeyError for a name that is not among them.
    """
    a, b = CORRELATIONS[name]
    ar = archimedes(powder, gas, gravity_m_s2)
    re = b * ar / (math.sqrt(a**2 + b * ar) + a)
    least, most = WEN_YU_RE
    out = "" if least <= re <= most else f"Re is {re:.2g}, outside {least:g} to {most:g} (range from memory)"
    return _estimate(re, powder, gas, name, [_cohesion(powder), out])


def minimum_speeds_m_s(powder: Powder, gas: Gas = AIR_20C, gravity_m_s2: float = GRAVITY_M_S2) -> tuple[Estimate, ...]:
    """Ergun's equation and all correlations, side by side (m/s): their scatter is the honest error of any one."""
    others = (correlation_m_s(name, powder, gas, gravity_m_s2) for name in CORRELATIONS)
    return (ergun_m_s(powder, gas, gravity_m_s2), *others)


def _estimate(re: float, powder: Powder, gas: Gas, source: str, cautions: list[str]) -> Estimate:
    speed = re * gas.viscosity_pa_s / (gas.density_kg_m3 * powder.grain_m)
    return Estimate(value=speed, source=source, caution="; ".join(filter(None, cautions)))


def _cohesion(powder: Powder) -> str:
    if powder.grain_m >= FINEST_M:
        return ""
    return f"grains of {powder.grain_m * 1e6:.0f} µm may stick together, no such equation knows of that"
