"""`bedwatch disc` and `bedwatch check-speed`: is the speed true, by a disc that turns at a known rate."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

from bedwatch.aim.aimfile import read_aim
from bedwatch.aim.cards.disc import LARGEST_MM, SMALLEST_MM, disc_page
from bedwatch.aim.cards.printing import pdf, svg
from bedwatch.aim.types import NotFound
from bedwatch.bed import length_mm, read_bed
from bedwatch.cli import EXIT_NOT_FOUND
from bedwatch.commands.looked import LIVE_S
from bedwatch.commands.sheet import paper_of
from bedwatch.commands.turning_look import look_at_turning
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.judge.turning import SpeedCheck, check_speed, disc_bed
from bedwatch.show.jsonl import json_line

SLOWEST, FASTEST = 0.01, 500.0
_RATE_ERROR = 0.003  # a good record player is within 0.3 % (common practice, no source)


def run_disc(out: Path, diameter: str, paper: str) -> int:
    """Write the printable disc."""
    kind = out.suffix.lower()
    if kind not in (".pdf", ".svg"):
        raise UserError(f'--out: found "{out}", expected a name ending in .pdf or .svg')
    across = _length("--diameter", diameter)
    chosen = paper_of(paper)
    if not SMALLEST_MM <= across <= LARGEST_MM:
        raise UserError(
            f'--diameter: found "{diameter}", expected {SMALLEST_MM:g} to {LARGEST_MM:g} mm, which fits the paper'
        )
    check_places({"--out": out})
    page = disc_page(across, chosen)
    write_bytes(out, pdf([page]) if kind == ".pdf" else svg(page))
    print(f"Written: {out}. Print it at actual size, cut it out, let it turn, film it from above, then:")
    print(f'bedwatch check-speed SOURCE --rpm 3 --diameter "{across:g} mm"   (the rate at which it turns)')
    return 0


def run_check_speed(
    source: str,
    turns_per_min: float,
    diameter: str | None,
    bed_file: Path | None,
    aim_file: Path | None,
    *,
    seconds: float | None,
    rate: float | None,
    as_json: bool,
) -> int:
    """Look, and tell by how much the speed is off. 1 when the disc was not found."""
    if not SLOWEST <= abs(turns_per_min) <= FASTEST:
        raise UserError(f"--rpm: found {turns_per_min:g}, expected turns a minute from {SLOWEST:g} to {FASTEST:g}")
    if (diameter is None) == (bed_file is None):
        raise UserError("found neither or both of --diameter and --bed, expected one: how large what turns is")
    if diameter is not None:
        across = _length("--diameter", diameter)
        if not 20 <= across <= 3000:
            raise UserError(f'--diameter: found "{diameter}", expected 20 mm to 3 m')
        disc = disc_bed(across)
    else:
        assert bed_file is not None
        bed = read_bed(bed_file)
        if bed.shape != "round":
            raise UserError(f"{bed_file}: found a {bed.shape} bed, expected a round one that something turns in")
        disc = replace(disc_bed(bed.width_mm, bed.surface_below_rim_mm), name=bed.name)
    if seconds is not None and not 8 <= seconds <= 600:
        raise UserError(f"--seconds: found {seconds:g}, expected a number from 8 to 600")
    aim = None if aim_file is None else read_aim(aim_file, disc)
    turned = look_at_turning(source, disc, aim, LIVE_S if seconds is None else seconds, rate)
    if isinstance(turned, NotFound):
        print(f"bedwatch: the disc was not found: {turned.reason}. {turned.advice.removesuffix('.')}.", file=sys.stderr)
        return EXIT_NOT_FOUND
    found = check_speed(
        turned.speeds_mm_s, disc, turns_per_min, frames_per_s=turned.frames_per_s, rate_error=_RATE_ERROR
    )
    if as_json:
        print(json_line(_json(found)))
        return 0
    for line in _words(found):
        print(line)
    return 0


def _words(found: SpeedCheck) -> list[str]:
    lines = ["ring from the middle   true mm/s   read mm/s"]
    for ring in found.rings:
        read = "can't tell" if ring.read_mm_s is None else f"{ring.read_mm_s:.1f} ± {ring.error_mm_s or math.nan:.1f}"
        out = "" if ring.counted else "   over range, not counted"
        lines.append(f"{ring.inner_mm:6.0f} to {ring.outer_mm:3.0f} mm     {ring.true_mm_s:9.1f}   {read}{out}")
    if not math.isfinite(found.off):
        lines.append("Nothing in range: turn it more slowly, or film more pictures a second.")
        return lines
    way = "high" if found.off > 0 else "low"
    lines.append(f"Speed reads {100 * abs(found.off):.1f} ± {100 * found.error:.1f} % {way}.")
    lines.append(
        "That is within twice its error: nothing is wrong with it."
        if found.within
        else "That is more than twice its error: check diameter and rate; is the disc flat, sharp and lit evenly? Else tell us."
    )
    return lines


def _json(found: SpeedCheck) -> dict[str, object]:
    def known(value: float | None, places: int) -> float | None:
        return None if value is None or not math.isfinite(value) else round(value, places)

    return {
        "off": known(found.off, 4),
        "error": known(found.error, 4),
        "within": found.within if math.isfinite(found.off) else None,
        "rings": [
            {
                "inner_mm": round(ring.inner_mm, 2),
                "outer_mm": round(ring.outer_mm, 2),
                "true_mm_s": round(ring.true_mm_s, 3),
                "speed_mm_s": known(ring.read_mm_s, 3),
                "speed_error_mm_s": known(ring.error_mm_s, 3),
                "counted": ring.counted,
            }
            for ring in found.rings
        ],
    }


def _length(option: str, text: str) -> float:
    try:
        return length_mm(text)
    except ValueError as error:
        raise UserError(f"{option}: {error}") from None
