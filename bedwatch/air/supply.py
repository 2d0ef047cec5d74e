"""Where the air comes from and what throttles it: pump or blower curve, valves."""

from __future__ import annotations

import math

from bedwatch.air.types import AIR_20C, Estimate, Gas, Opens, Supply, Valve

SHUT = 0.05  # below, the equal-percentage law is led straight to nothing, since a real valve shuts; our own choice


def supply_pressure_pa(supply: Supply, flow_m3_s: float) -> Estimate:
    """Pressure (Pa) a supply gives at a flow, on the curve through its two points. Caution outside their flows.

    Negative beyond the flow at which it gives none. Two points say nothing about the curve between them: a straight line is the
    cautious reading of a blower, whose curve bulges above it.
    """
    (q1, q2), (p1, p2) = supply.flow_m3_s, supply.pressure_pa
    if supply.shape == "parabola":
        value = p1 - (p1 - p2) * (flow_m3_s * abs(flow_m3_s) - q1**2) / (q2**2 - q1**2)
    else:
        value = p1 - (p1 - p2) * (flow_m3_s - q1) / (q2 - q1)
    outside = not q1 <= flow_m3_s <= q2
    caution = f"{flow_m3_s * 60000:.0f} L/min lies outside the two points of the curve" if outside else ""
    return Estimate(value=value, source=f"{supply.shape} curve through two points", caution=caution)


def supply_flow_m3_s(supply: Supply, pressure_pa: float) -> Estimate:
    """Flow (m³/s) of a supply against a pressure, 0 where it cannot hold it; infinite for a flat curve above the pressure."""
    (q1, q2), (p1, p2) = supply.flow_m3_s, supply.pressure_pa
    if p1 == p2:
        value = math.inf if pressure_pa < p1 else 0.0
    elif supply.shape == "parabola":
        value = math.sqrt(max(0.0, q1**2 + (p1 - pressure_pa) * (q2**2 - q1**2) / (p1 - p2)))
    else:
        value = max(0.0, q1 + (p1 - pressure_pa) * (q2 - q1) / (p1 - p2))
    caution = "" if p2 <= pressure_pa <= p1 else f"{pressure_pa:.0f} Pa lies outside the two points of the curve"
    return Estimate(value=value, source=f"{supply.shape} curve through two points", caution=caution)


def open_area_share(opens: Opens, opening: float, rangeability: float = 50.0) -> float:
    """Share of a valve's full effective area at a share of its travel, both 0 to 1.

    Inherent characteristics as IEC 60534-2-4 names them: linear, f = x; equal percentage, f = R^(x - 1), led straight to 0 below
    5 % of travel; quick opening, f = sqrt(x) (textbook form, from memory). What happens in a line differs: pressure moves too.
    """
    if opens == "linear":
        return opening
    if opens == "quick-opening":
        return math.sqrt(opening)
    if opening >= SHUT:
        return float(rangeability ** (opening - 1))
    return float(rangeability ** (SHUT - 1)) * opening / SHUT


def valve_area_m2(valve: Valve) -> float:
    """Effective area (m²) of a valve as it stands; 0 when shut, infinite for no valve that is open at all."""
    share = open_area_share(valve.opens, valve.opening, valve.rangeability)
    return 0.0 if share == 0 else valve.area_m2 * share


def valve_drop_pa(flow_m3_s: float, valve: Valve, gas: Gas = AIR_20C) -> float:
    """Pressure drop (Pa) of a flow through a valve, ρ/2 (Q / A)² with A the effective area (orifice law, air not compressed:
    good while the drop is small against the air pressure of 101 kPa). Infinite for any flow through a shut valve."""
    area = valve_area_m2(valve)
    if area == 0:
        return math.inf if flow_m3_s else 0.0
    return gas.density_kg_m3 / 2 * flow_m3_s * abs(flow_m3_s) / area**2
