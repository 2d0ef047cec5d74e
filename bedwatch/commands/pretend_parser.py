"""What may be typed to try it without a bed: `bedwatch make-believe`, `practise`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bedwatch.commands.options import Job


def make_believe(
    out: Annotated[
        Path,
        typer.Option(
            "--out",
            metavar="FILE",
            help="Clip to write (.avi); its bed file and the truth about it are written beside it.",
        ),
    ],
    air: Annotated[
        str,
        typer.Option(
            "--air",
            metavar="NUMBERS",
            help="Air of zones 1 to 7, with commas between, as multiples of the air at which the powder just begins to lift: "
            "below 1 it lies still, about 2 is right, from 4.5 on it boils.",
        ),
    ] = "1.9,2.0,0.8,1.8,1.9,5.6,2.0",
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="NUMBER", help="Length of the clip, 1 to 600 s.")
    ] = 14.0,
    seed: Annotated[
        int, typer.Option("--seed", metavar="NUMBER", help="Another number, another bed of the same kind.")
    ] = 1,
    force: Annotated[bool, typer.Option("--force", help="Write over files that are already there.")] = False,
) -> Job:
    """Make a clip of a pretended bed to try everything with."""

    def job() -> int:
        from bedwatch.commands.make_believe import run_make_believe

        return run_make_believe(out, air, seconds, seed, force=force)

    return job


def practise(
    seed: Annotated[int, typer.Option("--seed", metavar="NUMBER", help="Another number, another badly set bed.")] = 1,
    no_advice: Annotated[bool, typer.Option("--no-advice", help="Show only what the surface does.")] = False,
    valves: Annotated[
        bool, typer.Option("--valves", help="Practise finding out which valve is which, where lines are mixed up.")
    ] = False,
) -> Job:
    """Practise tuning on a pretended bed, move by move.

    No camera and no pictures: each look shows how much of every zone moves and how fast.
    """

    def job() -> int:
        if valves:
            from bedwatch.commands.practise_valves import run_practise_valves

            return run_practise_valves(seed)
        from bedwatch.commands.practise import run_practise

        return run_practise(seed, advice=not no_advice)

    return job
