"""What aiming costs on three seconds of video: the search alone on pictures already decoded, and the whole command."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from statistics import median

from bedwatch.aim.finding.search import search
from bedwatch.frames.cv import cv2
from bedwatch.sim import BedSource, demo_scene, write_clip
from bedwatch.sim.shop import shop
from tests.benchmarks.aim_scenes import pictures_of
from tests.benchmarks.cost import BED, WATCH, child
from tests.benchmarks.group import Group, Row

QUIET = "import os, sys; sys.stderr = open(os.devnull, 'w')\n" + WATCH
START = "import sys; from bedwatch.cli import main; import bedwatch.commands.aim"
SIZES = {"720p": ((1280, 720), 2.0), "1080p": ((1920, 1080), 4.0)}
SHOPS = 3
LOOK_S, PICTURES = 3.0, 12  # what the command looks at
CLIP_S, FPS = 3.2, 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AimCost:
    """CPU time in seconds. search_s: one per shop. command_s: whole `bedwatch aim`; start_s: starting up and no more."""

    name: str
    search_s: tuple[float, ...]
    command_s: float
    start_s: float


def jobs(base: int, quick: bool) -> Sequence[tuple[int, str, bool]]:
    return [(base + 5000, name, quick) for name in (("720p",) if quick else SIZES)]


def run(job: tuple[int, str, bool]) -> AimCost:
    base, name, quick = job
    size, _ = SIZES[name]
    cv2.setNumThreads(1)
    used = []
    for number in range(1 if quick else SHOPS):
        made = shop(base + number, size_px=size)
        shots = pictures_of(BedSource(replace(made.scene, duration_s=LOOK_S, fps=PICTURES / LOOK_S)))
        start = time.process_time()
        search(shots, made.bed)
        used.append(time.process_time() - start)
    with tempfile.TemporaryDirectory() as folder:
        source = BedSource(demo_scene(size_px=size, fps=FPS, duration_s=CLIP_S))
        clip = write_clip(source, Path(folder) / "clip.avi", codec="mjpeg", quality=90)
        runs = [_command(clip, Path(folder)) for _ in range(1 if quick else 2)]
    nothing = child(START)
    return AimCost(name=name, search_s=tuple(used), command_s=median(runs), start_s=nothing.cpu_s)


def _command(clip: Path, folder: Path) -> float:
    out = folder / "aim.toml"
    return child(QUIET, "aim", str(clip), "--bed", str(BED), "--out", str(out), "--json").cpu_s


def rows(results: Sequence[AimCost]) -> list[Row]:
    made = []
    for cost in results:
        _, most = SIZES[cost.name]
        made.append(
            Row(
                figure=f"CPU to aim on {LOOK_S:.0f} s of {cost.name}",
                asked=f"≤ {most:.0f} s",
                reached=f"search {median(cost.search_s):.2f} (most {max(cost.search_s):.2f}) s, command {cost.command_s:.2f} s",
                met=max(cost.search_s) <= most and cost.command_s <= most,
                note=f"search: {PICTURES} decoded pictures of each of {len(cost.search_s)} shops; command: the whole of "
                f"`bedwatch aim` on MJPEG at {FPS:.0f} frames/s, of which starting up {cost.start_s:.2f} s",
            )
        )
    return made


def groups(base: int) -> tuple[Group, ...]:
    made = Group(
        name="aim-cost", section="aim", jobs=partial(jobs, base), run=run, rows=rows, words="cost of aiming", alone=True
    )
    return (made,)
