"""Cameras that are knocked, creep or refocus while the bed is watched: noticed within two seconds, and never a hint from it."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.types import ProblemKind
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.judge.types import Reading
from bedwatch.sim.trouble import Defocus, Knock, zoom_matrix
from bedwatch.watch import Watch
from tests.benchmarks.aim_clips import FPS, SIZE_PX, Bench, scene_of
from tests.benchmarks.aim_scenes import outline_mm
from tests.benchmarks.group import Group, Row

K = ProblemKind
KNOCK_S, KNOCK_SCENES = 7.5, 4
KNOCKS_PX = (3.0, 5.0, 8.0, 15.0, 25.0, 40.0)
KNOCK_AT_S, SEEN_WITHIN_S, CREEP_S = 3.0, 2.0, 5.0
CREEP_SEEN_PX = 3.0  # a creep counts from where it has gone so far


@dataclass(frozen=True, slots=True, kw_only=True)
class Knocked:
    """One knocked camera. delay_s: from the knock until it was noticed, infinite when it was not; how: in which way.

    hints: words of hints and faults that the same scene does not get without the knock.
    """

    seed: int
    words: str
    move: str
    delay_s: float
    how: str
    hints: tuple[str, ...]


def knock_jobs(base: int, quick: bool) -> Sequence[tuple[int, int, bool]]:
    return [(base + 4000 + k, k, quick) for k in range(1 if quick else KNOCK_SCENES)]


def moves(seed: int, *, quick: bool) -> list[tuple[str, Knock | Defocus | None]]:
    """Standing still, knocks of each size in any direction, half of them with a turn, a creep and a refocus."""
    rng = np.random.default_rng([seed, 4])
    made: list[tuple[str, Knock | Defocus | None]] = [("none", None)]
    for number, far in enumerate(KNOCKS_PX):
        way, turn = rng.uniform(0, 2 * math.pi), 0.4 * (number % 2) * rng.choice([-1, 1])
        knock = Knock(right_px=far * math.cos(way), down_px=far * math.sin(way), turn_deg=float(turn),
                      start_s=KNOCK_AT_S, ringing=0.3)  # fmt: skip
        made.append((f"knock of {far:.0f} px", knock))
    way = rng.uniform(0, 2 * math.pi)
    creep = Knock(right_px=10 * math.cos(way), down_px=10 * math.sin(way), start_s=2.0, over_s=CREEP_S)
    made.append(("creep", creep))
    made.append(("refocus", Defocus(disc_px=10.0, start_s=KNOCK_AT_S, over_s=0.4, zoom=0.012)))
    return [made[0], made[1], made[4], made[6], *made[-2:]] if quick else made


def run_knocks(job: tuple[int, int, bool]) -> list[Knocked]:
    seed, number, quick = job
    cv2.setNumThreads(1)
    scene, words = scene_of(seed, number + 1, KNOCK_S)
    bench = Bench(scene)
    ways = moves(seed, quick=quick)
    watches = [bench.watch() for _ in ways]
    said: list[list[Reading]] = [[] for _ in ways]
    seen: list[tuple[float, str]] = [(math.inf, "not at all")] * len(ways)
    for step in range(round(KNOCK_S * FPS)):
        time_s = step / FPS
        clear = bench.source.clear_at(time_s)
        for k, (_, move) in enumerate(ways):
            frame = Frame(picture=bench.shoot(clear, move, time_s), time_s=time_s, number=step)
            reading = watches[k].step(frame)
            if reading is not None:
                said[k].append(reading)
            if move is not None and time_s > move.start_s and math.isinf(seen[k][0]):
                how = noticed(watches[k], reading, move, bench, time_s)
                if how:
                    seen[k] = (time_s - begin_s(move), how)
    usual = _words_said(said[0])
    return [
        Knocked(
            seed=seed,
            words=words,
            move=name,
            delay_s=seen[k][0],
            how=seen[k][1],
            hints=tuple(sorted(_new(said[k], usual, -1.0 if move is None else move.start_s))),
        )
        for k, (name, move) in enumerate(ways)
    ][1:]


def begin_s(move: Knock | Defocus) -> float:
    """From when on a move counts: a creep from where it has gone CREEP_SEEN_PX."""
    if isinstance(move, Knock) and move.over_s > 1.0:
        return move.start_s + move.over_s * CREEP_SEEN_PX / math.hypot(move.right_px, move.down_px)
    return move.start_s


def noticed(watch: Watch, reading: Reading | None, move: Knock | Defocus, bench: Bench, time_s: float) -> str:
    """How a watch shows that it knows of the move: it says so, or goes on in the right place. Empty when it does not."""
    said = set() if reading is None else {problem.kind for problem in reading.problems}
    if K.BED_LOST in said:
        return "said"
    if isinstance(move, Defocus):
        if K.BLURRED in said:
            return "said blurred"
        matrix = zoom_matrix(SIZE_PX, 1 + move.zoom)
    else:
        matrix = move.matrix(SIZE_PX, time_s)
    off, gone = _off_px(watch, matrix, bench)
    slow = isinstance(move, Knock) and move.over_s > 1.0
    done = gone > CREEP_SEEN_PX - 0.5 if slow else time_s >= move.start_s + move.over_s
    return "gone along with" if done and off < 0.25 * gone else ""


def _off_px(watch: Watch, matrix: NDArray[np.float64], bench: Bench) -> tuple[float, float]:
    """How far the watch's place of the bed is from the true one, and how far that has gone: mean along the wall, pixels."""
    aim = watch.aim
    assert aim is not None
    places = outline_mm(bench.scene.bed, 24)
    before = bench.source.truth.pixels(places)
    now = np.column_stack([before, np.ones(len(before))]) @ matrix.T
    true = now[:, :2] / now[:, 2:]
    held = aim.pixels(places) + np.array(watch._camera.place.shift_px)
    return float(np.hypot(*(held - true).T).mean()), float(np.hypot(*(true - before).T).mean())


