"""`bedwatch make-believe`: a clip of a pretended bed, so that everything can be tried without one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bedwatch.errors import UserError
from bedwatch.files import write_bytes
from bedwatch.sim.clip import write_clip
from bedwatch.sim.demo import demo_scene
from bedwatch.sim.source import BedSource

BED_TEXT = """\
[bed]
name = "Gate-latch bed"
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"

[zones]
rings = [1, 6]
"""


def run_make_believe(out: Path, air: str, seconds: float, seed: int) -> int:
    """Write the clip and, beside it, its bed file and what was really there."""
    scene = demo_scene(duration_s=seconds, seed=seed)
    scene = replace(scene, air=_multiples(air, len(scene.air)))
    bed_file = out.with_suffix(".bed.toml")
    write_clip(BedSource(scene), out, codec="mjpeg", truth=True)
    write_bytes(bed_file, BED_TEXT.encode())
    print(f"Written: {out}, {bed_file}. Try: bedwatch watch {out} --bed {bed_file}")
    return 0


def _multiples(text: str, count: int) -> tuple[float, ...]:
    try:
        air = tuple(float(part) for part in text.split(","))
    except ValueError:
        air = ()
    if len(air) != count or not all(0 <= one <= 12 for one in air):
        raise UserError(
            f'--air: found "{text}", expected {count} numbers from 0 to 12, such as 1.9,2.0,0.8,1.8,1.9,5.6,2.0'
        )
    return air
