"""Fluidisation physics: powder, plate, supply, valves, the flow network, and a plan from them. Pure functions, SI, no pixels."""

from bedwatch.air.inputs import AirInputs, Assumed, Span
from bedwatch.air.neighbours import touching_zones
from bedwatch.air.network import Flows, shared_at, solve
from bedwatch.air.plan import plan_air
from bedwatch.air.planned import AirPlan
from bedwatch.air.read import read_air
from bedwatch.air.types import AIR_20C, Estimate, Gas, Leak, Line, Network, Plate, Powder, Supply, Valve

__all__ = [
    "AIR_20C",
    "AirInputs",
    "AirPlan",
    "Assumed",
    "Estimate",
    "Flows",
    "Gas",
    "Leak",
    "Line",
    "Network",
    "Plate",
    "Powder",
    "Span",
    "Supply",
    "Valve",
    "plan_air",
    "read_air",
    "shared_at",
    "solve",
    "touching_zones",
]
