"""A plan of the air for people: tables and sentences."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from typing import TextIO

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bedwatch.air.findings import SAFETY, findings
from bedwatch.air.inputs import Span
from bedwatch.air.planned import AirPlan
from bedwatch.air.quantities import L_MIN, M3_H, SCFM
from bedwatch.show.look import Look, look_for

NARROWEST = 80


class _Page:
    """Headings, tables and sentences on one output, spelt so that it can be drawn there."""

    def __init__(self, out: TextIO) -> None:
        self._look: Look = look_for(out, os.environ)
        self._console = Console(
            file=out, highlight=False, markup=False, emoji=False, no_color=not self._look.colour, soft_wrap=False
        )
        if self._console.width < NARROWEST:
            self._console.width = NARROWEST

    def heading(self, words: str) -> None:
        self._console.print()
        self._console.print(Text(self._look.text(words), style="bold"))

    def line(self, words: str) -> None:
        self._console.print(Padding(Text(self._look.text(words)), (0, 0, 0, 2), expand=False))

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], words: Sequence[int] = (0,)) -> None:
        """words: which columns hold words and stand to the left; figures stand to the right."""
        table = Table(box=box.SIMPLE_HEAD if self._look.unicode else box.ASCII, pad_edge=False, expand=False)
        for number, name in enumerate(head):
            left = number in words
            table.add_column(
                self._look.text(name), justify="left" if left else "right", no_wrap=not left, overflow="fold"
            )
        for row in rows:
            table.add_row(*(self._look.text(cell) for cell in row))
        self._console.print(Padding(table, (0, 0, 0, 2), expand=False))


def print_air(plan: AirPlan, out: TextIO) -> None:
    """Writes the plan: what it rests on, what it comes to, what to drill, what to beware of."""
    page = _Page(out)
    _head(page, plan)
    _powder(page, plan)
    _air(page, plan)
    _pressure(page, plan)
    _supply(page, plan)
    _zones(page, plan)
    _holes(page, plan)
    page.heading("Beware")
    for words in (*plan.cautions, *SAFETY):
        page.line(f"- {words}")


def _head(page: _Page, plan: AirPlan) -> None:
    bed = plan.bed
    size = f"{bed.width_mm:g} mm" if bed.shape == "round" else f"{bed.width_mm:g} x {bed.length_mm:g} mm"
    page.heading(
        f"{bed.name}: {bed.shape}, {size}, {len(bed.zones)} zones, {plan.inputs.depth_m * 1000:.0f} mm of powder"
    )
    for words in findings(plan):
        page.line(f"- {words}")
    page.heading("Assumed, since the bed file does not say")
    page.table(("key", "taken", "because"), [(one.key, one.value, one.why) for one in plan.assumed], words=(0, 1, 2))


def _powder(page: _Page, plan: AirPlan) -> None:
    near = f", {plan.group.near}" if plan.group.near else ""
    page.heading(f"Powder: Geldart group {plan.group.letter}{near}")
    page.line(f"{plan.group.meaning}.")
    rows = [(one.source, _figure(one.value * 1000)) for one in plan.estimates]
    rows.append((f"first bubbles, {plan.bubbling.source}", _figure(plan.bubbling.value * 1000)))
    page.table(("lifts at (minimum fluidisation), by", "mm/s"), rows)


def _air(page: _Page, plan: AirPlan) -> None:
    page.heading("Air for the whole bed, with its honest spread")
    rows = []
    for name, speed in (("just lifts", plan.minimum_m_s), ("to work with, twice that", plan.working_m_s)):
        total = speed.times(plan.area_m2)
        for case in ("low", "middle", "high"):
            flow = getattr(total, case)
            rows.append(
                (
                    name if case == "low" else "",
                    case,
                    _figure(getattr(speed, case) * 1000),
                    *(_figure(flow * per) for per in (L_MIN, SCFM, M3_H)),
                )
            )
    page.table(("", "", "mm/s", "L/min", "scfm", "m3/h"), rows, words=(0, 1))


def _pressure(page: _Page, plan: AirPlan) -> None:
    page.heading("Pressure at the working air")
    rows = [
        ("bed, its weight per area, Pa", *_three(plan.bed_pa)),
        ("plate, Pa", *_three(plan.plate_pa)),
        ("plate over bed", *_three(plan.ratio)),
    ]
    page.table(("", "low", "middle", "high"), rows)
    said = []
    for one in plan.guidance:
        figure = f"{one.low:.2g}" if one.low == one.high else f"{one.low:.2g} to {one.high:.2g}"
        figure = f"{one.low:.2g} or more" if math.isinf(one.high) else figure
        said.append((one.source, figure, "from memory" if one.from_memory else ""))
    page.table(("published for plate over bed", "", ""), said, words=(0, 2))
    page.line(
        "A fixed ratio can be far out (Thorpe et al. 2002: up to a factor 6 in the air needed): a hint, no limit."
    )


def _supply(page: _Page, plan: AirPlan) -> None:
    if plan.supply is None:
        return
    check = plan.supply
    page.heading(f"Supply: lifts the bed: {check.lifts}; runs it lively: {check.works}")
    rows = [
        (
            name,
            _figure(case.working_m3_s * L_MIN),
            _figure(case.needed_pa),
            _figure(case.there_pa),
            f"{case.deepest_m * 1000:.0f}",
            f"{case.deepest_lift_m * 1000:.0f}",
            f"{case.times_minimum:.1f}",
        )
        for name, case in zip(("little", "middling", "much"), check.cases, strict=True)
    ]
    head = ("powder asks", "L/min", "needs Pa", "gives Pa", "runs to", "lifts to", "open")
    page.table(head, rows)
    page.line(
        "runs to, lifts to: mm of powder at rest, up to which the bed runs lively, or just lifts. "
        "open: times the minimum with all valves open."
    )
    if not check.converged:
        page.line("The air network was not solved to the last digit: do not rely on these figures.")


def _zones(page: _Page, plan: AirPlan) -> None:
    page.heading("Zones: air for equal shares, and what each gets with all valves open")
    rows = [
        (
            zone.name,
            f"{zone.area_m2 * 1e4:.0f}",
            *(_figure(getattr(zone.air_m3_s, case) * L_MIN) for case in ("low", "middle", "high")),
            _figure(zone.air_m3_s.middle * SCFM),
            f"{zone.holes}",
            f"{zone.equal_holes}",
            f"{zone.gets:.2f}",
        )
        for zone in plan.zones
    ]
    head = ("zone", "cm2", "L/min low", "middle", "high", "scfm", "holes", "equal", "gets")
    page.table(head, rows)


def _holes(page: _Page, plan: AirPlan) -> None:
    drill = plan.drill
    if drill is None:
        return
    whose = "as many as planned here" if plan.holes_planned else "as the bed file says"
    page.heading(f"Drill list: {sum(drill.per_zone)} holes of {drill.hole_mm:g} mm, {whose}")
    page.line(
        f"One hole for every {drill.pitch_mm:.1f} mm square; nearest two {drill.nearest_mm:.1f} mm apart; "
        f"{drill.wall_mm:.1f} mm from the wall."
    )
    if drill.rows:
        page.table(
            ("zones", "radius mm", "per zone", "holes", "first deg", "step deg"),
            [
                (
                    _run(row.zones),
                    f"{row.radius_mm:.1f}",
                    f"{row.holes_per_zone}",
                    f"{row.holes}",
                    f"{row.first_deg:.1f}",
                    f"{row.step_deg:.2f}",
                )
                for row in drill.rows
            ],
        )
        page.line(
            "Degrees clockwise from 12 o'clock, seen from above; equal steps from hole to hole through all these zones."
        )
        return
    if drill.blocks:
        page.table(
            ("zone", "rows", "columns", "first x mm", "first y mm", "step x mm", "step y mm"),
            [
                (
                    block.zone,
                    f"{block.rows}",
                    f"{block.columns}",
                    *(f"{value:.1f}" for value in block.first_mm),
                    *(f"{value:.2f}" for value in block.step_mm),
                )
                for block in drill.blocks
            ],
        )
        page.line("From the bed's centre, x to the right, y to 12 o'clock; the first hole is the one at upper left.")
    if len(drill.blocks) < len(drill.per_zone):
        page.line("The drawing (--drawing) and the JSON (--json) hold the place of every hole of the other zones.")


def _run(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"


def _three(span: Span) -> tuple[str, str, str]:
    return _figure(span.low), _figure(span.middle), _figure(span.high)


def _figure(value: float) -> str:
    """Three digits at most, no exponent: more would promise too much."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "-"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    rounded = round(value, 2 - math.floor(math.log10(abs(value))))
    return f"{rounded:.{min(digits, 4)}f}"
