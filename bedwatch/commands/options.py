"""What the commands' options have in common."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

# What is typed only says what to do. It is done outside the parser, which has ideas of its own about Ctrl-C and closed pipes.
Job = Callable[[], int]

Bed = Annotated[Path, typer.Option("--bed", metavar="FILE", help="Bed file (TOML) that describes the bed.")]
# Hidden from the list of arguments, where the parser would name its Python type; told in the text of the command.
SourceSpec = Annotated[str, typer.Argument(metavar="SOURCE", hidden=True)]
Rate = Annotated[
    float | None,
    typer.Option(
        "--pictures-per-second",
        metavar="NUMBER",
        help="Rate of a folder of pictures whose names tell no time (30 if not given).",
    ),
]
