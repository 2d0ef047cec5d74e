"""Makes everything in sample_frames anew: `python -m tests.benchmarks.make_samples`.

The clip is H.264 in MP4, encoded by PyAV. Quality matters: from CRF 30 on the encoder takes the powder's grain away,
which is the very thing that is measured.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from io import StringIO
from pathlib import Path
from typing import Annotated

import av
import numpy as np
import typer
from rich.console import Console

from bedwatch import __version__
from bedwatch.aim.aimfile import aim_json, write_aim
from bedwatch.aim.draw import check_picture
from bedwatch.aim.flat import flat_jpeg
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, read_bed
from bedwatch.files import replacing, write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.frames.open import open_source
from bedwatch.judge.steady import mean_of
from bedwatch.keep.setting_of import setting_of
from bedwatch.show.json_read import parse_reading_line
from bedwatch.show.jsonl import reading_line
from bedwatch.show.look import Look
from bedwatch.show.report import Sheet, report_page
from bedwatch.show.screen import screen
from bedwatch.show.standing import Camera, Standing
from bedwatch.sim import BedSource, MadeSource, Scene, demo_scene
from bedwatch.watch import End, Watch

MADE = datetime(2026, 1, 31, 14, 5, tzinfo=UTC)  # the same clip gives the same page
REPOSITORY = Path(__file__).resolve().parents[2]
SAMPLES = REPOSITORY / "sample_frames"
BED_FILE = REPOSITORY / "calibration" / "gate_latch.bed.toml"
CLIP = SAMPLES / "demo.mp4"
AIM_FILE = SAMPLES / "demo.aim.toml"
READINGS = SAMPLES / "demo.readings.jsonl"
STILLS = SAMPLES / "stills"
STILLS_AT_S = (0, 1, 2, 3)
CRF = "22"
SVG = """<svg xmlns="http://www.w3.org/2000/svg" xml:space="preserve"
viewBox="0 0 {width} {height}" width="{width}" height="{height}">
<style>.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", monospace; font-size: {char_height}px;
line-height: {line_height}px; }} {styles}</style>
<defs><clipPath id="{unique_id}-clip-terminal"><rect width="{terminal_width}" height="{terminal_height}"/></clipPath>
{lines}</defs>
<rect width="{width}" height="{height}" rx="8" fill="#101418"/>
<g transform="translate({terminal_x}, 8)" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}<g class="{unique_id}-matrix">{matrix}</g></g></svg>
"""


def scene() -> Scene:
    """The demo bed at 720p, 30/s, under a camera quiet enough that its noise does not fill the file."""
    made = demo_scene(size_px=(1280, 720), fps=30.0, duration_s=14.0)
    return replace(made, camera=replace(made.camera, full_well_e=10000.0, read_noise_e=6.0))


def encode(source: MadeSource, path: Path, crf: str = CRF) -> None:
    """Write a source as H.264; one thread, so that the same pictures give the same file."""
    with replacing(path) as draft, av.open(str(draft), "w", format="mp4") as out:
        stream = out.add_stream("libx264", rate=Fraction(source.fps).limit_denominator(1000))
        stream.width, stream.height = source.size_px
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": crf, "preset": "medium", "threads": "1"}
        for frame in source:
            picture = av.VideoFrame.from_ndarray(frame.picture, format="bgr24")
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))


def follow_clip(bed: Bed) -> tuple[Watch, list[str]]:
    """The clip watched as `watch --json` does, aimed automatically; the watch and its lines."""
    frames, watch = open_source(str(CLIP)), Watch(bed)
    readings = [watch.step(frame) for frame in frames]
    readings.append(watch.step(End()))
    return watch, [reading_line(reading) for reading in readings if reading is not None]


def write_stills() -> None:
    """A few pictures of the clip, a second apart, their times in their names."""
    STILLS.mkdir(parents=True, exist_ok=True)
    wanted = list(STILLS_AT_S)
    for frame in open_source(str(CLIP)):
        if wanted and frame.time_s >= wanted[0] - 1e-3:
            path = STILLS / f"bed_{wanted.pop(0)}s.jpg"
            write_bytes(path, encoded(frame.coloured(), ".jpg", [cv2.IMWRITE_JPEG_QUALITY, 90]))
        if not wanted:
            return


def encoded(picture: Picture, ending: str, options: list[int]) -> bytes:
    _, data = cv2.imencode(ending, picture, options)
    return data.tobytes()


def write_check_picture(bed: Bed, aim: Aim) -> None:
    """What `bedwatch aim` draws, as a JPEG to keep it small."""
    picture = next(iter(open_source(str(CLIP)))).coloured()
    drawn = check_picture(picture, bed, aim)
    write_bytes(SAMPLES / "demo.aim.jpg", encoded(drawn, ".jpg", [cv2.IMWRITE_JPEG_QUALITY, 88]))


def write_screen(bed: Bed, line: str, columns: int = 120, rows: int = 36) -> None:
    """The live screen at the clip's last reading, drawn by `rsvg-convert` with a font of this machine's."""
    console = Console(record=True, width=columns, force_terminal=True, color_system="truecolor", file=StringIO())
    look = Look(unicode=True, colour=True)
    reading = parse_reading_line(line)
    standing = Standing(keys=True, told=reading.next, camera=Camera(per_s=30.0, dropped=0.0))
    console.print(screen(reading, bed, look, width=columns, height=rows, duration_s=14.0, standing=standing))
    svg = console.export_svg(code_format=SVG, font_aspect_ratio=0.602, unique_id="screen", title="")
    with tempfile.TemporaryDirectory() as folder:
        drawn, made = Path(folder) / "screen.svg", Path(folder) / "screen.png"
        drawn.write_text(svg, encoding="utf-8")
        subprocess.run(["rsvg-convert", "--output", str(made), str(drawn)], check=True)
        write_bytes(SAMPLES / "demo.screen.png", made.read_bytes())


def write_report(bed: Bed, watch: Watch, lines: list[str]) -> None:
    """The bed sheet of the clip, and its picture, drawn by a browser (`chromium`) at the width of a page."""
    assert watch.aim is not None
    readings = [parse_reading_line(line) for line in lines]
    steady = mean_of(readings)
    assert steady is not None
    *_, last = open_source(str(CLIP))
    setting = setting_of(
        steady, bed, name="Demo clip", saved=MADE, version=__version__, source=CLIP.name, aim=aim_json(watch.aim)
    )
    picture = flat_jpeg(last.coloured(), watch.aim, bed)
    sheet = Sheet(setting=setting, picture=picture, readings=readings, move=steady.last.next)
    page = SAMPLES / "demo.report.html"
    write_bytes(page, report_page(sheet, bed, made=MADE, version=__version__).encode())
    with tempfile.TemporaryDirectory() as folder:
        shot = Path(folder) / "report.png"
        line = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars"]
        line += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
        line += [f"--user-data-dir={folder}/user", "--window-size=900,1250", f"--screenshot={shot}", page.as_uri()]
        subprocess.run(line, check=True, capture_output=True)
        drawn = cv2.imread(str(shot))
        assert drawn is not None
        write_bytes(
            SAMPLES / "demo.report.jpg", encoded(np.asarray(drawn, np.uint8), ".jpg", [cv2.IMWRITE_JPEG_QUALITY, 85])
        )


def main(
    keep_clip: Annotated[bool, typer.Option("--keep-clip", help="Only what is read from the clip.")] = False,
) -> None:
    """Make the demo clip and what is read from it."""
    cv2.setNumThreads(1)
    bed = read_bed(BED_FILE)
    SAMPLES.mkdir(exist_ok=True)
    if not keep_clip:
        encode(BedSource(scene()), CLIP)
    watch, lines = follow_clip(bed)
    if watch.aim is None:
        raise SystemExit("the bed was not found in the demo clip")
    write_bytes(READINGS, ("\n".join(lines) + "\n").encode())
    write_aim(watch.aim, AIM_FILE)
    write_stills()
    write_check_picture(bed, watch.aim)
    write_screen(bed, lines[-1])
    write_report(bed, watch, lines)
    for path in sorted(SAMPLES.rglob("*.*")):
        print(f"{path.stat().st_size / 1e6:8.3f} MB  {path.relative_to(REPOSITORY)}")


if __name__ == "__main__":
    typer.run(main)
