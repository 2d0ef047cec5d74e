"""What may be typed after `bedwatch settings`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

Job = Callable[[], int]

app = typer.Typer(
    rich_markup_mode=None,
    no_args_is_help=False,
    help="Keep what a good bed is like, and look at what was kept.\n\n"
    "A setting is a file NAME.setting.toml, to be read and to write words into, with a picture beside it.",
)

Folder = Annotated[Path, typer.Option("--in", metavar="FOLDER", help="Folder of the settings (this one if not given).")]
Name = Annotated[str, typer.Argument(metavar="NAME", help="A setting's name, or its file.")]
_HERE = Path()


@app.command("save")
def save(
    source: Annotated[str, typer.Argument(metavar="SOURCE", hidden=True)],
    bed: Annotated[Path, typer.Option("--bed", metavar="FILE", help="Bed file (TOML) that describes the bed.")],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help='Such as "grey epoxy, winter".')],
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the bed is looked for first.")
    ] = None,
    valve: Annotated[
        list[str] | None,
        typer.Option(
            "--valve", metavar="ZONE: WORDS", help='Where a zone\'s valve stands, such as "3: a quarter open".'
        ),
    ] = None,
    supply: Annotated[str | None, typer.Option("--supply", metavar="WORDS", help="Where the supply stands.")] = None,
    powder: Annotated[str | None, typer.Option("--powder", metavar="WORDS", help="Which powder it is.")] = None,
    level: Annotated[
        str | None,
        typer.Option("--level", metavar="LENGTH", help='From the top of the wall down to the powder, air on: "80 mm".'),
    ] = None,
    humidity: Annotated[
        float | None, typer.Option("--humidity", metavar="PER CENT", help="Relative humidity of the room.")
    ] = None,
    note: Annotated[str | None, typer.Option("--note", metavar="WORDS", help="Anything else.")] = None,
    folder: Annotated[
        Path | None,
        typer.Option("--in", metavar="FOLDER", help="Where to write it (beside the bed file if not given)."),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="NUMBER", help="How long to look at a camera or stream (40 if not given)."),
    ] = None,
    pictures_per_s: Annotated[
        float | None,
        typer.Option("--pictures-per-second", metavar="NUMBER", help="Rate of a folder of pictures without times."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a setting of that name.")] = False,
) -> Job:
    """Save a setting from a clip, a camera, a stream or a log.

    SOURCE is what bedwatch watch takes, or a log it wrote (.jsonl). The last steady part of it counts, up to two minutes.
    """

    def job() -> int:
        from bedwatch.commands.settings import Told, run_save

        told = Told(valves=valve or (), supply=supply, powder=powder, level=level, humidity=humidity, note=note)
        return run_save(source, bed, name, aim, told, folder=folder, seconds=seconds, rate=pictures_per_s, force=force)

    return job


@app.command("list")
def list_(folder: Folder = _HERE) -> Job:
    """List the settings of a folder."""

    def job() -> int:
        from bedwatch.commands.settings import run_list

        return run_list(folder)

    return job


@app.command()
def show(name: Name, folder: Folder = _HERE) -> Job:
    """Show one setting."""

    def job() -> int:
        from bedwatch.commands.settings import run_show

        return run_show(name, folder)

    return job


@app.command()
def rename(
    name: Name, new: Annotated[str, typer.Argument(metavar="NEW", help="Its new name.")], folder: Folder = _HERE
) -> Job:
    """Give a setting another name."""

    def job() -> int:
        from bedwatch.commands.settings import run_rename

        return run_rename(name, new, folder)

    return job


@app.command()
def remove(name: Name, folder: Folder = _HERE) -> Job:
    """Remove a setting and its picture, for good."""

    def job() -> int:
        from bedwatch.commands.settings import run_remove

        return run_remove(name, folder)

    return job


@app.command()
def compare(
    name: Name,
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The setting to hold against it.")],
    folder: Folder = _HERE,
) -> Job:
    """Compare two settings, zone by zone."""

    def job() -> int:
        from bedwatch.commands.settings import run_compare

        return run_compare(name, other, folder)

    return job
