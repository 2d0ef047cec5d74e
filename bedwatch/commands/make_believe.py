"""`bedwatch make-believe`: a clip of a pretended bed, so that everything can be tried without one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.progress import Progress

from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.frame import Frame
from bedwatch.sim.clip import write_clip
from bedwatch.sim.demo import demo_scene
from bedwatch.sim.scene import Scene
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
    if out.suffix.lower() != ".avi":
        raise UserError(f'--out: found "{out}", expected a name ending in .avi')
    bed_file = out.with_suffix(".bed.toml")
    check_places({"--out": out, "the bed file": bed_file})
    console = Console(stderr=True)
    with Progress(console=console, disable=not console.is_terminal, transient=True) as progress:
        write_clip(_ShownSource(scene, progress), out, codec="mjpeg", truth=True)
    write_bytes(bed_file, BED_TEXT.encode())
    print(f"Written: {out}, {bed_file}. Try: bedwatch watch {out} --bed {bed_file}")
    return 0


class _ShownSource(BedSource):
    """The pretended bed, with a bar that says how much of it is made."""

    def __init__(self, scene: Scene, progress: Progress) -> None:
        super().__init__(scene)
        self._progress = progress

    def __iter__(self) -> Iterator[Frame]:
        return iter(
            self._progress.track(super().__iter__(), total=self.scene.duration_s * self.fps, description="Making")
        )


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
