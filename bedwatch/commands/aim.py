"""`bedwatch aim`: find the bed, check the camera, write down where the bed is."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from bedwatch.aim.aimfile import aim_json, write_aim
from bedwatch.aim.draw import check_picture, small_picture
from bedwatch.aim.finding.search import search
from bedwatch.aim.health.noise import Noise
from bedwatch.aim.health.rest import Rest
from bedwatch.aim.types import Aim, NotFound
from bedwatch.aim.ways_out import with_ways_out
from bedwatch.bed import Bed, read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.commands.by_hand import Hand, command_line, write_page
from bedwatch.commands.by_marks import Cards
from bedwatch.commands.looks import air_off_look, first_look, noise_json, noise_words, rest_json, rest_words
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Picture
from bedwatch.frames.open import live_name, open_source
from bedwatch.show.jsonl import json_line
from bedwatch.show.thumbnail import print_thumbnail, thumbnail_columns

ENDINGS = (".png", ".jpg", ".jpeg")
AIR_OFF = "Air off during this look: shut it, wait until the surface lies still, keep hands away for 5 s."


def run_aim(
    source: str,
    bed_file: Path,
    out: Path,
    picture: Path | None,
    *,
    as_json: bool,
    pictures_per_s: float | None,
    cards: Cards | None = None,
    hand: Hand | None = None,
    page: bool = False,
    air_off: bool = False,
) -> int:
    """Exit status 0, or 1 when the bed was not found: no aim file then, and a check picture only if one was asked for.

    page: write a page to name places on, instead of looking for the bed. air_off: look once more, with the air off.
    """
    if page and air_off:
        raise UserError("found --by-hand and --air-off, expected only one of them: give --air-off with the places")
    bed = read_bed(bed_file)
    hand = hand or Hand()
    drawn = picture or out.with_suffix(".check.png")
    if drawn.suffix.lower() not in ENDINGS:
        raise UserError(f'--picture: found "{drawn}", expected a name ending in .png or .jpg')
    check_places({"--out": out, "--picture": drawn}, keep={"the bed file": bed_file, "the source": Path(source)})
    if not as_json and (live := live_name(source)):
        print(f"bedwatch: opening {live}", file=sys.stderr, flush=True)
    with closing(open_source(source, pictures_per_s)) as frames:
        stream = iter(frames)
        look = first_look(stream)
        if page:
            words = command_line(source, bed_file, out, picture, pictures_per_s, hand)
            write_page(look.pictures[-1], bed, hand, words, out.with_suffix(".by-hand.html"))
            return 0
        found, candidate = _found(look.pictures, bed, cards, hand)
        found = look.told(found, bed)
        if found or picture is not None:
            _, content = cv2.imencode(drawn.suffix, check_picture(look.pictures[-1], bed, found, candidate))
            write_bytes(drawn, content.tobytes())
        if found:
            write_aim(found, out)
        rest = _at_rest(stream, found, bed) if air_off and found else None
    noise = look.noise(found, bed)
    if as_json:
        print(json_line({**aim_json(found), "noise": noise_json(noise), "rest": rest_json(rest)}), flush=True)
    if found and not as_json and (columns := thumbnail_columns(sys.stdout, os.environ)):
        print_thumbnail(*small_picture(look.pictures[-1], bed, found, columns), sys.stdout)
    for line in _words(found, out, drawn if found or picture is not None else None, noise, rest):
        print(line, file=sys.stderr if as_json else sys.stdout)
    for note in frames.notes:
        print(f"bedwatch: {note}", file=sys.stderr)
    return 0 if found else EXIT_NOT_FOUND


def _at_rest(stream: Iterator[Frame], found: Aim, bed: Bed) -> Rest | None:
    """What the look with the air off told; the aim stands without it."""
    print(AIR_OFF, file=sys.stderr, flush=True)
    rest = air_off_look(stream, found, bed)
    if rest:
        return rest
    print(f"bedwatch: --air-off: {rest.reason}. {rest.advice.removesuffix('.')}.", file=sys.stderr, flush=True)
    return None


def _found(pictures: Sequence[Picture], bed: Bed, cards: Cards | None, hand: Hand) -> tuple[Aim | NotFound, Aim | None]:
    """By what the user gave to find it with, or by itself; and with a refusal the best candidate."""
    found: Aim | NotFound
    candidate = None
    if cards:
        found = cards.find(pictures, bed)
    elif hand.points.outlined:
        found = hand.find(pictures, bed)
    else:
        found, candidate = search(pictures, bed)
    return (hand.laid(found, bed) if found else with_ways_out(found, by_cards=cards is not None)), candidate


def _words(found: Aim | NotFound, out: Path, drawn: Path | None, noise: Noise | None, rest: Rest | None) -> list[str]:
    if found:
        error = "" if found.error_mm is None else f", places good to ± {found.error_mm:.1f} mm"
        lines = [f"Bed found: {found.mm_per_px:.2f} mm per pixel at its centre{error}. Written to {out}."]
    else:
        lines = [f"Bed not found: {found.reason}. {found.advice}"]
    lines += [f"{p.kind}: {p.advice}" for p in found.problems if p.kind != "bed_not_found"]
    if noise:
        lines.append(noise_words(noise))
    if rest:
        lines.append(rest_words(rest))
    seen = f"Look at {drawn} to see what was found." if drawn else "Give --picture NAME.png to see what was looked at."
    return [*lines, seen]
