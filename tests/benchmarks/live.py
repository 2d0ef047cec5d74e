"""Live sources in real time: the command on a frame server that stalls, dies, falls silent, sends junk and starts anew."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from bedwatch.aim.aimfile import write_aim
from bedwatch.bed import read_bed
from bedwatch.frames.cv import cv2
from bedwatch.keep.read import read_log
from bedwatch.sim import BedSource, demo_scene
from tests.benchmarks.cost import BED, REPOSITORY
from tests.benchmarks.group import JPEG_QUALITY, Group, Row, true_aim
from tests.frame_server import FrameServer, Mode, RtspServer

FPS = 15.0
SIZE_PX = (320, 240)
EACH = 10
# How long a disturbance lasts, and the picture after it, from which a reading must come.
LASTS_S = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
LONGEST_S = 30.0  # the last one of each kind
AFTER_S = 11.0
LOST_AFTER_S = 34.0
# Memory that a run may gain between its first reading and its end: what libraries keep of a dozen connections.
GROWS_MB = 25.0
# From the end of a disturbance to the first reading that is not `no_picture`: a connection takes up to 7 s when a silent
# server's last one has just begun (2 s to read, 5 s to open), and readings come 0.8 s apart.
PICKED_UP_S = 8.0
# A line is out so long after its time, at most, on a machine with other work.
LATE_S = 0.7
START_S = 2.0  # between the starts of two commands: starting is the heaviest part
KINDS = {
    "stall": (FrameServer, (Mode.STALL,)),
    "die and restart": (FrameServer, (Mode.DEAD,)),
    "fall silent": (FrameServer, (Mode.SILENT,)),
    "junk, garbage": (FrameServer, (Mode.JUNK, Mode.GARBAGE, Mode.MISSING)),
    "rtsp, any": (RtspServer, (Mode.STALL, Mode.DEAD, Mode.SILENT, Mode.JUNK)),
}
DARK = {Mode.STALL, Mode.DEAD, Mode.SILENT, Mode.MISSING}


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """One disturbance: what, how long, and what the command said. Seconds; None: never."""

    mode: str
    lasts_s: float
    said_s: float | None  # from its start to the first `no_picture`
    back_s: float | None  # from its end to the first reading of pictures
    reading_s: float | None  # from there to the first with figures and hints
    states: str  # until then or the next disturbance, in order, with their problems


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One run of the command."""

    kind: str
    breaks: tuple[Break, ...]
    widest_s: tuple[float, float]  # longest time without a reading: from, to
    status: int
    last_state: str
    alien: tuple[str, ...]  # lines on standard error that are not ours
    said: int  # lines on standard output
    logged: int  # readings in the log
    damage: tuple[str, ...]  # of the log
    memory_mb: tuple[float, ...]  # at the first reading and after every disturbance


@dataclass(slots=True)
class _Heard:
    lines: list[tuple[float, dict[str, Any]]] = field(default_factory=list)

    def listen(self, stream: Any) -> None:
        for line in stream:
            self.lines.append((time.monotonic(), json.loads(line)))

    def first(self, since_s: float, until_s: float, states: set[str]) -> float | None:
        return next((at for at, one in self.lines if since_s <= at < until_s and one["state"] in states), None)


def jobs(quick: bool) -> Sequence[tuple[int, int]]:
    return [(2 if quick else EACH, 1)]


