"""What may be typed to look at the bed: `bedwatch watch`, `report`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bedwatch.commands.options import Bed, Job, Rate, SourceSpec


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
            help="Log (.jsonl) that every reading is appended to; it goes on from what the log holds, moves that were "
            "made too.",
        ),
    ] = None,
    against: Annotated[
        str | None,
        typer.Option("--against", metavar="SETTING", help="A saved setting to find the way back to, by name or file."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print every reading as one JSON object per line.")] = False,
    explain: Annotated[
        bool,
        typer.Option("--explain", help="Print lines, and under each of them every zone's reason (on the screen: X)."),
    ] = False,
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
            reasons=explain,
        )

    return job


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
