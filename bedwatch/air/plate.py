"""The plate under the powder: holes, membrane, and how much of the bed's pressure they should take.

KL91 is Kunii & Levenspiel, Fluidization Engineering, 2nd ed., Butterworth-Heinemann 1991.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bedwatch.air.types import AIR_20C, Estimate, Gas, Plate

# KL91 ch. 4: coefficient of discharge against the Reynolds number of the whole vessel
_COEFFICIENTS = ((100, 0.68), (300, 0.70), (500, 0.68), (1000, 0.64), (2000, 0.61), (3000, 0.60))
MOST_OPEN = 0.10  # KL91 eq. 4.13
FASTEST_M_S = (
    100.0  # beyond about a third of the speed of sound air is compressed on its way; textbook rule, from memory
)
DESIGN_RATIO = 0.3  # KL91 eq. 4.3 as used in Example 4.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Guidance:
    """A published opinion on plate pressure drop over bed pressure drop. from_memory: the page was not read again."""

    low: float
    high: float
    source: str
    from_memory: bool


def vessel_reynolds(width_m: float, speed_m_s: float, gas: Gas = AIR_20C) -> float:
    """Reynolds number of the vessel, D u ρg / μ with the superficial velocity."""
    return width_m * speed_m_s * gas.density_kg_m3 / gas.viscosity_pa_s


def discharge_coefficient(vessel_re: float) -> Estimate:
    """Coefficient of discharge of drilled holes: KL91 ch. 4, by the Reynolds number of the vessel.

    Read off straight in log Re between the six points of the table; 0.60 from 3000 on. Caution below 100, where 0.68 is kept.
    """
    points = np.array(_COEFFICIENTS)
    value = float(np.interp(math.log(max(vessel_re, 1e-9)), np.log(points[:, 0]), points[:, 1]))
    caution = "" if vessel_re >= 100 else f"Re of the vessel is {vessel_re:.0f}, the table begins at 100"
    return Estimate(value=value, source="Kunii & Levenspiel 1991, ch. 4", caution=caution)


def hole_speed_m_s(drop_pa: float, coefficient: float, gas: Gas = AIR_20C) -> Estimate:
    """Air velocity in the holes (m/s), Cd sqrt(2 Δp / ρg): KL91 eq. 4.12. Caution beyond 100 m/s."""
    speed = coefficient * math.sqrt(2 * drop_pa / gas.density_kg_m3)
    return Estimate(value=speed, source="orifice law", caution=_too_fast(speed))


def open_share(plate: Plate, area_m2: float) -> Estimate:
    """Area of the holes over the area of the plate. Caution above 0.10 (KL91)."""
    share = plate.open_m2 / area_m2
    caution = "" if share <= MOST_OPEN else f"{share:.0%} of the plate is open, expected at most {MOST_OPEN:.0%}"
    return Estimate(value=share, source="Kunii & Levenspiel 1991, eq. 4.13", caution=caution)


def holes_for(flow_m3_s: float, drop_pa: float, hole_m: float, coefficient: float, gas: Gas = AIR_20C) -> float:
    """How many holes pass this flow at this drop, N = 4 Q / (π d² u_hole): KL91 eq. 4.13. Not a whole number."""
    speed = hole_speed_m_s(drop_pa, coefficient, gas).value
    return flow_m3_s / (math.pi / 4 * hole_m**2 * speed)


def plate_drop_pa(speed_m_s: float, plate: Plate, area_m2: float, gas: Gas = AIR_20C) -> Estimate:
    """Pressure drop (Pa) of a plate at a superficial air velocity: holes (orifice law) and membrane (Darcy), one after the other.

    The membrane is taken to pass air over the whole area. Caution for more than 10 % open area or more than 100 m/s in the holes.
    """
    holes, cautions = 0.0, []
    if plate.holes:
        through = speed_m_s * area_m2 / plate.open_m2
        holes = gas.density_kg_m3 / 2 * (through / plate.coefficient) ** 2
        cautions = [_too_fast(through), open_share(plate, area_m2).caution]
    membrane = membrane_drop_pa(speed_m_s, plate.membrane_pa_s_m)
    return Estimate(
        value=holes + membrane, source="orifice law and Darcy's law", caution="; ".join(filter(None, cautions))
    )


def membrane_drop_pa(speed_m_s: float, membrane_pa_s_m: float) -> float:
    """Pressure drop (Pa) of a porous sheet: proportional to the air velocity (Darcy 1856).

    Holds for fine pores; a sheet whose pores block or stretch gives another figure.
    """
    return membrane_pa_s_m * speed_m_s


def answer_to_lighter(plate: Plate, area_m2: float, speed_m_s: float, lighter_pa: float, gas: Gas = AIR_20C) -> float:
    """By which share a zone's air rises when its powder weighs lighter_pa less and all else stays.

    From the pressure balance of a plate on a common plenum: the plate then takes over what the powder gives up. An orifice
    plate answers with sqrt(1 + x) - 1, a membrane with x, for x = lighter_pa over the plate's drop. It is how a lively
    zone steals air: the smaller the plate's share, the stronger.
    """
    quadratic = gas.density_kg_m3 / 2 * (area_m2 / (plate.coefficient * plate.open_m2)) ** 2 if plate.holes else 0.0
    linear = plate.membrane_pa_s_m
    drop = quadratic * speed_m_s**2 + linear * speed_m_s + lighter_pa
    speed = 2 * drop / (linear + math.sqrt(linear**2 + 4 * quadratic * drop))
    return speed / speed_m_s - 1


def ratio_guidance(width_m: float, depth_m: float) -> tuple[Guidance, ...]:
    """What has been published on the ratio of plate to bed pressure drop, for a bed of this width and depth.

    A fixed ratio can be out by up to a factor 6 in the velocity needed (Thorpe, Davidson, Pollitt & Smith, Ind. Eng. Chem. Res.
    41 (2002) 5878): a hint, no limit.
    """
    shallow = 0.01 + 0.2 * (1 - math.exp(-0.5 * width_m / depth_m))
    return (
        Guidance(low=DESIGN_RATIO, high=DESIGN_RATIO, source="Kunii & Levenspiel 1991, Example 4.1", from_memory=False),
        Guidance(low=0.2, high=0.4, source="Kunii & Levenspiel 1991, range", from_memory=True),
        Guidance(low=shallow, high=math.inf, source="Qureshi & Creasy 1979, at least", from_memory=True),
    )


def _too_fast(speed_m_s: float) -> str:
    return "" if speed_m_s <= FASTEST_M_S else f"{speed_m_s:.0f} m/s in the holes, the law holds up to about 100"
