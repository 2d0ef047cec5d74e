"""Killed at any moment, and the disk full at any byte: what a log and a folder of settings still hold afterwards."""

from __future__ import annotations

import os
import random
import resource
import signal
import struct
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from bedwatch.bed import Bed, read_bed
from bedwatch.errors import UserError
from bedwatch.judge.setting import Setting
from bedwatch.judge.steady import mean_of
from bedwatch.judge.types import Did, Done, Reading
from bedwatch.keep.log import Log
from bedwatch.keep.read import read_log
from bedwatch.keep.setting_of import setting_of
from bedwatch.keep.settings import list_settings, save_setting
from bedwatch.show.json_read import parse_reading_line
from tests.benchmarks.cost import BED, REPOSITORY
from tests.benchmarks.group import Group, Row

KILLS, QUICK = 200, 20
# Long enough for some hundred lines or some ten settings.
LONGEST_S = 0.25
NAMES = ("winter", "summer", "thin film")
_COUNT = struct.Struct("q")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """What was found after each death of a process, or each write that found no room.

    said: lines that the process had been told were written; lost: of these, missing afterwards. damaged: files or lines that
    cannot be read. left: drafts that lie about. untold: writes without room that nobody was told of.
    """

    what: str
    rounds: int
    said: int = 0
    lost: int = 0
    damaged: tuple[str, ...] = ()
    left: int = 0
    untold: int = 0


def jobs(quick: bool) -> Sequence[tuple[str, int]]:
    rounds = QUICK if quick else KILLS
    return [("log", rounds), ("settings", rounds), ("full log", rounds), ("full settings", rounds)]


def run(job: tuple[str, int]) -> Rounds:
    what, rounds = job
    bed = read_bed(BED)
    lines = (REPOSITORY / "sample_frames" / "demo.readings.jsonl").read_text(encoding="utf-8").splitlines()
    readings = [parse_reading_line(line) for line in lines if '"did"' not in line]
    act = {"log": _kill_log, "settings": _kill_settings, "full log": _full_log, "full settings": _full_settings}[what]
    with tempfile.TemporaryDirectory() as folder:
        return act(Path(folder), bed, readings, rounds)


def _killed(work: Callable[[Callable[[], None]], None], after_s: float) -> int:
    """Do some work in a process of its own that is killed after a time; how often it said that a piece is done."""
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        done = 0

        def tell() -> None:
            nonlocal done
            done += 1
            os.write(say, _COUNT.pack(done))

        try:
            work(tell)
        finally:
            os._exit(1)
    os.close(say)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    heard = b""
    while part := os.read(hear, 65536):
        heard += part
    os.close(hear)
    whole = len(heard) // _COUNT.size * _COUNT.size
    return int(_COUNT.unpack(heard[whole - _COUNT.size : whole])[0]) if whole else 0


def _kill_log(folder: Path, bed: Bed, readings: Sequence[Reading], rounds: int) -> Rounds:
    """A log, gone on from after every death: what was said to be written is there, and nothing else is damaged.

    A new one after every 20 deaths, since all of it is read after each.
    """
    rng = random.Random(1)
    said = lost = 0
    damaged: list[str] = []
    there = 0
    for number in range(rounds):
        path = folder / f"bed.{number // 20}.log.jsonl"
        there = there if number % 20 else 0

        def work(tell: Callable[[], None], path: Path = path) -> None:
            with Log(path, bed, "demo.mp4", lambda _: None) as log:
                while True:
                    for count, reading in enumerate(readings):
                        log.reading(reading)
                        tell()
                        if count % 5 == 4:
                            log.did(Did(do=Done.LESS_AIR, zone="6", amount=0.1))
                            tell()

        written = _killed(work, rng.uniform(0.0, LONGEST_S))
        book = read_log(path, bed) if path.exists() else None
        now = 0 if book is None else len(book.entries)
        damaged += [] if book is None else book.notes
        said += written
        lost += max(0, there + written - now)
        there = now
    return Rounds(what="log", rounds=rounds, said=said, lost=lost, damaged=tuple(damaged))


def _kill_settings(folder: Path, bed: Bed, readings: Sequence[Reading], rounds: int) -> Rounds:
    """Three names, saved over and over: each stands for one whole setting, the last that was said to be saved or a later one."""
    rng, setting = random.Random(2), _setting(bed, readings)
    said = lost = 0
    damaged: list[str] = []
    for number in range(rounds):

        def work(tell: Callable[[], None], start: int = number * 100_000) -> None:
            for count in range(100_000):
                told = start + count
                one = replace(setting, name=NAMES[told % len(NAMES)], source=str(told))
                save_setting(one, folder, _picture(told), force=True)
                tell()

        written = _killed(work, rng.uniform(0.0, LONGEST_S))
        kept = {one.name: one for one in list_settings(folder)}
        damaged += [line for one in kept.values() for line in one.damage]
        said += written
        for told in range(number * 100_000 + max(0, written - len(NAMES)), number * 100_000 + written):
            one = kept.get(NAMES[told % len(NAMES)])
            if one is None or one.setting is None or int(one.setting.source) < told:
                lost += 1
    return Rounds(
        what="settings", rounds=rounds, said=said, lost=lost, damaged=tuple(damaged), left=len(list(folder.glob(".*")))
    )


