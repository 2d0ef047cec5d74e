"""What may be typed: commands and options, and from a line of them to the job to do. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from bedwatch import __version__
from bedwatch.commands import log_parser, settings_parser
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
    marks: Annotated[
        bool, typer.Option("--marks", help="Find the bed by the printed cards that lie in it (see bedwatch sheet).")
    ] = False,
    printed_mm: Annotated[
        float | None,
        typer.Option("--printed-mm", metavar="NUMBER", help="What the cards' rule of 100 mm measures, if not 100."),
    ] = None,
    marks_below_rim: Annotated[
        str | None,
        typer.Option(
            "--marks-below-rim",
            metavar="LENGTH",
            help='From the top of the wall down to the cards, such as "95 mm"; if not given, as far as the powder lies.',
        ),
    ] = None,
    by_hand: Annotated[
        bool,
        typer.Option(
            "--by-hand", help="Write a page on which to click where the bed is; it gives the line with the places."
        ),
    ] = False,
    wall: Annotated[
        list[str] | None,
        typer.Option(
            "--wall",
            metavar="U,V",
            help="A pixel (right, down) where powder meets the wall of a round bed; five or more, all round.",
        ),
    ] = None,
    rim: Annotated[
        list[str] | None,
        typer.Option("--rim", metavar="U,V", help="A pixel on the inner top edge of the wall; three or more."),
    ] = None,
    corner: Annotated[
        list[str] | None,
        typer.Option("--corner", metavar="U,V", help="A corner of the powder in a rectangular bed; four."),
    ] = None,
    rim_corner: Annotated[
        list[str] | None,
        typer.Option("--rim-corner", metavar="U,V", help="A corner of the wall's inner top edge; four."),
    ] = None,
    twelve: Annotated[
        str | None,
        typer.Option(
            "--twelve", metavar="U,V", help="A pixel at 12 o'clock; if not given, the picture's top is 12 o'clock."
        ),
    ] = None,
    upside_down: Annotated[
        bool, typer.Option("--upside-down", help="12 o'clock is at the bottom of the picture.")
    ] = False,
    turn: Annotated[
        float | None,
        typer.Option("--turn", metavar="DEGREES", help="12 o'clock is so far clockwise from the picture's top."),
    ] = None,
    mirrored: Annotated[
        bool, typer.Option("--mirrored", help="The picture is mirrored, as in a selfie view or seen in a mirror.")
    ] = False,
    air_off: Annotated[
        bool, typer.Option("--air-off", help="Look for 5 s more, with the air off: the least motion that can be told.")
    ] = False,
) -> Job:
    """Find the bed, check the camera, write down where the bed is.

    SOURCE is a video file, a folder of pictures, a pattern such as 'shots/*.png', a camera number, or an address
    (http://, https://, rtsp:// or rtsps://).
    """

    def job() -> int:
        from bedwatch.commands.aim import run_aim
        from bedwatch.commands.by_hand import hand_asked
        from bedwatch.commands.by_marks import cards_asked

        cards = cards_asked(marks, printed_mm, marks_below_rim)
        hand = hand_asked(
            wall=wall,
            rim=rim,
            corner=corner,
            rim_corner=rim_corner,
            twelve=twelve,
            mirrored=mirrored,
            upside_down=upside_down,
            turn=turn,
            page=by_hand,
            marks=marks,
            as_json=json,
        )
        return run_aim(
            source,
            bed,
            out,
            picture,
            as_json=json,
            pictures_per_s=pictures_per_s,
            cards=cards,
            hand=hand,
            page=by_hand,
            air_off=air_off,
        )

    return job


@app.command()
def watch(
    source: SourceSpec,
    bed: Bed,
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the bed is looked for first.")
    ] = None,
    log: Annotated[
        Path | None,
        typer.Option(
            "--log",
            metavar="FILE",
            help="Log (.jsonl) that every reading is appended to; what it holds already, moves that were made too, is gone on "
            "from.",
        ),
    ] = None,
    against: Annotated[
        str | None,
        typer.Option("--against", metavar="SETTING", help="A saved setting to find the way back to, by name or file."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print every reading as one JSON object per line.")] = False,
    pictures_per_s: Rate = None,
    lost_after_s: Annotated[
        float | None,
        typer.Option(
            "--lost-after",
            metavar="SECONDS",
            help="So long a camera or stream that fell silent is waited for (40 if not given).",
        ),
    ] = None,
    real_time: Annotated[
        bool, typer.Option("--real-time", help="Play a file at its own speed instead of as fast as it is analysed.")
    ] = False,
) -> Job:
    """Measure the bed and say which zone wants more or less air.

    SOURCE is a video file, a folder of pictures, a pattern such as 'shots/*.png', a camera number, or an address
    (http://, https://, rtsp:// or rtsps://).
    """

    def job() -> int:
        from bedwatch.commands.watch import run_watch

        return run_watch(
            source,
            bed,
            aim,
            as_json=json,
            pictures_per_s=pictures_per_s,
            lost_after_s=lost_after_s,
            real_time=real_time,
            log_file=log,
            against=against,
        )

    return job


@app.command()
def cameras(
    pictures: Annotated[
        Path | None,
        typer.Option("--pictures", metavar="FOLDER", help="Folder that gets a picture of every camera."),
    ] = None,
) -> Job:
    """Tell which camera has which number, by what each one sees."""

    def job() -> int:
        from bedwatch.commands.cameras import run_cameras

        return run_cameras(pictures)

    return job


@app.command()
def sheet(
    bed: Bed,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="File to print (.pdf or .svg).")],
    paper: Annotated[str, typer.Option("--paper", metavar="NAME", help="a4 or letter.")] = "a4",
) -> Job:
    """Make cards to print, by which any bed can be found.

    For a bed that is not found without them. They lie on the still powder while bedwatch aim --marks looks, and give
    scale, plane, lens and 12 o'clock.
    """

    def job() -> int:
        from bedwatch.commands.sheet import run_sheet

        return run_sheet(bed, out, paper)

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


@app.command()
def practise(
    seed: Annotated[int, typer.Option("--seed", metavar="NUMBER", help="Another number, another badly set bed.")] = 1,
    no_advice: Annotated[bool, typer.Option("--no-advice", help="Show only what the surface does.")] = False,
) -> Job:
    """Practise tuning on a pretended bed, move by move.

    No camera and no pictures: each look shows how much of every zone moves and how fast.
    """

    def job() -> int:
        from bedwatch.commands.practise import run_practise

        return run_practise(seed, advice=not no_advice)

    return job


@app.command()
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


@app.command()
def report(
    source: SourceSpec,
    bed: Bed,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Page to write (.html).")],
    aim: Annotated[
        Path | None, typer.Option("--aim", metavar="FILE", help="Aim file; without it the bed is looked for first.")
    ] = None,
    against: Annotated[
        str | None,
        typer.Option("--against", metavar="SETTING", help="A saved setting to hold it against, by name or file."),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="NUMBER", help="How long to look at a camera or stream (40 if not given)."),
    ] = None,
    pictures_per_s: Rate = None,
) -> Job:
    """Write one page to print that tells how the bed is.

    SOURCE is what bedwatch watch takes, a log it wrote (.jsonl), or a saved setting (NAME.setting.toml).
    """

    def job() -> int:
        from bedwatch.commands.report import run_report

        return run_report(source, bed, out, aim, against, seconds=seconds, rate=pictures_per_s)

    return job


@app.command()
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


@app.command("check-speed")
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
