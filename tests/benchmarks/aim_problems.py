"""Camera problems put into make-believe clips: named when there, silent when not.

Each scene is rendered once and spoiled in many ways; every variant has a watch of its own, which is given the true aim.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bedwatch.aim.types import ProblemKind
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.sim import Scene
from bedwatch.sim.trouble import (
    Cloud,
    Defocus,
    Exposure,
    Flicker,
    Haze,
    Hunting,
    Shake,
    Specks,
    Trouble,
    slowed,
    with_gaps,
)
from tests.benchmarks.aim_clips import FPS, Bench, scene_of
from tests.benchmarks.group import Group, Row

K = ProblemKind
PROBLEM_S, PROBLEM_SCENES = 10.0, 5
# What else may rightly be said of a picture with a problem.
ALSO: dict[ProblemKind, set[ProblemKind]] = {
    K.BLURRED: {K.LOW_CONTRAST, K.DUSTY_LENS},
    K.DARK: {K.LOW_CONTRAST, K.BLURRED},
    K.OVEREXPOSED: {K.LOW_CONTRAST, K.BLURRED},
    K.LOW_CONTRAST: {K.BLURRED, K.DUSTY_LENS, K.DUST_CLOUD},
    K.DUSTY_LENS: {K.LOW_CONTRAST, K.BLURRED},
    K.DUST_CLOUD: {K.LOW_CONTRAST, K.EXPOSURE_HUNTING, K.BLURRED},
    K.FLICKER: {K.EXPOSURE_HUNTING},
    K.EXPOSURE_HUNTING: {K.FLICKER},
    K.SHAKING: {K.BLURRED},
    K.LOW_FRAME_RATE: {K.DROPPED_FRAMES},
    K.DROPPED_FRAMES: {K.LOW_FRAME_RATE},
}
ASKED = tuple(ALSO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One way to spoil a scene. every, gaps, repeated: what becomes of its frames in time."""

    kind: ProblemKind | None
    words: str
    trouble: Trouble | None = None
    every: int = 1
    gaps: float = 0.0
    repeated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """Problems named in any reading of one variant of one scene."""

    seed: int
    scene: str
    kind: ProblemKind | None
    words: str
    named: frozenset[ProblemKind]


def variants(scene: Scene, seed: int, *, quick: bool) -> list[Variant]:
    """No trouble, and each kind of it as weak as it must be named and plainly worse."""
    gamma = scene.camera.gamma
    span = 255 - scene.camera.black_dn
    powder = (scene.powder.level_dn / span) ** gamma  # linear light of the powder, 1 is white
    made = [Variant(kind=None, words="nothing wrong")]
    for disc in (11.0, 16.0):
        made.append(Variant(kind=K.BLURRED, words=f"disc of {disc:.0f} px", trouble=Defocus(disc_px=disc)))
    for level in (14.0, 25.0):  # coded brightness of the powder
        times = (level / span) ** gamma / powder
        made.append(
            Variant(kind=K.DARK, words=f"powder at {level:.0f} of 255", trouble=Exposure(times=times, gamma=gamma))
        )
    for over in (1.2, 2.0):
        trouble = Exposure(times=over / powder, gamma=gamma)
        made.append(Variant(kind=K.OVEREXPOSED, words=f"powder at {over:.1f} of white", trouble=trouble))
    for share in (0.92, 0.96):
        made.append(Variant(kind=K.LOW_CONTRAST, words=f"haze of {100 * share:.0f} %", trouble=Haze(share=share)))
    for depth, readout in ((0.04, 0.004), (0.10, 0.025)):
        trouble = Flicker(depth=depth, mains_hz=50.01, readout_s=readout, gamma=gamma)
        made.append(
            Variant(kind=K.FLICKER, words=f"{100 * depth:.0f} % at 50 Hz, read in {readout} s", trouble=trouble)
        )
    for depth in (0.12, 0.30):
        trouble = Hunting(depth=depth, gamma=gamma)
        made.append(Variant(kind=K.EXPOSURE_HUNTING, words=f"± {100 * depth:.0f} %", trouble=trouble))
    for rms in (0.8, 2.0):
        made.append(Variant(kind=K.SHAKING, words=f"{rms:.1f} px", trouble=Shake(rms_px=rms, hz=4.0, seed=seed)))
    for count, depth in ((18, 0.25), (30, 0.45)):
        trouble = Specks(count=count, depth=depth, seed=seed)
        made.append(Variant(kind=K.DUSTY_LENS, words=f"{count} specks of {100 * depth:.0f} %", trouble=trouble))
    for share in (0.45, 0.8):
        trouble = Cloud(share=share, seed=seed)
        made.append(Variant(kind=K.DUST_CLOUD, words=f"cloud of {100 * share:.0f} %", trouble=trouble))
    for every in (2, 3):
        made.append(Variant(kind=K.LOW_FRAME_RATE, words=f"{FPS / every:.1f} frames a second", every=every))
    for gaps, repeated in ((0.08, False), (0.15, True)):
        words = f"{100 * gaps:.0f} % {'repeated' if repeated else 'missing'}"
        made.append(Variant(kind=K.DROPPED_FRAMES, words=words, gaps=gaps, repeated=repeated))
    return [made[0], *made[2::2]] if quick else made


