"""What may be typed: commands and options, and from a line of them to the job to do. Loads nothing heavy."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
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

_COMMANDS: dict[str, Callable[..., Job] | typer.Typer] = {
    "aim": aim_parser.aim,
    "watch": watch_parser.watch,
    "valves": valves_parser.valves,
    "cameras": aim_parser.cameras,
    "sheet": aim_parser.sheet,
    "make-believe": pretend_parser.make_believe,
    "practise": pretend_parser.practise,
    "air": plan_parser.air,
    "report": watch_parser.report,
    "disc": plan_parser.disc,
    "check-speed": plan_parser.check_speed,
    "settings": settings_parser.app,
    "log": log_parser.app,
}


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


def _app(names: Iterable[str]) -> typer.Typer:
    """The program with these commands: getting all of them ready takes longer than most of them last."""
    app = typer.Typer(
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        help="Watch a fluidised bed of coating powder through a camera and say which zone wants more or less air.\n\n"
        "It only looks at pictures and is no safety device: powder in air can explode and must not be breathed, hot parts "
        "and ovens burn. Local codes, the powder's safety data sheet and licensed practice come first.",
    )
    app.callback(invoke_without_command=True)(_root)
    for name in names:
        command = _COMMANDS[name]
        if isinstance(command, typer.Typer):
            app.add_typer(command, name=name)
        else:
            app.command(name)(command)
    return app


def parse(arguments: Sequence[str] | None) -> Job:
    """What a command line asks for; it gives the exit status. Help and version are printed here.

    arguments: None for the process's own. Raises UserError for a line that makes no sense.
    """
    words = sys.argv[1:] if arguments is None else arguments
    names = words[:1] if words and words[0] in _COMMANDS else _COMMANDS
    try:
        asked = _app(names)(arguments, standalone_mode=False, prog_name="bedwatch")
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
