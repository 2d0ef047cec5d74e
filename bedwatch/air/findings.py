"""What a plan means, in sentences with their figures."""

from __future__ import annotations

from bedwatch.air.planned import AirPlan, SupplyCase, SupplyCheck
from bedwatch.air.quantities import L_MIN

SAFETY = (
    "Powder in air can explode and must not be breathed; hot parts and ovens burn. The powder's safety data sheet, "
    "local codes and licensed practice come first: enclosure, extraction, earthing, dust limits. This plan knows "
    "nothing of them.",
    "Figures are estimates for a first drawing: correlations differ by a factor of two on one powder. Leave room in "
    "the supply, and tune the real bed.",
)


def findings(plan: AirPlan) -> tuple[str, ...]:
    """The sentences a builder needs, most pressing first."""
    told = [] if plan.supply is None else _of_supply(plan, plan.supply)
    if plan.supply is None:
        middle = f"{plan.total_m3_s.middle * L_MIN:.0f} L/min at {_kpa(plan.bed_pa.middle + plan.plate_pa.middle)}"
        high = f"{plan.total_m3_s.high * L_MIN:.0f} L/min at {_kpa(plan.bed_pa.high + plan.plate_pa.high)}"
        told.append(
            f"A supply for a middling powder gives {middle}; for one that asks for the most {high}. "
            "What hoses and valves take comes on top."
        )
    told += [*_of_plate(plan), *_of_zones(plan), *_of_powder(plan)]
    return tuple(told)


def _of_supply(plan: AirPlan, check: SupplyCheck) -> list[str]:
    least, middle, most = check.cases
    depth = f"{plan.inputs.depth_m * 1000:.0f} mm of powder"
    told = []
    if check.works == "yes":
        told.append(
            f"The supply does it: {_against(most, 'most', depth)}. "
            f"It goes on to do so up to {_mm(most.deepest_m)} of powder."
        )
    elif check.works == "perhaps":
        told.append(
            "Whether the supply does it depends on the powder: "
            f"{_against(least, 'least', depth)}; {_against(most, 'most', depth)}. "
            f"With everything open it gives {most.times_minimum:.1f} to {least.times_minimum:.1f} times the minimum "
            f"(2 is aimed at, 1.35 to 3 is good). For a middling powder {_deepest(middle)}. "
            "Measure the powder's minimum, or leave more room."
        )
    else:
        lead = "cannot even lift this powder" if check.lifts == "no" else "is too small for a lively bed"
        told.append(
            f"The supply {lead}, even if it asks for little: {_against(least, 'least', depth)}. "
            f"For such a powder {_deepest(least)}, and it lifts at most {_mm(least.deepest_lift_m)}. "
            "Take a supply that gives more at that air, or a plate that takes less of it."
        )
    if check.lifts != "no":
        told.append(
            "If it does not lift although the supply could: powder packs when it stands, and air then blows channels. "
            "Stir down to the plate with an earthed metal rod while you raise the air, then come back down "
            "(common practice)."
        )
    return told


def _against(case: SupplyCase, end: str, depth: str) -> str:
    return (
        f"at {case.working_m3_s * L_MIN:.0f} L/min, the {end} this powder may ask for, it gives {case.there_pa:.0f} Pa and "
        f"{case.needed_pa:.0f} Pa are needed at {depth}"
    )


def _deepest(case: SupplyCase) -> str:
    if case.deepest_m < 0.01:
        return "no depth is shallow enough to run lively"
    return f"it no longer runs lively beyond {_mm(case.deepest_m)} of powder"


def _kpa(pressure_pa: float) -> str:
    return f"{pressure_pa / 1000:.2g} kPa"


def _mm(depth_m: float) -> str:
    return f"{depth_m * 1000:.0f} mm"


def _of_plate(plan: AirPlan) -> list[str]:
    ratio, answer = plan.ratio.middle, plan.answer_to_lighter
    more = f"{answer:.0%} more air" if answer < 2 else "several times as much air"
    told = (
        f"The plate takes {ratio:.2g} of the bed's pressure ({plan.ratio.low:.2g} to {plan.ratio.high:.2g} over the "
        f"spread); a zone whose powder is a tenth lighter then draws {more} from the others."
    )
    if ratio < 0.2:
        told += (
            " That is little: a lively zone steals air. Fewer or smaller holes, or a membrane, hold the zones apart."
        )
    elif ratio > 1.0:
        told += " That is much: even, but the supply has to make that pressure. More or larger holes would save it."
    return [told]


def _of_zones(plan: AirPlan) -> list[str]:
    if plan.weakest is None:
        return ["All zones are alike with all valves open: none is the weakest by design."]
    poor = next(zone for zone in plan.zones if zone.name == plan.weakest)
    rich = max(plan.zones, key=lambda zone: zone.gets)
    return [
        f"Zone {poor.name} is the weakest: with all valves open it gets {poor.gets:.2f} of the mean air, zone "
        f"{rich.name} {rich.gets:.2f}. Equal shares ask for {poor.equal_holes} holes there instead of {poor.holes}."
    ]


def _of_powder(plan: AirPlan) -> list[str]:
    if not plan.bubbling.in_range or plan.bubbling.value < plan.working_m_s.middle:
        return []
    return [
        f"At the working air this powder may not bubble yet (first bubbles at {plan.bubbling.value * 1000:.1f} mm/s): a smooth, "
        "glassy surface is right then. Put an earthed metal rod in before you give it more."
    ]