def problem_jobs(base: int, quick: bool) -> Sequence[tuple[int, int, bool]]:
    return [(base + 3000 + k, k, quick) for k in range(1 if quick else PROBLEM_SCENES)]


def run_problems(job: tuple[int, int, bool]) -> list[Named]:
    seed, number, quick = job
    cv2.setNumThreads(1)
    scene, words = scene_of(seed, number, PROBLEM_S)
    bench = Bench(scene)
    kinds = variants(scene, seed, quick=quick)
    shown: list[list[Frame]] = [[] for _ in kinds]
    watches = [bench.watch() for _ in kinds]
    named: list[set[ProblemKind]] = [set() for _ in kinds]
    in_time = [_in_time(kind, seed) for kind in kinds]
    for step in range(round(PROBLEM_S * FPS)):
        time_s = step / FPS
        clear = bench.source.clear_at(time_s)
        for k, kind in enumerate(kinds):
            told = in_time[k][step]
            if told is None:
                continue
            again = told.repeated and bool(shown[k])
            picture = shown[k][0].picture if again else bench.shoot(clear, kind.trouble, time_s)
            frame = replace(told, picture=picture)
            shown[k] = [frame]
            reading = watches[k].step(frame)
            if reading is not None:
                named[k] |= {problem.kind for problem in reading.problems}
    return [
        Named(seed=seed, scene=words, kind=kind.kind, words=kind.words, named=frozenset(said))
        for kind, said in zip(kinds, named, strict=True)
    ]


def _in_time(kind: Variant, seed: int) -> list[Frame | None]:
    """For each step the frame (with no picture yet) that comes, None where none does."""
    nothing = np.zeros((1, 1, 3), np.uint8)
    every = [Frame(picture=nothing, time_s=k / FPS, number=k) for k in range(round(PROBLEM_S * FPS))]
    frames = slowed(every, kind.every)
    if kind.gaps:
        frames = with_gaps(every, kind.gaps, repeated=kind.repeated, seed=seed)
    by_time = {round(frame.time_s * FPS): frame for frame in frames}
    return [by_time.get(step) for step in range(len(every))]


def problem_rows(results: Sequence[list[Named]]) -> list[Row]:
    runs = [one for some in results for one in some]
    there: dict[ProblemKind, list[bool]] = defaultdict(list)
    false: dict[ProblemKind, list[bool]] = defaultdict(list)
    missed, wrong = [], []
    for one in runs:
        for kind in ASKED:
            said = kind in one.named
            if kind == one.kind:
                there[kind].append(said)
                if not said:
                    named = ", ".join(sorted(one.named)) or "nothing"
                    missed.append(f"{one.seed}: {kind} ({one.words}) not named, but {named} ({one.scene})")
            elif one.kind is None or kind not in ALSO[one.kind]:
                false[kind].append(said)
                if said:
                    wrong.append(
                        f"{one.seed}: {kind} named, there was {one.kind or 'nothing'} ({one.words}) ({one.scene})"
                    )
    hit = {kind: float(np.mean(there[kind])) for kind in ASKED if there[kind]}
    cry = {kind: float(np.mean(false[kind])) for kind in ASKED if false[kind]}
    lost = sum(K.BED_LOST in one.named for one in runs)
    return [
        Row(
            figure=f"camera problems named when there, {len(runs)} clips, {len(hit)} kinds",
            asked="≥ 95 % of each kind",
            reached=f"{sum(share >= 0.95 for share in hit.values())} of {len(hit)} kinds; all together "
            f"{100 * np.mean([said for some in there.values() for said in some]):.0f} %",
            met=min(hit.values()) >= 0.95,
            note="; ".join(f"{kind} {sum(there[kind])}/{len(there[kind])}" for kind in hit),
            failures=tuple(missed),
        ),
        Row(
            figure="camera problems named when not there",
            asked="≤ 3 % of each kind",
            reached=f"worst {100 * max(cry.values()):.0f} %, {sum(share <= 0.03 for share in cry.values())} of {len(cry)} kinds",
            met=max(cry.values()) <= 0.03,
            note="; ".join(f"{kind} {sum(false[kind])}/{len(false[kind])}" for kind in cry if sum(false[kind]))
            + f"; bed_lost said in {lost} clips of a camera that stands",
            failures=tuple(wrong),
        ),
    ]


def groups(base: int) -> tuple[Group, ...]:
    jobs = partial(problem_jobs, base)
    return (
        Group(
            name="aim-problems", section="aim", jobs=jobs, run=run_problems, rows=problem_rows, words="camera problems"
        ),
    )