def run(job: tuple[int, int]) -> list[Told]:
    """All kinds beside each other, each with a server and a command of its own."""
    each, seed = job
    scene = BedSource(demo_scene(size_px=SIZE_PX, fps=FPS, duration_s=12.0))
    pictures = [cv2.imencode(".jpg", f.picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes() for f in scene]
    told: list[Told] = []
    with tempfile.TemporaryDirectory() as folder:
        aim = Path(folder) / "latch.aim.toml"
        write_aim(true_aim(scene, read_bed(BED)), aim)
        threads = [
            threading.Thread(target=lambda kind=kind: told.append(_follow(kind, pictures, aim, each, seed)))
            for kind in KINDS
        ]
        for thread in threads:
            thread.start()
            time.sleep(START_S)
        for thread in threads:
            thread.join()
    return told


def _follow(kind: str, pictures: list[bytes], aim: Path, each: int, seed: int) -> Told:
    make, modes = KINDS[kind]
    rng = random.Random(f"{kind} {seed}")
    plan = [
        (modes[number % len(modes)], LONGEST_S if number == each - 1 else rng.choice(LASTS_S)) for number in range(each)
    ]
    log = aim.with_name(f"{kind}.log.jsonl")
    memory_mb: list[float] = []
    times: list[tuple[float, float, float]] = []
    heard = _Heard()
    with make(pictures, FPS) as server:
        words = [
            "watch",
            server.url,
            "--bed",
            str(BED),
            "--aim",
            str(aim),
            "--json",
            "--log",
            str(log),
            "--lost-after",
            f"{LOST_AFTER_S:g}",
        ]
        child = subprocess.Popen(
            [sys.executable, "-m", "bedwatch", *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=REPOSITORY,
        )
        assert child.stderr is not None
        errors: list[str] = []
        ears = [
            threading.Thread(target=heard.listen, args=(child.stdout,)),
            threading.Thread(target=errors.extend, args=(child.stderr,)),
        ]
        for ear in ears:
            ear.start()
        _until_reading(heard, child)
        memory_mb.append(_memory_mb(child.pid))
        for mode, lasts_s in plan:
            start_s = time.monotonic()
            server.mode = mode
            time.sleep(lasts_s)
            server.mode, end_s = Mode.RUN, time.monotonic()
            time.sleep(AFTER_S)
            times.append((start_s, end_s, time.monotonic()))
            memory_mb.append(_memory_mb(child.pid))
        server.mode = Mode.DEAD
        try:
            status = child.wait(LOST_AFTER_S + 15)
        except subprocess.TimeoutExpired:
            child.kill()
            status = -9
        for ear in ears:
            ear.join(5)
    book = read_log(log, read_bed(BED))
    at_s = [0.0, *(one["time_s"] for _, one in heard.lines)]
    return Told(
        kind=kind,
        breaks=tuple(_break(heard, mode, *when) for (mode, _), when in zip(plan, times, strict=True)),
        widest_s=max(pairwise(at_s), key=lambda pair: pair[1] - pair[0], default=(0.0, 0.0)),
        status=status,
        last_state=heard.lines[-1][1]["state"] if heard.lines else "",
        alien=tuple(line.rstrip() for line in errors if not line.startswith("bedwatch: ")),
        said=len(heard.lines),
        logged=len(book.entries),
        damage=book.notes,
        memory_mb=tuple(memory_mb),
    )


def _memory_mb(process: int) -> float:
    """Resident memory of a process, from /proc; NaN when it has ended."""
    try:
        lines = Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return float("nan")
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS")), float("nan"))


def _until_reading(heard: _Heard, child: subprocess.Popen[str]) -> None:
    end_s = time.monotonic() + 40
    while child.poll() is None and time.monotonic() < end_s:
        if any(one["state"] == "reading" for _, one in list(heard.lines)):
            return
        time.sleep(0.2)


def _break(heard: _Heard, mode: Mode, start_s: float, end_s: float, over_s: float) -> Break:
    said_s = heard.first(start_s, end_s + LATE_S, {"no_picture"})
    # What was under way when the pictures came again may still tell of their absence, and the other way round.
    back_s = heard.first(end_s, over_s, {"settling", "reading", "blocked"})
    reading_s = heard.first(end_s, over_s, {"reading"})
    return Break(
        mode=mode.value,
        lasts_s=end_s - start_s,
        said_s=None if said_s is None else said_s - start_s,
        back_s=None if back_s is None else back_s - end_s,
        reading_s=None if reading_s is None else reading_s - end_s,
        states=" ".join(
            one["state"] + "".join(f"+{problem['problem']}" for problem in one["problems"])
            for at, one in heard.lines
            if end_s <= at <= (reading_s or over_s)
        ),
    )


def rows(results: Sequence[list[Told]]) -> list[Row]:
    told = [one for result in results for one in result]
    breaks = [(one.kind, each) for one in told for each in one.breaks]
    back = [each for _, each in breaks if each.back_s is not None and each.back_s <= PICKED_UP_S]
    dark = [each for _, each in breaks if each.mode in {mode.value for mode in DARK}]
    said = [each for each in dark if each.said_s is not None]
    again = [each for _, each in breaks if each.reading_s is not None]
    slowest = max((each.back_s for each in back if each.back_s is not None), default=float("nan"))
    latest = max((each.said_s for each in said if each.said_s is not None), default=float("nan"))
    ended = [one for one in told if one.status == 3 and one.last_state == "no_picture"]
    widest = max((one.widest_s for one in told), key=lambda pair: pair[1] - pair[0])
    widest_s = widest[1] - widest[0]
    return [
        Row(
            figure=f"live: picked up after {len(breaks)} disturbances",
            asked="every time",
            reached=f"{len(back)} of {len(breaks)}",
            met=len(back) == len(breaks),
            note=f"slowest {slowest:.1f} s after pictures came again; "
            "stalls, deaths, silence, junk over http, all of them over rtsp",
            failures=tuple(f"{kind}: {each}" for kind, each in breaks if each not in back),
        ),
        Row(
            figure=f"live: figures and hints again within {AFTER_S:g} s",
            asked="every time",
            reached=f"{len(again)} of {len(breaks)}",
            met=len(again) == len(breaks),
            note=f"median {median(each.reading_s or 0.0 for each in again):.1f} s after pictures came again"
            if again
            else "",
            failures=tuple(f"{kind}: {each}" for kind, each in breaks if each not in again),
        ),
        Row(
            figure="live: no_picture while nothing comes",
            asked="every time",
            reached=f"{len(said)} of {len(dark)}",
            met=len(said) == len(dark),
            note=f"at the latest {latest:.1f} s after the last picture",
            failures=tuple(f"{kind}: {each}" for kind, each in breaks if each in dark and each not in said),
        ),
        Row(
            figure="live: longest time between readings",
            asked="≤ 1 s",
            reached=f"{widest_s:.2f} s",
            met=widest_s <= 1.0,
            note=f"from {widest[0]:.1f} to {widest[1]:.1f} s of source time; {len(told)} commands ran beside each other",
        ),
        Row(
            figure="live: the log is whole",
            asked="every reading that was given out, no damage",
            reached=f"{sum(one.logged for one in told)} of {sum(one.said for one in told)} lines",
            met=all(one.logged == one.said and not one.damage for one in told),
            failures=tuple(f"{one.kind}: {one.logged} of {one.said} {one.damage[:2]}" for one in told if one.damage),
        ),
        Row(
            figure="live: memory",
            asked=f"grows by ≤ {GROWS_MB:g} MB from the first reading to the last disturbance's end",
            reached=f"{max(one.memory_mb[-1] - one.memory_mb[0] for one in told):.0f} MB",
            met=all(one.memory_mb[-1] - one.memory_mb[0] <= GROWS_MB for one in told),
            note="; ".join(f"{one.kind} {one.memory_mb[0]:.0f} to {one.memory_mb[-1]:.0f}" for one in told),
        ),
        Row(
            figure="live: lost for good",
            asked="a last no_picture, exit 3, only our own words",
            reached=f"{len(ended)} of {len(told)}",
            met=len(ended) == len(told) and not any(one.alien for one in told),
            failures=tuple(
                f"{one.kind}: {one.status} {one.last_state} {one.alien}"
                for one in told
                if one not in ended or one.alien
            ),
        ),
    ]


LIVE = Group(name="live", jobs=jobs, run=run, rows=rows, alone=True, words="live sources in real time")
