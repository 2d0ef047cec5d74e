"""What a stranger can hand us: damaged and absurd clips, pictures and files, each given to the command in a process of its own.

Every case must end by itself with a status the command promises, without a traceback or a signal; a mistake is told in a line;
what is printed as JSON is JSON, and nothing half-written is left.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from functools import lru_cache
from io import StringIO
from pathlib import Path

import numpy as np

from bedwatch.aim.aimfile import write_aim
from bedwatch.frames.cv import cv2
from bedwatch.sim import BedSource, demo_scene, write_clip
from tests.benchmarks.group import Group, Row, true_aim
from tests.benchmarks.spoil import BYTES, TEXT

REPOSITORY = Path(__file__).resolve().parents[2]
CALIBRATION = REPOSITORY / "calibration"
SAMPLES = REPOSITORY / "sample_frames"
HANGS_S = 120.0  # of wall time: no case needs a tenth of it on a busy machine
PER_JOB = 100
COUNTS = {"bed": 2200, "aim": 2200, "log": 2000, "setting": 1600, "clip": 1200, "picture": 800}
STATUSES = {0, 1, 2}
MOST_LINES = 12  # on standard error, one for each mistake in a file


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    kind: str
    first: int
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What came of some cases: how often each status, and what was wrong, one line each."""

    kind: str
    count: int
    statuses: dict[int, int]
    wrong: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Good:
    """Undamaged files to begin with, by kind, and those that stand beside them."""

    files: dict[str, tuple[Path, ...]] = field(default_factory=dict)
    bed: Path
    aim: Path
    clip: Path
    still: Path


def make_good(folder: Path) -> Good:
    """Write the undamaged files: small, so that thousands of cases are quick."""
    from bedwatch.cli import main

    bed = folder / "bed.toml"
    shutil.copy(CALIBRATION / "gate_latch.bed.toml", bed)
    source = BedSource(demo_scene(size_px=(320, 176), duration_s=0.9, fps=15.0))
    clips = [write_clip(source, folder / "clip.avi", codec="mjpeg", quality=85)]
    clips += _converted(clips[0], folder)
    aim = folder / "true.aim.toml"
    write_aim(true_aim(source, source.scene.bed), aim)
    still = folder / "grey.png"
    cv2.imwrite(str(still), np.full((60, 80, 3), 120, np.uint8))
    picture = next(iter(BedSource(demo_scene(size_px=(320, 176), duration_s=0.2)))).coloured()
    pictures = []
    for ending in (".png", ".jpg", ".bmp", ".tif", ".webp", ".ppm"):
        pictures.append(folder / f"picture{ending}")
        cv2.imwrite(str(pictures[-1]), picture)
    log = folder / "session.jsonl"
    with redirect_stdout(StringIO()):
        main(["watch", str(clips[0]), "--bed", str(bed), "--aim", str(aim), "--log", str(log), "--json"])
        with log.open("a", encoding="utf-8") as file:
            file.write('{"did": {"zone": "4", "do": "less_air", "amount": 0.25}}\n{"did": {"do": "stirred"}}\n')
        main(
            [
                "settings",
                "save",
                str(SAMPLES / "demo.readings.jsonl"),
                "--bed",
                str(bed),
                "--name",
                "good",
                "--in",
                str(folder),
            ]
        )
    settings = tuple(sorted(folder.glob("good*")))
    beds = (bed, CALIBRATION / "custom.bed.toml", CALIBRATION / "rectangular.bed.toml")
    return Good(
        files={
            "bed": beds,
            "aim": (aim, SAMPLES / "demo.aim.toml"),
            "log": (log, SAMPLES / "demo.readings.jsonl"),
            "setting": settings,
            "clip": tuple(clips),
            "picture": tuple(pictures),
        },
        bed=bed,
        aim=aim,
        clip=clips[0],
        still=still,
    )