def _full_log(folder: Path, bed: Bed, readings: Sequence[Reading], rounds: int) -> Rounds:
    """No room from some byte on, then room again: it is told, and no line but those told as missing is lost."""
    rng, path = random.Random(3), folder / "bed.log.jsonl"
    damaged: list[str] = []
    said = lost = untold = 0
    for number in range(rounds):
        path.unlink(missing_ok=True)
        notes: list[str] = []
        with Log(path, bed, "demo.mp4", notes.append) as log:
            for reading in readings[:5]:
                log.reading(reading)
            with _room(path.stat().st_size + rng.randrange(6000)):
                for reading in readings[5:10]:
                    log.reading(reading)
            for reading in readings[10:15]:
                log.reading(reading)
        book = read_log(path, bed)
        # What did not fit is half a line at the most, which is ended before the next one.
        damaged += book.notes[1:]
        kept = {entry.what for entry in book.entries}
        said += 15
        missing = sum(reading not in kept for reading in readings[:15])
        told = sum(int(note.split(";")[1].split()[0]) for note in notes if "lines are missing" in note)
        lost += abs(missing - told)
        untold += bool(missing) and not any("cannot be written" in note for note in notes)
        if number == 0 and not readings[0].zones:
            raise AssertionError("readings without zones")
    return Rounds(what="full log", rounds=rounds, said=said, lost=lost, damaged=tuple(damaged), untold=untold)


def _full_settings(folder: Path, bed: Bed, readings: Sequence[Reading], rounds: int) -> Rounds:
    """No room for the picture or for the figures: one line says so, and the name stands for what it stood for."""
    rng, setting = random.Random(4), replace(_setting(bed, readings), name=NAMES[0])
    save_setting(setting, folder, _picture(0))
    before = sorted((one.name, one.read_bytes()) for one in folder.iterdir())
    damaged: list[str] = []
    lost = untold = 0
    for number in range(1, rounds + 1):
        with _room(rng.randrange(2500)):
            try:
                save_setting(replace(setting, source=f"{number} " * 40), folder, _picture(number), force=True)
                untold += 1
            except UserError as told:
                untold += len(told.lines) != 1
        kept = {one.name: one for one in list_settings(folder)}
        damaged += [line for one in kept.values() for line in one.damage]
        figures = kept[NAMES[0]].setting
        lost += figures is None or figures.source != setting.source
    after = sorted((one.name, one.read_bytes()) for one in folder.iterdir())
    stray = len({name for name, _ in after} - {name for name, _ in before})
    return Rounds(what="full settings", rounds=rounds, lost=lost, damaged=tuple(damaged), left=stray, untold=untold)


@contextmanager
def _room(size: int) -> Iterator[None]:
    """No file may grow beyond this size."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        with suppress(ValueError):
            signal.signal(signal.SIGXFSZ, before)


def _setting(bed: Bed, readings: Sequence[Reading]) -> Setting:
    steady = mean_of(readings)
    assert steady is not None
    return setting_of(steady, bed, name="s", saved=datetime(2026, 1, 1, tzinfo=UTC), version="0", source="")


def _picture(number: int) -> bytes:
    return str(number).encode() * 600


def rows(found: Sequence[Rounds]) -> list[Row]:
    made = []
    for one in found:
        full = one.what.startswith("full")
        bad = (*one.damaged[:5], *([f"{one.lost} lost"] if one.lost else []))
        figure = (
            f"{one.what.removeprefix('full ')}: {'disk full' if full else 'kill -9'} at {one.rounds} random moments"
        )
        reached = f"{one.lost} lost, {len(one.damaged)} damaged" + (f", {one.untold} untold" if full else "")
        made.append(
            Row(
                figure=figure,
                asked="nothing lost that was said to be written, every file readable"
                + (", said in a line" if full else ""),
                reached=reached,
                met=not (one.lost or one.damaged or one.untold or (full and one.left)),
                note=(f"{one.said} written; " if one.said else "") + (f"{one.left} drafts left" if one.left else ""),
                failures=bad,
            )
        )
    return made


CRASH = Group(name="crash", jobs=jobs, run=run, rows=rows, words="killed, and the disk full")
