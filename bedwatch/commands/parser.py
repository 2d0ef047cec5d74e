"""What may be typed: commands and options, and from a line of them to the job to do. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from bedwatch import __version__
from bedwatch.commands import (
    aim_parser,
    log_parser,
    plan_parser,
    pretend_parser,
    settings_parser,
    valves_parser,
    watch_parser,
)
from bedwatch.commands.options import Job
from bedwatch.errors import UserError

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


app.command()(aim_parser.aim)
app.command()(watch_parser.watch)
app.command()(valves_parser.valves)
app.command()(aim_parser.cameras)
app.command()(aim_parser.sheet)
app.command("make-believe")(pretend_parser.make_believe)
app.command()(pretend_parser.practise)
app.command()(plan_parser.air)
app.command()(watch_parser.report)
app.command()(plan_parser.disc)
app.command("check-speed")(plan_parser.check_speed)
app.add_typer(settings_parser.app, name="settings")
app.add_typer(log_parser.app, name="log")


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
