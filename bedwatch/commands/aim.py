"""`bedwatch aim`: find the bed, check the camera, write down where the bed is."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from bedwatch.aim.aimfile import aim_json, write_aim
from bedwatch.aim.camera import CameraCheck
from bedwatch.aim.draw import check_picture
from bedwatch.aim.search import find_bed
from bedwatch.aim.types import Aim, NotFound, Problem
from bedwatch.bed import read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture, Source
from bedwatch.frames.open import live_name, open_source
from bedwatch.show import json_line

LOOK_S = 3.0
PICTURES = 12
ENDINGS = (".png", ".jpg", ".jpeg")


def run_aim(
    source: str, bed_file: Path, out: Path, picture: Path | None, *, as_json: bool, pictures_per_s: float | None
) -> int:
    """Exit status 0, or 1 when the bed was not found: no aim file then, and a check picture only if one was asked for."""
    bed = read_bed(bed_file)
    drawn = picture or out.with_suffix(".check.png")
    if drawn.suffix.lower() not in ENDINGS:
        raise UserError(f'--picture: found "{drawn}", expected a name ending in .png or .jpg')
    check_places({"--out": out, "--picture": drawn}, keep={"the bed file": bed_file, "the source": Path(source)})
    if not as_json and (live := live_name(source)):
        print(f"bedwatch: opening {live}", file=sys.stderr, flush=True)
    frames = open_source(source, pictures_per_s)
    try:
        pictures, problems = _look(frames)
    finally:
        frames.close()
    found = _with_problems(find_bed(pictures, bed), problems)
    if found or picture is not None:
        _, content = cv2.imencode(drawn.suffix, check_picture(pictures[-1], bed, found))
        write_bytes(drawn, content.tobytes())
    if found:
        write_aim(found, out)
    if as_json:
        print(json_line(aim_json(found)), flush=True)
    for line in _words(found, out, drawn if found or picture is not None else None):
        print(line, file=sys.stderr if as_json else sys.stdout)
    for note in frames.notes:
        print(f"bedwatch: {note}", file=sys.stderr)
    return 0 if found else EXIT_NOT_FOUND


def _look(frames: Source) -> tuple[list[Picture], tuple[Problem, ...]]:
    """Pictures spread over the first seconds, and what ails the camera."""
    check, due_s = CameraCheck(), 0.0
    pictures: list[Picture] = []
    for frame in frames:
        check.add(frame)
        if frame.time_s >= due_s and len(pictures) < PICTURES:
            pictures.append(frame.picture)
            due_s = frame.time_s + LOOK_S / PICTURES
        if frame.time_s > LOOK_S:
            break
    return pictures, check.problems()


def _with_problems(found: Aim | NotFound, problems: tuple[Problem, ...]) -> Aim | NotFound:
    seen = {problem.kind for problem in found.problems}
    return replace(found, problems=found.problems + tuple(p for p in problems if p.kind not in seen))


def _words(found: Aim | NotFound, out: Path, drawn: Path | None) -> list[str]:
    if found:
        error = "" if found.error_mm is None else f", places good to ± {found.error_mm:.1f} mm"
        lines = [f"Bed found: {found.mm_per_px:.2f} mm per pixel at its centre{error}. Written to {out}."]
    else:
        lines = [f"Bed not found: {found.reason}. {found.advice}"]
    lines += [f"{p.kind}: {p.advice}" for p in found.problems if p.kind != "bed_not_found"]
    seen = f"Look at {drawn} to see what was found." if drawn else "Give --picture NAME.png to see what was looked at."
    return [*lines, seen]
