"""What may be typed: commands and options, and from a line of them to the job to do. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from bedwatch import __version__
from bedwatch.errors import UserError

# The functions below only say what to do. It is done outside the parser, which has ideas of its own about Ctrl-C and
# closed pipes.
Job = Callable[[], int]

# The parser's base of all mistakes in a command line is not public and has moved between versions.
_Misuse = next(
    base for base in typer.BadParameter.__mro__ if issubclass(base, Exception) and base.__name__ == "ClickException"
)

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Watch a fluidised bed of coating powder through a camera and say which zone wants more or less air.\n\n"
    "It only looks at pictures and is no safety device: powder in air can explode and must not be breathed, hot parts "
    "and ovens burn. Local codes, the powder's safety data sheet and licensed practice come first.",
)

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


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        print(f"bedwatch {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise typer.Exit


@app.command()
def aim(
    source: SourceSpec,
    bed: Bed,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Aim file to write.")],
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE",
            help="Check picture to write (PNG or JPEG), also when the bed is not found; if not given, beside the aim file "
            "when it is.",
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the aim as one JSON object on one line.")] = False,
    pictures_per_s: Rate = None,
) -> Job:
    """Find the bed, check the camera, write down where the bed is.

    SOURCE is a video file, a folder of pictures, a pattern such as 'shots/*.png', a camera number, or an address
    (http://, https://, rtsp:// or rtsps://).
    """

    def job() -> int:
        from bedwatch.commands.aim import run_aim

        return run_aim(source, bed, out, picture, as_json=json, pictures_per_s=pictures_per_s)

    return job


@app.command()
def watch(
    source: SourceSpec,
    bed: Bed,
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the bed is looked for first.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print every reading as one JSON object per line.")] = False,
    pictures_per_s: Rate = None,
) -> Job:
    """Measure the bed and say which zone wants more or less air.

    SOURCE is a video file, a folder of pictures, a pattern such as 'shots/*.png', a camera number, or an address
    (http://, https://, rtsp:// or rtsps://).
    """

    def job() -> int:
        from bedwatch.commands.watch import run_watch

        return run_watch(source, bed, aim, as_json=json, pictures_per_s=pictures_per_s)

    return job


@app.command("make-believe")
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


def parse(arguments: Sequence[str] | None) -> Job:
    """What a command line asks for; it gives the exit status. Help and version are printed here.

    arguments: None for the process's own. Raises UserError for a line that makes no sense.
    """
    try:
        asked = app(arguments, standalone_mode=False, prog_name="bedwatch")
    except _Misuse as misuse:
        raise UserError(_in_one_line(misuse)) from None
    except typer.Abort:
        raise KeyboardInterrupt from None
    except SystemExit:  # the parser's answer to a closed pipe
        raise BrokenPipeError from None
    return asked if callable(asked) else lambda: int(asked or 0)


def _in_one_line(misuse: Exception) -> str:
    words = " ".join(getattr(misuse, "format_message", misuse.__str__)().split()).removesuffix(".")
    context: typer.Context | None = getattr(misuse, "ctx", None)
    return f"{words}; see {context.command_path if context else 'bedwatch'} --help"
