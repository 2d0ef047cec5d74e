"""What may be typed to plan air and to check the speed: `bedwatch air`, `disc`, `check-speed`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bedwatch.commands.options import Bed, Job, Rate, SourceSpec


def air(
    bed: Bed,
    drawing: Annotated[
        Path | None,
        typer.Option("--drawing", metavar="FILE", help="Drilling pattern to write, life size (.svg)."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the plan as one JSON object on one line.")] = False,
) -> Job:
    """Plan the air a bed needs, and where to drill.

    For a bed still on paper, or one that does not lift. What you know stands in the bed file, in tables that may be left
    out; what is missing is assumed, and said:

    \b
    [powder]
    grain = "100 um"
    density = "1400 kg/m3"          # of the solid
    bulk_density = "650 kg/m3"      # poured loosely; or voidage = 0.54
    sphericity = 0.8
    fines = 0.05                    # share of the mass below 45 um
    depth = "150 mm"                # at rest, air off
    [plate]
    hole = "1 mm"
    holes_per_zone = 30             # or [30, 28, ...], or pitch = "12 mm"
    membrane_drop = "500 Pa"        # of a membrane, with
    membrane_at = "20 mm/s"         # the air velocity it belongs to
    [supply]
    curve = [["0 L/min", "5 kPa"], ["200 L/min", "1 kPa"]]
    shape = "straight"              # or "parabola"
    """

    def job() -> int:
        from bedwatch.commands.air import run_air

        return run_air(bed, drawing, as_json=json)

    return job


def disc(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="File to print (.pdf or .svg).")],
    diameter: Annotated[str, typer.Option("--diameter", metavar="LENGTH", help="How large it is.")] = "180 mm",
    paper: Annotated[str, typer.Option("--paper", metavar="NAME", help="a4 or letter.")] = "a4",
) -> Job:
    """Make a disc to print that checks the speed when it turns.

    Put it on something that turns at a known rate, and take it with bedwatch check-speed.
    """

    def job() -> int:
        from bedwatch.commands.check_speed import run_disc

        return run_disc(out, diameter, paper)

    return job


def check_speed(
    source: SourceSpec,
    rpm: Annotated[float, typer.Option("--rpm", metavar="NUMBER", help="Turns a minute of what turns, such as 3.")],
    diameter: Annotated[
        str | None,
        typer.Option("--diameter", metavar="LENGTH", help="How large the disc is that turns, with its unit."),
    ] = None,
    bed: Annotated[
        Path | None,
        typer.Option("--bed", metavar="FILE", help="Instead: what turns fills this round bed, at its powder level."),
    ] = None,
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the disc is looked for first.")
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="NUMBER", help="How long to look at a camera or stream (40 if not given)."),
    ] = None,
    pictures_per_s: Rate = None,
    json: Annotated[bool, typer.Option("--json", help="Print the result as one JSON object on one line.")] = False,
) -> Job:
    """Check the speed by a disc that turns at a known rate.

    Tells by how much the speed that is read is off. SOURCE is what bedwatch watch takes. bedwatch disc makes a disc to print.
    """

    def job() -> int:
        from bedwatch.commands.check_speed import run_check_speed

        return run_check_speed(source, rpm, diameter, bed, aim, seconds=seconds, rate=pictures_per_s, as_json=json)

    return job
