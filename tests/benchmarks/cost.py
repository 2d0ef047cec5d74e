"""What it costs: the whole command as a child process, by the system's own account of it (CPU time, peak memory)."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from bedwatch.frames.cv import cv2
from bedwatch.sim import BedSource, demo_scene, write_clip
from tests.benchmarks.group import Group, Row

REPOSITORY = Path(__file__).resolve().parents[2]
BED = REPOSITORY / "calibration" / "gate_latch.bed.toml"
DEMO = REPOSITORY / "sample_frames" / "demo.mp4"
WATCH = "import sys; from bedwatch.cli import main; sys.argv[0] = 'bedwatch'; sys.exit(main())"
DECODE = "import cv2, sys\nclip = cv2.VideoCapture(sys.argv[1])\nwhile clip.read()[0]: pass"
# A child's peak memory counts what its parent held when it was started; a small process between them keeps ours out.
BETWEEN = """
import json, os, sys, time
start = time.perf_counter()
quiet = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
child = os.posix_spawn(sys.executable, [sys.executable, "-c", *sys.argv[1:]], os.environ, file_actions=quiet)
_, status, used = os.wait4(child, 0)
wall = time.perf_counter() - start
print(json.dumps([os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, wall, used.ru_maxrss]))
"""
FPS = 30.0
# The short one long enough for the bed to be found and all to be laid out, so that this is no cost of a frame.
LONG_S, SHORT_S = 11.0, 3.0
ASKED = {"720p MJPEG": 1.4, "720p H.264": 1.8, "1080p MJPEG": 1.3}
TIMES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """One child: CPU time of all its threads, wall time, most memory it held."""

    cpu_s: float
    wall_s: float
    memory_mb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """CPU time per frame, start-up taken out, one value per repetition."""

    kind: str
    watch_ms: tuple[float, ...]
    decode_ms: tuple[float, ...]


def child(code: str, *arguments: str) -> Used:
    """Run Python code as a child process to its end; raises RuntimeError when it fails."""
    told = subprocess.run(
        [sys.executable, "-c", BETWEEN, code, *arguments], stdout=subprocess.PIPE, cwd=REPOSITORY, check=True
    )
    status, cpu_s, wall_s, most = json.loads(told.stdout)
    if status:
        raise RuntimeError(f"{arguments}: exit status {status}")
    return Used(cpu_s=cpu_s, wall_s=wall_s, memory_mb=most / (1024**2 if sys.platform == "darwin" else 1024))


def watch_child(clip: Path) -> Used:
    return child(WATCH, "watch", str(clip), "--bed", str(BED), "--json")


def cost_jobs(quick: bool) -> Sequence[tuple[str, int]]:
    kinds = ["720p MJPEG", "1080p MJPEG"]
    try:
        import av  # noqa: F401

        kinds.insert(1, "720p H.264")
    except ImportError:
        pass
    return [(kind, 1 if quick else TIMES) for kind in kinds]


def run_cost(job: tuple[str, int]) -> Cost:
    """Watch and decode a long and a short clip in turn; the difference is what the frames cost."""
    kind, times = job
    with tempfile.TemporaryDirectory() as folder:
        clips = [_clip(kind, seconds, Path(folder)) for seconds in (LONG_S, SHORT_S)]
        frames = round((LONG_S - SHORT_S) * FPS)
        watch_ms, decode_ms = [], []
        for _ in range(times):
            used = [(watch_child(clip).cpu_s, child(DECODE, str(clip)).cpu_s) for clip in clips]
            watch_ms.append(1000 * (used[0][0] - used[1][0]) / frames)
            decode_ms.append(1000 * (used[0][1] - used[1][1]) / frames)
    return Cost(kind=kind, watch_ms=tuple(watch_ms), decode_ms=tuple(decode_ms))


def _clip(kind: str, seconds: float, folder: Path) -> Path:
    size_px = (1920, 1080) if kind.startswith("1080p") else (1280, 720)
    source = BedSource(demo_scene(size_px=size_px, fps=FPS, duration_s=seconds))
    if kind.endswith("MJPEG"):
        return write_clip(source, folder / f"clip_{seconds:g}.avi", codec="mjpeg", quality=90)
    from tests.benchmarks.make_samples import encode

    path = folder / f"clip_{seconds:g}.mp4"
    encode(source, path)
    return path


def cost_rows(results: Sequence[Cost]) -> list[Row]:
    made = []
    for cost in results:
        watch, decode = median(cost.watch_ms), median(cost.decode_ms)
        each = ", ".join(f"{a / b:.2f}" for a, b in zip(cost.watch_ms, cost.decode_ms, strict=True))
        made.append(
            Row(
                figure=f"cost of watch --json, {cost.kind}, ÷ decode-only",
                asked=f"≤ {ASKED[cost.kind]:g}",
                reached=f"{watch / decode:.2f}",
                met=watch / decode <= ASKED[cost.kind],
                note=f"CPU {watch:.2f} against {decode:.2f} ms a frame, start-up out, medians; each run {each}; "
                f"OpenCV {cv2.__version__}",
            )
        )
    return made


def demo_jobs(quick: bool) -> Sequence[int]:
    return [1 if quick else TIMES]


def run_demo(times: int) -> list[Used]:
    return [watch_child(DEMO) for _ in range(times)]


def demo_rows(results: Sequence[list[Used]]) -> list[Row]:
    clip = cv2.VideoCapture(str(DEMO))
    plays_s = clip.get(cv2.CAP_PROP_FRAME_COUNT) / clip.get(cv2.CAP_PROP_FPS)
    runs = results[0]
    wall, memory = median(one.wall_s for one in runs), max(one.memory_mb for one in runs)
    cpu = median(one.cpu_s for one in runs)
    return [
        Row(
            figure=f"whole process on the {plays_s:.0f} s demo clip",
            asked="≥ 5 × faster than it plays, ≤ 300 MB",
            reached=f"{plays_s / wall:.1f} ×, {memory:.0f} MB",
            met=plays_s / wall >= 5 and memory <= 300,
            note=f"wall {wall:.2f} s, CPU {cpu:.2f} s ({plays_s / cpu:.1f} × by CPU time), medians of {len(runs)}; "
            f"load average {os.getloadavg()[0]:.1f}: only a quiet machine tells",
        )
    ]


COST = Group(name="cost", jobs=cost_jobs, run=run_cost, rows=cost_rows, alone=True, words="cost of a frame")
DEMO_CLIP = Group(name="demo", jobs=demo_jobs, run=run_demo, rows=demo_rows, alone=True, words="demo clip")