def _words_said(readings: Sequence[Reading]) -> set[str]:
    words = set()
    for reading in readings:
        words |= {f"{zone.zone} {zone.hint.value}" for zone in reading.zones}
        words |= {f"{fault.kind.value} in {fault.zone}" for fault in reading.faults}
    return words


def _new(readings: Sequence[Reading], usual: set[str], after_s: float) -> set[str]:
    late = [reading for reading in readings if reading.time_s > after_s]
    return {word for word in _words_said(late) - usual if not word.endswith((" wait", " hold"))}


def knock_rows(results: Sequence[list[Knocked]]) -> list[Row]:
    runs = [one for some in results for one in some]
    seen = [one for one in runs if one.delay_s <= SEEN_WITHIN_S + 1e-6]
    hints = [one for one in runs if one.hints]
    by_move = defaultdict(list)
    for one in runs:
        by_move[one.move].append(one.delay_s <= SEEN_WITHIN_S + 1e-6)
    ways = Counter(one.how for one in runs)
    delays = [one.delay_s for one in runs if math.isfinite(one.delay_s)]
    failures = [
        f"{one.seed}: {one.move} seen "
        + ("never" if math.isinf(one.delay_s) else f"after {one.delay_s:.1f} s, {one.how}")
        + f" ({one.words})"
        for one in runs
        if one not in seen
    ]
    failures += [f"{one.seed}: after {one.move} it says {', '.join(one.hints)} ({one.words})" for one in hints]
    late = f"; delay median {np.median(delays):.1f}, most {max(delays):.1f} s" if delays else ""
    return [
        Row(
            figure=f"knocks of 3–40 px, creep of 10 px in 5 s, refocus: {len(runs)} clips",
            asked=f"≥ 95 % seen within {SEEN_WITHIN_S:.0f} s, never a hint from them",
            reached=f"{100 * len(seen) / len(runs):.0f} % seen, hints from {len(hints)}",
            met=len(seen) >= 0.95 * len(runs) and not hints,
            note="; ".join(f"{move} {sum(ours)}/{len(ours)}" for move, ours in by_move.items())
            + "; " + ", ".join(f"{how} {count}" for how, count in ways.most_common()) + late,
            failures=tuple(failures),
        )
    ]  # fmt: skip


def groups(base: int) -> tuple[Group, ...]:
    jobs = partial(knock_jobs, base)
    return (Group(name="aim-knocks", section="aim", jobs=jobs, run=run_knocks, rows=knock_rows, words="knocks"),)
