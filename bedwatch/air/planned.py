"""What a plan of the air holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from bedwatch.air.groups import Group
from bedwatch.air.inputs import AirInputs, Assumed, Span
from bedwatch.air.layout import DrillPlan
from bedwatch.air.plate import Guidance
from bedwatch.air.types import Estimate, Plate, Powder
from bedwatch.bed import Bed

Answer = Literal["yes", "perhaps", "no"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyCase:
    """A supply against one guess of the powder's minimum velocity and weight.

    working_m3_s: the working air. needed_pa, there_pa: at that air, bed and plate, against what the supply gives (0 where
    it gives none). deepest_m, deepest_lift_m: powder at rest beyond which it does not work, or does not even lift.
    open_m3_s, times_minimum: the air with everything open, at the depth of the plan.
    """

    minimum_m_s: float
    working_m3_s: float
    needed_pa: float
    there_pa: float
    deepest_m: float
    deepest_lift_m: float
    open_m3_s: float
    times_minimum: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyCheck:
    """Whether a supply does it, at the minimum (lifts) and at the working air (works); "perhaps" where that depends on
    where in its range the powder lies. cases: the powder that asks least, the middle one, the one that asks most.
    converged: whether all networks were solved."""

    lifts: Answer
    works: Answer
    cases: tuple[SupplyCase, SupplyCase, SupplyCase]
    converged: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneAir:
    """One zone. air_m3_s: for equal shares of the working air. equal_holes: for equal shares of all holes. gets: the
    air it gets from one plenum with all valves open, as a multiple of the bed's mean."""

    name: str
    area_m2: float
    air_m3_s: Span
    holes: int
    equal_holes: int
    gets: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AirPlan:
    """Everything the planner found, in SI. minimum_m_s: at which the powder lifts; working_m_s: twice that. ratio:
    plate over bed pressure. answer_to_lighter: by which share a zone's air rises when its powder weighs a tenth less.
    weakest: name of the zone that gets least with all valves open; None when they are alike. holes_planned: whether
    the number of holes is ours. supply: None when none is told. drill: None when there are too many holes to list."""

    bed: Bed = field(repr=False)
    inputs: AirInputs
    powder: Powder
    group: Group
    estimates: tuple[Estimate, ...]
    minimum_m_s: Span
    bubbling: Estimate
    working_m_s: Span
    total_m3_s: Span
    area_m2: float
    bed_pa: Span
    plate: Plate
    open_share: float
    plate_pa: Span
    ratio: Span
    guidance: tuple[Guidance, ...]
    answer_to_lighter: float
    holes_planned: bool
    supply: SupplyCheck | None
    zones: tuple[ZoneAir, ...]
    weakest: str | None
    drill: DrillPlan | None
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
