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
from bedwatch.files import write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture, Source
from bedwatch.frames.open import open_source
from bedwatch.show import json_line

LOOK_S = 3.0
PICTURES = 12


def run_aim(
    source: str, bed_file: Path, out: Path, picture: Path | None, *, as_json: bool, pictures_per_s: float | None
) -> int:
    """Exit status 0, or 1 when the bed was not found (no aim file then; the check picture shows the best guess)."""
    bed = read_bed(bed_file)
    frames = open_source(source, pictures_per_s)
    try:
        pictures, problems = _look(frames)
    finally:
        frames.close()
    found = find_bed(pictures, bed)
    found = _with_problems(found, problems)
    drawn = picture or out.with_suffix(".png")
    _write_picture(drawn, check_picture(pictures[-1], bed, found))
    if found:
        write_aim(found, out)
    if as_json:
        print(json_line(aim_json(found)), flush=True)
    for line in _words(found, out, drawn):
        print(line, file=sys.stderr if as_json else sys.stdout)
    for note in frames.notes:
        print(f"bedwatch: {note}", file=sys.stderr)
    return 0 if found else EXIT_NOT_FOUND


def _look(frames: Source) -> tuple[list[Picture], tuple[Problem, ...]]:
    """Pictures spread over the first seconds, and what ails the camera."""
    check, pictures, due_s = CameraCheck(), [], 0.0
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


def _write_picture(path: Path, picture: Picture) -> None:
    if path.suffix.lower() not in {".png", ".jpg", ".jpeg"}:
        raise UserError(f"{path}: found no kind of picture that can be written, expected a name ending in .png or .jpg")
    _, content = cv2.imencode(path.suffix, picture)
    write_bytes(path, content.tobytes())


def _words(found: Aim | NotFound, out: Path, drawn: Path) -> list[str]:
    if found:
        error = "" if found.error_mm is None else f", places good to ± {found.error_mm:.1f} mm"
        lines = [f"Bed found: {found.mm_per_px:.2f} mm per pixel at its centre{error}. Written to {out}."]
    else:
        lines = [f"Bed not found: {found.reason}", found.advice]
    lines += [f"{problem.kind}: {problem.advice}" for problem in found.problems]
    return [*lines, f"Look at {drawn} to see what was found."]
