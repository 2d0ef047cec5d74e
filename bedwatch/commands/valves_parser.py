"""What may be typed to find out which valve is which: `bedwatch valves`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bedwatch.commands.options import Bed, Job, Rate


def valves(
    sources: Annotated[list[str], typer.Argument(metavar="SOURCE...", hidden=True)],
    bed: Bed,
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the bed is looked for first.")
    ] = None,
    labels: Annotated[
        str | None,
        typer.Option(
            "--labels",
            metavar="WORDS",
            help='What is written on the valves, with commas between: "A, B, C". Without it the bed file\'s labels count, or the '
            "zones' names.",
        ),
    ] = None,
    turned: Annotated[
        list[str] | None,
        typer.Option(
            "--turned",
            metavar="VALVE: SHARE",
            help='With clips, once for every clip but the first: what was turned before it, such as "A: 0.25", less than 0 when '
            "closed.",
        ),
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="Write what was found into the bed file.")] = False,
    pictures_per_s: Rate = None,
) -> Job:
    """Find out which valve feeds which zone.

    SOURCE is a camera or a stream, and you are told step by step what to turn; or clips (or logs), one after every turn.
    It finds swapped, dead and joined lines, valves that turn the other way, and zones that no valve sets apart.
    """

    def job() -> int:
        from bedwatch.commands.valves import Wanted, run_valves

        wanted = Wanted(labels=labels, turned=turned or (), save=save, rate=pictures_per_s)
        return run_valves(sources, bed, aim, wanted)

    return job
