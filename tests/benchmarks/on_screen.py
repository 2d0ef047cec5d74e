"""The screen in real time: the command on a pseudo-terminal, watching 720p at 30/s over loopback; keys, CPU, and lag."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from bedwatch.aim.aimfile import write_aim
from bedwatch.bed import read_bed
from bedwatch.frames.cv import cv2
from bedwatch.sim import BedSource, demo_scene
from tests.benchmarks.cost import BED, REPOSITORY
from tests.benchmarks.group import JPEG_QUALITY, Group, Row, true_aim
from tests.frame_server import FrameServer
from tests.terminal import Terminal

FPS, SIZE_PX = 30.0, (1280, 720)
COLUMNS, ROWS = 120, 40
KEYS, KEY_MS = 60, 100.0
CPU_SHARE = 0.4
UNTIL_READING_S = 30.0
# The sound key changes one word of the key bar and nothing else, there and back.
KEY, ANSWERS = "o", ("sound on", "sound off")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sat:
    """One sitting. answered_ms: from key to picture; cpu: share of one core, with the screen and as --json."""

    answered_ms: tuple[float, ...]
    cpu_screen: float
    cpu_json: float
    bytes_per_s: float


def jobs(quick: bool) -> Sequence[int]:
    return [12 if quick else KEYS]


def run(keys: int) -> Sat:
    scene = BedSource(demo_scene(size_px=SIZE_PX, fps=FPS, duration_s=8.0))
    pictures = [cv2.imencode(".jpg", f.picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes() for f in scene]
    with tempfile.TemporaryDirectory() as folder:
        aim = Path(folder) / "latch.aim.toml"
        write_aim(true_aim(scene, read_bed(BED)), aim)
        with FrameServer(pictures, FPS) as server:
            words = ["watch", server.url, "--bed", str(BED), "--aim", str(aim)]
            answered, cpu, rate = _sit(words, keys)
            return Sat(answered_ms=answered, cpu_screen=cpu, cpu_json=_json(words), bytes_per_s=rate)


def _sit(words: list[str], keys: int) -> tuple[tuple[float, ...], float, float]:
    rng, answered = random.Random(1), []
    command = [sys.executable, "-m", "bedwatch", *words]
    with Terminal(command, columns=COLUMNS, rows=ROWS, cwd=REPOSITORY) as terminal:
        terminal.until(" reading ", UNTIL_READING_S)
        start_s, start_cpu, before = time.monotonic(), _cpu_s(terminal.process.pid), len(terminal.seen)
        for number in range(keys):
            terminal.until(None, rng.uniform(0.3, 1.2))
            pressed_s = time.monotonic()
            terminal.press(KEY)
            terminal.until(ANSWERS[number % 2], 5.0)
            answered.append(1000.0 * (time.monotonic() - pressed_s))
        took_s = time.monotonic() - start_s
        cpu = (_cpu_s(terminal.process.pid) - start_cpu) / took_s
        terminal.press("q")
        terminal.end()
    return tuple(answered), cpu, (len(terminal.seen) - before) / took_s


def _json(words: list[str]) -> float:
    child = subprocess.Popen(
        [sys.executable, "-m", "bedwatch", *words, "--json"], stdout=subprocess.PIPE, cwd=REPOSITORY
    )
    assert child.stdout is not None
    for line in child.stdout:
        if b'"state":"reading"' in line or b'"state": "reading"' in line:
            break
    start_s, start_cpu = time.monotonic(), _cpu_s(child.pid)
    while time.monotonic() - start_s < 20.0:
        child.stdout.readline()
    cpu = (_cpu_s(child.pid) - start_cpu) / (time.monotonic() - start_s)
    child.terminate()
    child.stdout.close()
    child.wait(10)
    return cpu


def _cpu_s(pid: int) -> float:
    """User and system time of all threads of a process, from /proc."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rows(results: Sequence[Sat]) -> list[Row]:
    sat = results[0]
    slowest = max(sat.answered_ms)
    late = [ms for ms in sat.answered_ms if ms > KEY_MS]
    return [
        Row(
            figure=f"screen: a key answered, {len(sat.answered_ms)} keys while 720p30 is analysed",
            asked=f"≤ {KEY_MS:g} ms",
            reached=f"slowest {slowest:.0f} ms",
            met=not late,
            note=f"median {median(sat.answered_ms):.0f} ms, {len(late)} later than {KEY_MS:g} ms; from the key to the picture",
        ),
        Row(
            figure="screen: CPU at 720p30 over loopback",
            asked=f"≤ {CPU_SHARE:.0%} of one core",
            reached=f"{sat.cpu_screen:.0%}",
            met=sat.cpu_screen <= CPU_SHARE,
            note=f"as --json {sat.cpu_json:.0%}; {sat.bytes_per_s / 1000:.1f} kB/s to the terminal of {COLUMNS} x {ROWS}",
        ),
    ]


SCREEN = Group(name="screen", jobs=jobs, run=run, rows=rows, alone=True, words="the screen in real time")