def _converted(clip: Path, folder: Path) -> list[Path]:
    """The same clip in other containers and codecs, as far as this build of the decoder's library writes them."""
    import av

    made = []
    for ending, codec in ((".mp4", "libx264"), (".mkv", "mjpeg"), (".mpg", "mpeg1video")):
        path = folder / f"clip{ending}"
        with av.open(str(clip)) as read, av.open(str(path), "w") as write:
            out = write.add_stream(codec, rate=25)
            out.width, out.height = 320, 176
            out.pix_fmt = "yuvj420p" if codec == "mjpeg" else "yuv420p"
            for frame in read.decode(video=0):
                plain = frame.reformat(width=320, height=176, format=out.pix_fmt)
                plain.pts = None
                write.mux(out.encode(plain))
            write.mux(out.encode(None))
        made.append(path)
    return made


def command(kind: str, spoilt: Path, good: Good, lot: random.Random) -> list[str]:
    """What is typed. Paths are in the case's own folder or undamaged."""
    bed, aim, clip = str(good.bed), str(good.aim), str(good.clip)
    name = str(spoilt)
    if kind == "bed":
        return lot.choice(
            (
                ["aim", str(good.still), "--bed", name, "--out", "new.aim.toml", "--json"],
                ["watch", clip, "--bed", name, "--aim", aim, "--json", "--log", "new.jsonl"],
                ["log", "summary", str(good.files["log"][0]), "--bed", name],
            )
        )
    if kind == "aim":
        return ["watch", clip, "--bed", bed, "--aim", name, "--json"]
    if kind == "log":
        return lot.choice(
            (
                ["log", "summary", name, "--bed", bed],
                ["log", "csv", name, "--bed", bed],
                ["watch", clip, "--bed", bed, "--aim", aim, "--json", "--log", name],
                ["settings", "save", name, "--bed", bed, "--name", "new", "--in", "."],
                ["report", name, "--bed", bed, "--out", "new.html"],
            )
        )
    if kind == "setting":
        return lot.choice(
            (
                ["settings", "list", "--in", "."],
                ["settings", "show", "good", "--in", "."],
                ["settings", "compare", "good", "good", "--in", "."],
                ["watch", clip, "--bed", bed, "--aim", aim, "--json", "--against", "good.setting.toml"],
                ["report", "good.setting.toml", "--bed", bed, "--out", "new.html"],
            )
        )
    if kind == "picture":
        searched = [
            "aim",
            name,
            "--bed",
            bed,
            "--out",
            "new.aim.toml",
            "--json",
        ]  # takes long, the rest is the same reading
        return searched if lot.random() < 0.05 else ["watch", name, "--bed", bed, "--json", "--aim", str(good.aim)]
    return ["watch", name, "--bed", bed, "--aim", aim, "--json"]


def run_case(kind: str, number: int, good: Good) -> tuple[int, str | None]:
    """Exit status (negative: the signal, None of ours: -999 for a hang) and what was wrong, if anything."""
    lot = random.Random(f"{kind} {number}")
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        before = lot.choice(good.files[kind])
        if kind == "setting":
            for path in good.files[kind]:
                shutil.copy(path, folder)
        spoilt = folder / before.name
        raw = before.read_bytes()
        for _ in range(lot.choice((1, 1, 2))):
            is_text = before.suffix in (".toml", ".jsonl")
            raw = lot.choice(TEXT if is_text else BYTES)(raw, lot) if raw else raw
        spoilt.write_bytes(raw)
        words = command(kind, spoilt, good, lot)
        status, told, said = _in_child(words, folder)
        wrong = _wrong(status, told, said, words, folder)
        return status, None if wrong is None else f"{kind} {number} ({before.name}): {wrong}"


