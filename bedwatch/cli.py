"""The command line: parse, call, exit status. Loads nothing heavy before it is needed."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from bedwatch import __version__
from bedwatch.errors import UserError

EXIT_NOT_FOUND = 1
EXIT_MISTAKE = 2
EXIT_LOST = 3
EXIT_STOPPED = 130  # by Ctrl-C, the shell's custom

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Watch a fluidised bed of coating powder through a camera and say which zone wants more or less air.\n\n"
    "It only looks at pictures and is no safety device: powder in air can explode and must not be breathed, hot parts "
    "and ovens burn. Local codes, the powder's safety data sheet and licensed practice come first.",
)

Bed = Annotated[Path, typer.Option("--bed", help="Bed file (TOML) that describes the bed.")]
SourceSpec = Annotated[
    str,
    typer.Argument(metavar="SOURCE", help="Video file, folder or glob of pictures, camera number, http:// or rtsp://."),
]
Rate = Annotated[
    float | None,
    typer.Option(
        "--pictures-per-second", help="Rate of a folder of pictures whose names tell no time (30 if not given)."
    ),
]


@app.callback(invoke_without_command=True)
def _root(version: Annotated[bool, typer.Option("--version", help="Print the version and leave.")] = False) -> None:
    if version:
        typer.echo(f"bedwatch {__version__}")
        raise typer.Exit


@app.command()
def aim(
    source: SourceSpec,
    bed: Bed,
    out: Annotated[Path, typer.Option("--out", help="Aim file to write.")],
    picture: Annotated[
        Path | None, typer.Option("--picture", help="Check picture to write (PNG); beside the aim file if not given.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the aim as one JSON object on one line.")] = False,
    pictures_per_s: Rate = None,
) -> None:
    """Find the bed in the picture, check the camera and write down where the bed is."""
    from bedwatch.commands.aim import run_aim

    raise typer.Exit(run_aim(source, bed, out, picture, as_json=json, pictures_per_s=pictures_per_s))


@app.command()
def watch(
    source: SourceSpec,
    bed: Bed,
    aim: Annotated[Path | None, typer.Option("--aim", help="Aim file; without it the bed is looked for first.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print every reading as one JSON object per line.")] = False,
    pictures_per_s: Rate = None,
) -> None:
    """Measure the bed and say which zone wants more or less air."""
    from bedwatch.commands.watch import run_watch

    raise typer.Exit(run_watch(source, bed, aim, as_json=json, pictures_per_s=pictures_per_s))


@app.command("make-believe")
def make_believe(
    out: Annotated[Path, typer.Option("--out", help="Clip to write (.avi); its bed file is written beside it.")],
    air: Annotated[
        str, typer.Option("--air", help="Air of zones 1 to 7 as multiples of the minimum, comma-separated.")
    ] = "1.9,2.0,0.8,1.8,1.9,5.6,2.0",
    seconds: Annotated[float, typer.Option("--seconds", min=1, max=600, help="Length of the clip.")] = 14.0,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another bed of the same kind.")] = 1,
) -> None:
    """Make a clip of a pretended gate-latch bed, to try everything without a bed."""
    from bedwatch.commands.make_believe import run_make_believe

    raise typer.Exit(run_make_believe(out, air, seconds, seed))


def main() -> None:
    """Entry point: turns mistakes of the user's into lines and exit statuses."""
    try:
        app(standalone_mode=False)
    except UserError as mistake:
        for line in mistake.lines:
            print(f"bedwatch: {line}", file=sys.stderr)
        _leave(EXIT_MISTAKE)
    except typer.Abort:
        _leave(EXIT_STOPPED)
    except KeyboardInterrupt:
        print("bedwatch: stopped", file=sys.stderr)
        _leave(EXIT_STOPPED)
    except BrokenPipeError:
        # Whoever read our output has seen enough; what is left in the buffer has nowhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        _leave(0)


def _leave(status: int) -> None:
    raise SystemExit(status)
