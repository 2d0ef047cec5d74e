"""`bedwatch air`: how much air a bed needs, whether the supply gives it, and where to drill."""

from __future__ import annotations

import sys
from pathlib import Path

from bedwatch.air import plan_air, read_air
from bedwatch.air.layout import MOST_HOLES
from bedwatch.bed import read_bed
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.show.air_json import air_json_line
from bedwatch.show.air_text import print_air
from bedwatch.show.plate_svg import plate_svg


def run_air(bed_file: Path, drawing: Path | None, *, as_json: bool) -> int:
    """Prints the plan and writes the drawing, if one is asked for. Exit status 0, also when the supply is too small."""
    bed = read_bed(bed_file)
    plan = plan_air(bed, read_air(bed_file, bed))
    if drawing is not None:
        if drawing.suffix.lower() != ".svg":
            raise UserError(f'--drawing: found "{drawing}", expected a name ending in .svg')
        check_places({"--drawing": drawing}, {"--bed": bed_file})
        if plan.drill is None:
            raise UserError(
                f"--drawing: found {plan.plate.holes} holes, expected at most {MOST_HOLES}; "
                "give larger holes, or a membrane over fewer"
            )
        write_bytes(drawing, plate_svg(bed, plan.drill).encode())
    if as_json:
        print(air_json_line(plan))
    else:
        print_air(plan, sys.stdout)
    if drawing is not None:
        print(f"bedwatch: drawing written: {drawing}", file=sys.stderr)
    return 0