def _in_child(words: Sequence[str], folder: Path) -> tuple[int, str, str]:
    """Status, standard output, standard error of the command in a fork of this process."""
    out, err = folder / ".out", folder / ".err"
    child = os.fork()
    if child == 0:
        _be_the_command(words, folder, out, err)
    end = time.monotonic() + HANGS_S
    wait_s = 0.002
    while True:
        ended, code = os.waitpid(child, os.WNOHANG)
        if ended:
            break
        if time.monotonic() > end:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return -999, "", ""
        time.sleep(wait_s)
        wait_s = min(1.5 * wait_s, 0.1)
    told, said = (path.read_text(encoding="utf-8", errors="replace") for path in (out, err))
    out.unlink()
    err.unlink()
    return os.waitstatus_to_exitcode(code), told, said


def _be_the_command(words: Sequence[str], folder: Path, out: Path, err: Path) -> None:
    status = 99
    try:
        os.chdir(folder)
        for path, number in ((out, 1), (err, 2)):
            os.dup2(os.open(path, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600), number)
        sys.stdout, sys.stderr = (os.fdopen(number, "w", encoding="utf-8") for number in (1, 2))
        from bedwatch.cli import main

        status = main(list(words))
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(status)


def _wrong(status: int, told: str, said: str, words: Sequence[str], folder: Path) -> str | None:
    typed = " ".join(Path(word).name if "/" in word else word for word in words)
    lines = said.strip().splitlines()
    if status not in STATUSES:
        return f"status {status}: {typed}: {lines[-1] if lines else ''}"
    if "Traceback" in said:
        return f"a traceback: {typed}: {lines[-1]}"
    mistakes = [line for line in lines if not line.endswith("passed over")]  # a log's damaged lines are told one by one
    if status == 2 and not 1 <= len(mistakes) <= MOST_LINES:
        return f"{len(mistakes)} lines for a mistake: {typed}"
    if "--json" in words:
        for line in told.splitlines():
            try:
                json.loads(line, parse_constant=_no_constant)
            except ValueError:
                return f"no JSON: {typed}: {line[:60]!r}"
    left = [path.name for path in folder.iterdir() if path.name.startswith(("new", ".")) or path.suffix == ".tmp"]
    half = [name for name in left if name.startswith(".") or name.endswith(".tmp")]
    if half or (status == 2 and left and not all(name == "new.jsonl" for name in left)):
        return f"left behind {', '.join(left)} with status {status}: {typed}"
    return None


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no JSON")


def jobs(quick: bool) -> Sequence[Job]:
    counts = {kind: max(PER_JOB, count // 10) if quick else count for kind, count in COUNTS.items()}
    return [
        Job(kind=kind, first=first, count=min(PER_JOB, count - first))
        for kind, count in counts.items()
        for first in range(0, count, PER_JOB)
    ]


@lru_cache(maxsize=1)
def _good() -> Good:
    return make_good(Path(tempfile.mkdtemp(prefix="bedwatch_good_")))


def run(job: Job) -> Batch:
    good = _good()
    statuses: dict[int, int] = {}
    wrong = []
    for number in range(job.first, job.first + job.count):
        status, words = run_case(job.kind, number, good)
        statuses[status] = statuses.get(status, 0) + 1
        wrong += [] if words is None else [words]
    return Batch(kind=job.kind, count=job.count, statuses=statuses, wrong=tuple(wrong))


def rows(results: Sequence[Batch]) -> list[Row]:
    made = []
    for kind in COUNTS:
        ours = [batch for batch in results if batch.kind == kind]
        count = sum(batch.count for batch in ours)
        wrong = tuple(words for batch in ours for words in batch.wrong)
        by_status = {
            n: sum(batch.statuses.get(n, 0) for batch in ours) for n in sorted({n for b in ours for n in b.statuses})
        }
        made.append(
            Row(
                figure=f"spoilt files: {kind}",
                asked="no traceback, hang or signal, nothing half-written",
                reached=f"{len(wrong)} of {count} wrong",
                met=not wrong,
                note=", ".join(f"status {status}: {many}" for status, many in by_status.items()),
                failures=wrong[:20],
            )
        )
    return made


FUZZ = Group(name="spoilt", jobs=jobs, run=run, rows=rows, words="spoilt files")
