"""A plan of the air as one JSON object."""

from __future__ import annotations

import json
import math
from typing import Any

from bedwatch.air.findings import SAFETY, findings
from bedwatch.air.inputs import Span
from bedwatch.air.layout import DrillPlan
from bedwatch.air.planned import AirPlan, SupplyCheck
from bedwatch.air.quantities import L_MIN, M3_H, SCFM

_DIGITS = 4


def air_json_line(plan: AirPlan) -> str:
    """The plan on one line. Spans are {low, middle, high}; null for what is not known; the unit is in every name."""
    return json.dumps(air_json(plan), ensure_ascii=False, allow_nan=False)


def air_json(plan: AirPlan) -> dict[str, Any]:
    """The plan as plain values, figures to four digits."""
    inputs = plan.inputs
    return {
        "bed": plan.bed.name,
        "area_m2": _round(plan.area_m2),
        "depth_mm": _round(inputs.depth_m * 1000),
        "assumed": [{"key": one.key, "value": one.value, "because": one.why} for one in plan.assumed],
        "powder": {
            "grain_um": _span(inputs.grain_m, 1e6),
            "density_kg_m3": _span(inputs.density_kg_m3),
            "bulk_density_kg_m3": _span(inputs.bulk_kg_m3),
            "group": plan.group.letter,
            "meaning": plan.group.meaning,
            "near": plan.group.near or None,
        },
        "minimum_mm_s": _span(plan.minimum_m_s, 1000),
        "minimum_by": [
            {"source": one.source, "mm_s": _round(one.value * 1000), "caution": one.caution or None}
            for one in plan.estimates
        ],
        "first_bubbles": {
            "source": plan.bubbling.source,
            "mm_s": _round(plan.bubbling.value * 1000),
            "caution": plan.bubbling.caution or None,
        },
        "working_air": {"mm_s": _span(plan.working_m_s, 1000)} | _flow_spans(plan.total_m3_s),
        "bed_pa": _span(plan.bed_pa),
        "plate_pa": _span(plan.plate_pa),
        "plate_to_bed": _span(plan.ratio),
        "guidance": [
            {
                "source": one.source,
                "low": _round(one.low),
                "high": _round(one.high),
                "from_memory": one.from_memory,
            }
            for one in plan.guidance
        ],
        "more_air_when_a_tenth_lighter": _round(plan.answer_to_lighter),
        "plate": {
            "hole_mm": _round(inputs.hole_m * 1000),
            "holes": plan.plate.holes,
            "holes_planned": plan.holes_planned,
            "open_share": _round(plan.open_share),
            "membrane_pa_s_m": _round(inputs.membrane_pa_s_m),
            "discharge_coefficient": _round(plan.plate.coefficient),
        },
        "supply": None if plan.supply is None else _supply(plan.supply),
        "zones": [
            {
                "zone": zone.name,
                "area_m2": _round(zone.area_m2),
                "holes": zone.holes,
                "holes_for_equal_shares": zone.equal_holes,
                "gets_of_mean": _round(zone.gets),
            }
            | _flow_spans(zone.air_m3_s)
            for zone in plan.zones
        ],
        "weakest": plan.weakest,
        "drill": None if plan.drill is None else _drill(plan.drill),
        "findings": list(findings(plan)),
        "cautions": [*plan.cautions, *SAFETY],
    }


def _supply(check: SupplyCheck) -> dict[str, Any]:
    cases = [
        {
            "minimum_mm_s": _round(case.minimum_m_s * 1000),
            "working_l_min": _round(case.working_m3_s * L_MIN),
            "working_scfm": _round(case.working_m3_s * SCFM),
            "needed_pa": _round(case.needed_pa),
            "there_pa": _round(case.there_pa),
            "deepest_mm": _round(case.deepest_m * 1000),
            "deepest_to_lift_mm": _round(case.deepest_lift_m * 1000),
            "all_open_l_min": _round(case.open_m3_s * L_MIN),
            "all_open_times_minimum": _round(case.times_minimum),
        }
        for case in check.cases
    ]
    return {
        "lifts": check.lifts,
        "works": check.works,
        "solved": check.converged,
        "cases": dict(zip(("low", "middle", "high"), cases, strict=True)),
    }


def _drill(drill: DrillPlan) -> dict[str, Any]:
    return {
        "hole_mm": _round(drill.hole_mm),
        "total": sum(drill.per_zone),
        "per_zone": list(drill.per_zone),
        "pitch_mm": _round(drill.pitch_mm),
        "nearest_mm": _round(drill.nearest_mm),
        "from_wall_mm": _round(drill.wall_mm),
        "from_border_mm": _round(drill.border_mm),
        "rows": [
            {
                "zones": list(row.zones),
                "radius_mm": round(row.radius_mm, 2),
                "holes": row.holes,
                "holes_per_zone": row.holes_per_zone,
                "first_deg": round(row.first_deg, 3),
                "step_deg": round(row.step_deg, 3),
            }
            for row in drill.rows
        ],
        "blocks": [
            {
                "zone": block.zone,
                "rows": block.rows,
                "columns": block.columns,
                "first_mm": [round(v, 2) for v in block.first_mm],
                "step_mm": [round(v, 3) for v in block.step_mm],
            }
            for block in drill.blocks
        ],
        "holes_mm": [[round(x, 2), round(y, 2)] for x, y in drill.holes_mm.tolist()],
    }


def _flow_spans(flow_m3_s: Span) -> dict[str, Any]:
    return {name: _span(flow_m3_s, per) for name, per in (("l_min", L_MIN), ("scfm", SCFM), ("m3_h", M3_H))}


def _span(span: Span, factor: float = 1.0) -> dict[str, float | None]:
    return {name: _round(getattr(span, name) * factor) for name in ("low", "middle", "high")}


def _round(value: float) -> float | None:
    return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
