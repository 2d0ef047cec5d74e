"""The plan for a bed still on paper, or one that will not lift: how much air, at what pressure, through how many
holes."""

from __future__ import annotations

import math
import statistics

import numpy as np

from bedwatch.air.bubbling import minimum_bubbling_m_s
from bedwatch.air.groups import geldart_group
from bedwatch.air.inputs import AirInputs, Assumed, Span
from bedwatch.air.layout import MOST_HOLES, DrillPlan, drill_plan
from bedwatch.air.minimum import minimum_speeds_m_s
from bedwatch.air.network import shared_at, solve
from bedwatch.air.planned import AirPlan, Answer, SupplyCase, SupplyCheck, ZoneAir
from bedwatch.air.plate import (
    DESIGN_RATIO,
    answer_to_lighter,
    discharge_coefficient,
    holes_for,
    membrane_drop_pa,
    open_share,
    plate_drop_pa,
    ratio_guidance,
    vessel_reynolds,
)
from bedwatch.air.supply import supply_pressure_pa
from bedwatch.air.types import AIR_20C, GRAVITY_M_S2, Estimate, Gas, Line, Network, Plate, Powder, Supply
from bedwatch.bed import Bed

WORKING = 2.0  # times the minimum: a gentle simmer; good from 1.35 to 3. Our own mark
LEAST_ERROR = 1.5  # no minimum velocity is told as better known than by this factor
LIGHTER = 0.1
ALIKE = 0.02  # zones closer than this share are alike
_MEMBRANE_PITCH_M = 0.015


def plan_air(bed: Bed, inputs: AirInputs, gas: Gas = AIR_20C) -> AirPlan:
    """Plans the air of a bed. Pure: the same bed and inputs give the same plan."""
    powder = _powder(inputs)
    estimates = minimum_speeds_m_s(powder, gas)
    minimum = _minimum(inputs, powder, estimates, gas)
    working = minimum.times(WORKING)
    areas = [zone.area_mm2 * 1e-6 for zone in bed.zones]
    area = sum(areas)
    bed_pa = inputs.bulk_kg_m3.times((1 - gas.density_kg_m3 / powder.density_kg_m3) * GRAVITY_M_S2 * inputs.depth_m)
    across = math.sqrt(4 * area / len(areas) / math.pi)
    coefficient = discharge_coefficient(vessel_reynolds(across, working.middle, gas))
    holes, planned, planned_as = _holes(inputs, areas, working.middle, bed_pa.middle, coefficient.value, gas)
    drill = None
    if sum(holes) <= MOST_HOLES:
        drill = drill_plan(bed, holes, inputs.hole_m * 1000, exact=inputs.holes_per_zone is not None)
        holes = drill.per_zone
    plates = [_plate(inputs, count, coefficient.value) for count in holes]
    whole = _plate(inputs, sum(holes), coefficient.value)
    drops = [plate_drop_pa(speed, whole, area, gas) for speed in (working.low, working.middle, working.high)]
    plate_pa = Span(low=drops[0].value, middle=drops[1].value, high=drops[2].value)
    gets = _gets(areas, plates, bed_pa.middle, minimum.middle, working.middle, gas)
    width = math.sqrt(bed.width_mm * bed.length_mm) / 1000
    bubbling = minimum_bubbling_m_s(powder, gas)
    check = None
    if inputs.supply is not None:
        check = _check(inputs.supply, inputs, areas, plates, whole, (minimum, bed_pa), gas)
    cautions = _cautions(estimates, bubbling, coefficient, drops[2], drill, holes)
    if inputs.supply is not None:
        cautions += [supply_pressure_pa(inputs.supply, working.middle * area).caution]
    return AirPlan(
        bed=bed,
        inputs=inputs,
        powder=powder,
        group=geldart_group(powder, gas),
        estimates=estimates,
        minimum_m_s=minimum,
        bubbling=bubbling,
        working_m_s=working,
        total_m3_s=working.times(area),
        area_m2=area,
        bed_pa=bed_pa,
        plate=whole,
        open_share=open_share(whole, area).value,
        plate_pa=plate_pa,
        ratio=Span(
            low=plate_pa.low / bed_pa.high, middle=plate_pa.middle / bed_pa.middle, high=plate_pa.high / bed_pa.low
        ),
        guidance=ratio_guidance(width, inputs.depth_m),
        answer_to_lighter=answer_to_lighter(whole, area, working.middle, LIGHTER * bed_pa.middle, gas),
        holes_planned=planned,
        supply=check,
        zones=_zones(bed, areas, working, holes, gets),
        weakest=bed.zones[int(np.argmin(gets))].name if max(gets) - min(gets) > ALIKE else None,
        drill=drill,
        assumed=(*inputs.assumed, *planned_as),
        cautions=tuple(dict.fromkeys(filter(None, cautions))),
    )


def _powder(inputs: AirInputs) -> Powder:
    density = inputs.density_kg_m3.middle
    return Powder(
        grain_m=inputs.grain_m.middle,
        density_kg_m3=density,
        voidage=1 - inputs.bulk_kg_m3.middle / density,
        sphericity=inputs.sphericity,
        fines=inputs.fines,
    )


def _minimum(inputs: AirInputs, powder: Powder, estimates: tuple[Estimate, ...], gas: Gas) -> Span:
    """All estimates over all that is not known of the powder: Ergun's in the middle where its voidage is known, else
    the median."""
    middle = estimates[0].value if inputs.bulk_known else statistics.median(one.value for one in estimates)
    ends = []
    for grain, density in (
        (inputs.grain_m.low, inputs.density_kg_m3.low),
        (inputs.grain_m.high, inputs.density_kg_m3.high),
    ):
        other = Powder(
            grain_m=grain,
            density_kg_m3=density,
            voidage=powder.voidage,
            sphericity=powder.sphericity,
            fines=powder.fines,
        )
        ends.append([one.value for one in minimum_speeds_m_s(other, gas)])
    return Span(low=min(*ends[0], middle / LEAST_ERROR), middle=middle, high=max(*ends[1], middle * LEAST_ERROR))


