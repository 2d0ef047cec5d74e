"""What may be typed after `bedwatch log`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

Job = Callable[[], int]

app = typer.Typer(rich_markup_mode=None, help="Look at logs that bedwatch watch --log wrote.")

Logs = Annotated[list[Path], typer.Argument(metavar="LOG...", help="One log or more, of one bed.")]
Bed = Annotated[Path, typer.Option("--bed", metavar="FILE", help="Bed file (TOML) that describes the bed.")]


@app.command()
def summary(logs: Logs, bed: Bed) -> Job:
    """Tell what was seen and done, and the bed before and after."""

    def job() -> int:
        from bedwatch.commands.log import run_summary

        return run_summary(logs, bed)

    return job


@app.command()
def csv(
    logs: Logs,
    bed: Bed,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="File to write (standard output if not given).")
    ] = None,
) -> Job:
    """Make one table for a spreadsheet: a row for each reading, a row for each move."""

    def job() -> int:
        from bedwatch.commands.log import run_csv

        return run_csv(logs, bed, out)

    return job


@app.command()
def play(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The log.")],
    bed: Bed,
    times: Annotated[float, typer.Option("--times", metavar="NUMBER", help="So many times as fast as it was.")] = 4.0,
) -> Job:
    """Play a log again on the screen."""

    def job() -> int:
        from bedwatch.commands.log import run_play

        return run_play(log, bed, times)

    return job
