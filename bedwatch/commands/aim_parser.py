"""What may be typed to find the bed: `bedwatch aim`, `cameras`, `sheet`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bedwatch.commands.options import Bed, Job, Rate, SourceSpec


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