def _holes(
    inputs: AirInputs, areas: list[float], speed_m_s: float, bed_pa: float, coefficient: float, gas: Gas
) -> tuple[tuple[int, ...], bool, list[Assumed]]:
    """Holes of each zone: as told, by pitch, or so many that the plate takes DESIGN_RATIO of the bed's pressure."""
    if inputs.holes_per_zone is not None:
        return inputs.holes_per_zone, False, []
    if inputs.pitch_m is not None:
        return tuple(max(1, round(area / inputs.pitch_m**2)) for area in areas), False, []
    left = DESIGN_RATIO * bed_pa - membrane_drop_pa(speed_m_s, inputs.membrane_pa_s_m)
    if left < 0.02 * bed_pa:  # the membrane does it; the holes only feed it
        per_m2 = 1 / _MEMBRANE_PITCH_M**2
        why = f"one for every {_MEMBRANE_PITCH_M * 1000:.0f} mm square: the membrane alone takes its share"
    else:
        per_m2 = holes_for(speed_m_s, left, inputs.hole_m, coefficient, gas)
        why = f"so that the plate takes {DESIGN_RATIO} of the bed's pressure (Kunii & Levenspiel 1991, Example 4.1)"
    holes = tuple(max(1, round(area * per_m2)) for area in areas)
    each = f"{holes[0]}" if len(set(holes)) == 1 else ", ".join(map(str, holes))
    return holes, True, [Assumed(key="plate.holes_per_zone", value=each, why=why)]


def _plate(inputs: AirInputs, holes: int, coefficient: float) -> Plate:
    return Plate(holes=holes, hole_m=inputs.hole_m, membrane_pa_s_m=inputs.membrane_pa_s_m, coefficient=coefficient)


def _lines(areas: list[float], plates: list[Plate], bed_pa: float, minimum_m_s: float) -> tuple[Line, ...]:
    return tuple(
        Line(area_m2=area, plate=plate, bed_pa=bed_pa, minimum_m_s=minimum_m_s)
        for area, plate in zip(areas, plates, strict=True)
    )


def _gets(
    areas: list[float], plates: list[Plate], bed_pa: float, minimum_m_s: float, speed_m_s: float, gas: Gas
) -> list[float]:
    """Each zone's air velocity over the bed's mean, all valves open on one plenum at the working air."""
    lines = _lines(areas, plates, bed_pa, minimum_m_s)
    flow = shared_at(speed_m_s * sum(areas), lines, gas)
    return [float(q / area / speed_m_s) for q, area in zip(flow, areas, strict=True)]


def _check(
    supply: Supply,
    inputs: AirInputs,
    areas: list[float],
    plates: list[Plate],
    whole: Plate,
    spans: tuple[Span, Span],
    gas: Gas,
) -> SupplyCheck:
    minimum, bed_pa = spans
    area, solved = sum(areas), True

    def case(speed: float, bed: float) -> SupplyCase:
        nonlocal solved
        metre = bed / inputs.depth_m
        gives = supply_pressure_pa(supply, WORKING * speed * area).value
        plate = plate_drop_pa(WORKING * speed, whole, area, gas).value
        start = supply_pressure_pa(supply, speed * area).value - plate_drop_pa(speed, whole, area, gas).value
        found = solve(Network(supply=supply, lines=_lines(areas, plates, bed, speed), gas=gas))
        solved = solved and found.converged
        return SupplyCase(
            minimum_m_s=speed,
            working_m3_s=WORKING * speed * area,
            needed_pa=plate + bed,
            there_pa=max(0.0, gives),
            deepest_m=max(0.0, (gives - plate) / metre),
            deepest_lift_m=max(0.0, start / metre),
            open_m3_s=found.total_m3_s,
            times_minimum=found.total_m3_s / (speed * area),
        )

    cases = (case(minimum.low, bed_pa.low), case(minimum.middle, bed_pa.middle), case(minimum.high, bed_pa.high))
    return SupplyCheck(
        lifts=_answer([one.deepest_lift_m for one in cases], inputs.depth_m),
        works=_answer([one.deepest_m for one in cases], inputs.depth_m),
        cases=cases,
        converged=solved,
    )


def _answer(deepest: list[float], depth_m: float) -> Answer:
    if all(one >= depth_m for one in deepest):
        return "yes"
    return "perhaps" if any(one >= depth_m for one in deepest) else "no"


def _zones(
    bed: Bed, areas: list[float], working: Span, holes: tuple[int, ...], gets: list[float]
) -> tuple[ZoneAir, ...]:
    return tuple(
        ZoneAir(
            name=zone.name,
            area_m2=area,
            air_m3_s=working.times(area),
            holes=count,
            equal_holes=round(sum(holes) * area / sum(areas)),
            gets=one,
        )
        for zone, area, count, one in zip(bed.zones, areas, holes, gets, strict=True)
    )


def _cautions(
    estimates: tuple[Estimate, ...],
    bubbling: Estimate,
    coefficient: Estimate,
    plate: Estimate,
    drill: DrillPlan | None,
    holes: tuple[int, ...],
) -> list[str]:
    told = [f"{one.source}: {one.caution}" if one.caution else "" for one in (*estimates, bubbling, coefficient)]
    told.append(plate.caution)
    if drill is None:
        told.append(f"{sum(holes)} holes are too many to list: larger holes, or a membrane over fewer")
    else:
        told.extend(drill.cautions)
    return told
