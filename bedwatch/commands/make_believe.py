"""`bedwatch make-believe`: a clip of a pretended bed, so that everything can be tried without one."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.progress import Progress

from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.frame import Frame
from bedwatch.sim.clip import truth_file, write_clip
from bedwatch.sim.demo import demo_scene
from bedwatch.sim.scene import Scene
from bedwatch.sim.source import BedSource

LONGEST_S = 600
BED_TEXT = """\
[bed]
name = "Gate-latch bed"
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"

[zones]
rings = [1, 6]
"""


def run_make_believe(out: Path, air: str, seconds: float, seed: int, *, force: bool) -> int:
    """Write the clip and, beside it, its bed file and what was really there; over other files only by force."""
    if not 1 <= seconds <= LONGEST_S:
        raise UserError(f"--seconds: found {seconds:g}, expected a number from 1 to {LONGEST_S}")
    if seed < 0:
        raise UserError(f"--seed: found {seed}, expected 0, 1, 2 or more")
    scene = demo_scene(duration_s=seconds, seed=seed)
    scene = replace(scene, air=_multiples(air, len(scene.air)))
    if out.suffix.lower() != ".avi":
        raise UserError(f'--out: found "{out}", expected a name ending in .avi')
    bed_file = out.with_suffix(".bed.toml")
    check_places({"--out": out, "the bed file": bed_file})
    if not force:
        _refuse_to_replace(out, bed_file)
    console = Console(stderr=True)
    with Progress(console=console, disable=not console.is_terminal, transient=True) as progress:
        write_clip(_ShownSource(scene, progress), out, codec="mjpeg", truth=True)
    if not _is_ours(bed_file):
        write_bytes(bed_file, BED_TEXT.encode())
    print(f"Written: {out}, {bed_file} and {truth_file(out)} (what is really in the clip).")
    print(f"Try: {shlex.join([*_called(), 'watch', str(out), '--bed', str(bed_file)])}")
    return 0


def _is_ours(bed_file: Path) -> bool:
    return bed_file.is_file() and bed_file.read_bytes() == BED_TEXT.encode()


def _refuse_to_replace(out: Path, bed_file: Path) -> None:
    """Raises UserError when a file would be lost; a bed file with the same words in it is not."""
    there = [path for path in (out, bed_file, truth_file(out)) if path.exists()]
    there = [path for path in there if path != bed_file or not _is_ours(path)]
    if there:
        raise UserError(
            f"--out: found {' and '.join(map(str, there))} already there, expected a name that is free; "
            "choose another, or give --force to write over what is there"
        )


def _called() -> list[str]:
    """How this program was called, so that the same words call it again."""
    name = sys.argv[0]
    if Path(name).name == "__main__.py":
        return [sys.executable, "-m", "bedwatch"]
    known = shutil.which("bedwatch")
    on_path = known is not None and Path(known).resolve() == Path(name).resolve()
    return ["bedwatch"] if on_path or Path(name).stem != "bedwatch" else [name]


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
