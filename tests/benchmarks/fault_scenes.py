"""Scenes with spouts, dead patches and rim leaks in known places, one per seed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from bedwatch.bed import Bed, zone_index
from bedwatch.bed.zones import wall_distance
from bedwatch.sim import DeadPatch, RimLeak, Scene, Spout, random_scene

APART_MM = 75.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """A fault that is in the scene. reach_mm: half its extent along the wall (leaks), else its radius."""

    kind: str
    x_mm: float
    y_mm: float
    reach_mm: float
    start_s: float


def fault_scene(seed: int, *, duration_s: float = 26.0) -> tuple[Scene, tuple[Planted, ...]]:
    """A bed that is well fed but for at most one zone, with one to three faults; every fifth bed is settled but for channels."""
    rng = np.random.default_rng([seed, 4])
    scene = _plain(seed, duration_s)
    bed = scene.bed
    settled = seed % 5 == 4
    air = [float(round(rng.uniform(0.5, 0.95) if settled else rng.uniform(1.6, 2.2), 2)) for _ in bed.zones]
    odd = int(rng.integers(len(air)))
    if not settled and len(air) > 2 and rng.random() < 0.4:
        air[odd] = float(round(rng.choice([rng.uniform(0.5, 1.0), rng.uniform(4.6, 6.5)]), 2))
    spouts: list[Spout] = []
    dead: list[DeadPatch] = []
    leaks: list[RimLeak] = []
    taken: list[tuple[float, float]] = []
    kinds = ["spout"] if settled else ["spout", "dead", "leak"]
    for _ in range(int(rng.integers(1, 4))):
        start = -1e9 if rng.random() < 0.7 else float(round(rng.uniform(2, 0.4 * duration_s), 1))
        kind = kinds[int(rng.integers(len(kinds)))]
        if kind == "leak" and not leaks:
            leak = _leak(rng, bed, start)
            spot = leak.middle(bed)
            if _clear(bed, spot, taken, air, leak.length_mm / 2 + 30):
                leaks.append(leak)
                taken.append(spot)
            continue
        spot = _spot(rng, bed, taken, air, settled)
        if spot is None:
            continue
        taken.append(spot)
        if kind == "dead":
            dead.append(DeadPatch(x_mm=spot[0], y_mm=spot[1], radius_mm=float(rng.uniform(14, 34)), start_s=start))
        else:
            wander = float(rng.choice([0.0, 0.0, rng.uniform(4, 9)]))
            spouts.append(
                Spout(
                    x_mm=spot[0],
                    y_mm=spot[1],
                    bubble_mm=float(rng.uniform(14, 22)),
                    per_s=float(rng.uniform(4, 8)),
                    start_s=start,
                    wander_mm=wander,
                )
            )
    scene = replace(scene, air=tuple(air), spouts=tuple(spouts), dead=tuple(dead), leaks=tuple(leaks))
    return scene, planted(scene)


def planted(scene: Scene) -> tuple[Planted, ...]:
    """The faults of a scene."""
    found = [
        Planted(kind="spout", x_mm=s.x_mm, y_mm=s.y_mm, reach_mm=0.95 * s.bubble_mm, start_s=max(0.0, s.start_s))
        for s in scene.spouts
    ]
    found += [
        Planted(kind="dead_spot", x_mm=d.x_mm, y_mm=d.y_mm, reach_mm=d.radius_mm, start_s=max(0.0, d.start_s))
        for d in scene.dead
    ]
    for leak in scene.leaks:
        x, y = leak.middle(scene.bed)
        found.append(
            Planted(kind="rim_leak", x_mm=x, y_mm=y, reach_mm=leak.length_mm / 2, start_s=max(0.0, leak.start_s))
        )
    return tuple(found)


def _plain(seed: int, duration_s: float) -> Scene:
    """A random scene whose camera is no finer and no faster than it need be."""
    number = 100 * seed
    while True:
        scene = random_scene(number, duration_s=duration_s)
        if scene.camera.size_px[1] <= 720 and scene.fps <= 30 and min(scene.bed.width_mm, scene.bed.length_mm) >= 240:
            return scene
        number += 1


def _leak(rng: np.random.Generator, bed: Bed, start_s: float) -> RimLeak:
    length = float(rng.uniform(60, 180))
    return RimLeak(
        clock_deg=float(rng.uniform(0, 360)),
        length_mm=min(length, 0.4 * min(bed.width_mm, bed.length_mm)),
        bubble_mm=float(rng.uniform(9, 14)),
        per_s=length / 2.0,
        start_s=start_s,
    )


def _spot(
    rng: np.random.Generator, bed: Bed, taken: list[tuple[float, float]], air: list[float], settled: bool
) -> tuple[float, float] | None:
    for _ in range(60):
        x, y = (float(rng.uniform(-0.5, 0.5) * side) for side in (bed.width_mm, bed.length_mm))
        if wall_distance(bed, np.array([[x, y]]))[0] < 22:
            continue
        if _clear(bed, (x, y), taken, air, APART_MM, settled):
            return x, y
    return None


def _clear(
    bed: Bed,
    spot: tuple[float, float],
    taken: list[tuple[float, float]],
    air: list[float],
    apart_mm: float,
    settled: bool = False,
) -> bool:
    """Whether a fault may be planted here: apart from the others, and in fed zones only, unless all are settled."""
    if any(math.hypot(spot[0] - x, spot[1] - y) < apart_mm for x, y in taken):
        return False
    if settled:
        return True
    turn = np.linspace(0, 2 * math.pi, 12, endpoint=False)
    around = np.array(spot) * 0.97 + 34.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    zones = zone_index(bed, around)
    return all(1.5 < air[zone] < 2.5 for zone in zones if zone >= 0)
