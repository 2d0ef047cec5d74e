"""What is said to pictures that hold no bed: real ones, and benches full of round things."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from bedwatch.aim.finding.search import search
from bedwatch.aim.types import Aim
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim import rectangular_bed, round_bed
from bedwatch.sim.shop import empty_bench
from bedwatch.sim.source import BenchSource
from tests.benchmarks.aim_scenes import pictures_of
from tests.benchmarks.group import Group, Row

BENCHES, QUICK_BENCHES = 12, 2
ROUND = round_bed(420.0, (1, 6), surface_below_rim_mm=80.0)
SQUARE = rectangular_bed(400.0, 300.0, (2, 2), surface_below_rim_mm=60.0)
SAMPLES = Path("/usr/share/doc/opencv-doc/examples/data")  # Debian's package opencv-doc
SAMPLE_PICTURES = (
    "smarties.png", "ellipses.jpg", "orange.jpg", "detect_blob.png", "stuff.jpg", "home.jpg", "vtest.avi", "tree.avi"
)  # fmt: skip
SKIMAGE_PICTURES = (
    "coffee.png", "coins.png", "retina.jpg", "hubble_deep_field.jpg", "moon.png", "cell.png", "clock_motion.png",
    "motorcycle_left.png", "horse.png", "page.png", "rocket.jpg", "chessboard_RGB.png"
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NoBed:
    """One picture without a bed: what was taken for one, in words; empty when both beds were refused."""

    name: str
    taken: str
    cpu_s: float


def bare_jobs(base: int, quick: bool) -> Sequence[tuple[str, str]]:
    from skimage import data

    folder = Path(data.__file__).parent
    real = [("scikit-image", str(folder / name)) for name in SKIMAGE_PICTURES if (folder / name).is_file()]
    real += [("opencv-doc", str(SAMPLES / name)) for name in SAMPLE_PICTURES if (SAMPLES / name).is_file()]
    benches = [("bench", str(base + 2000 + k)) for k in range(QUICK_BENCHES if quick else BENCHES)]
    return [*(real[::5] if quick else real), *benches]


def run_bare(job: tuple[str, str]) -> NoBed:
    kind, name = job
    if kind == "bench":
        scene = empty_bench(int(name))
        shots, beds = pictures_of(BenchSource(scene)), [scene.bed]
    else:
        shots, beds = _real(Path(name)), [ROUND, SQUARE]
    cv2.setNumThreads(1)
    start = time.process_time()
    found = [(bed, search(shots, bed)[0]) for bed in beds]
    used = (time.process_time() - start) / len(beds)
    taken = ", ".join(f"a {bed.shape} bed ± {aim.error_mm or 0:.1f} mm" for bed, aim in found if isinstance(aim, Aim))
    return NoBed(name=f"{kind} {Path(name).name}", taken=taken, cpu_s=used)


def _real(path: Path) -> list[Picture]:
    """Pictures of a file: every tenth of a video's first hundred, or the one there is, no larger than 1920 across."""
    clip = cv2.VideoCapture(str(path)) if path.suffix == ".avi" else None
    shots: list[Picture] = []
    if clip is None:
        shots = [np.asarray(cv2.imread(str(path)), np.uint8)]
    while clip is not None and len(shots) < 100:
        done, picture = clip.read()
        if not done:
            break
        shots.append(np.asarray(picture, np.uint8))
    shots = shots[:: 10 if clip else 1]
    times = max(1.0, max(shots[0].shape) / 1920)
    size = (round(shots[0].shape[1] / times), round(shots[0].shape[0] / times))
    return [np.asarray(cv2.resize(one, size, interpolation=cv2.INTER_AREA), np.uint8) for one in shots]


def bare_rows(results: Sequence[NoBed]) -> list[Row]:
    taken = [one for one in results if one.taken]
    real = sum(not one.name.startswith("bench") for one in results)
    return [
        Row(
            figure=f"pictures without a bed refused, {real} of them real",
            asked="all",
            reached=f"{len(results) - len(taken)} of {len(results)}",
            met=not taken,
            note=f"real ones looked at for a round and a rectangular bed; CPU of a search median "
            f"{np.median([one.cpu_s for one in results]):.2f}, most {max(one.cpu_s for one in results):.2f} s",
            failures=tuple(f"{one.name}: taken for {one.taken}" for one in taken),
        )
    ]


def groups(base: int) -> tuple[Group, ...]:
    made = Group(
        name="aim-none", section="aim", jobs=partial(bare_jobs, base), run=run_bare, rows=bare_rows, words="no bed"
    )
    return (made,)
