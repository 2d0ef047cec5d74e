"""Writes clips with their truth: `python -m tests.benchmarks.unlike.clips OUT --seed N --kind beds|faults|closed|odd`."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .bed import POWDERS, Air, Bed, F, Fault, Powder
from .camera import Camera, View, still_scene
from .odd import GLASSY, Lying, odd, with_powder
from .sensor import Film, Sensor
from .surface import Lamp, Surface
from .visitors import Limb, Passer, Shadow, Visitor

HIDDEN = 0.015  # share of the visible powder from which a thing in front counts as hiding it


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One shop: what stays the same between the clips of one bed."""

    bed: Bed
    powder: Powder
    camera: Camera
    lamps: tuple[Lamp, ...]
    relief: float
    sensor: Sensor
    scene_seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What happens in one clip."""

    air: Air
    seconds: float
    limbs: tuple[dict[str, Any], ...] = ()
    shadow: tuple[float, float] | None = None
    passer: tuple[float, float] | None = None
    disturbances: tuple[str, ...] = field(default=())
    lying: tuple[Lying, ...] = ()


def random_setting(seed: int, *, bed: Bed | None = None, powder: Powder | None = None) -> Setting:
    rng = np.random.default_rng([seed, 11])
    if bed is None:
        below = float(rng.choice([0, 30, 60, 80, 110], p=[0.08, 0.2, 0.25, 0.27, 0.2]))
        if rng.uniform() < 0.25:
            bed = Bed(
                name="Latch trough", shape="rectangular", width_mm=float(rng.choice([400, 480, 560])),
                length_mm=float(rng.choice([260, 300, 340])), surface_below_rim_mm=min(below, 60),
                grid=((2, 3), (1, 4), (2, 2))[int(rng.integers(3))],
            )  # fmt: skip
        else:
            rings, first = (((1, 6), 0.0), ((1, 5), 0.0), ((1, 6), 30.0), ((1, 4), 45.0), ((1, 6), 0.0))[
                int(rng.integers(5))
            ]
            bed = Bed(
                diameter_mm=float(rng.choice([300, 420, 420, 420, 520])), rings=rings, first_boundary_deg=first,
                surface_below_rim_mm=below,
            )  # fmt: skip
    size = ((640, 360), (848, 480), (640, 480), (960, 540))[int(rng.choice(4, p=[0.3, 0.35, 0.2, 0.15]))]
    tilt = float(rng.choice([0.0, rng.uniform(2, 12), rng.uniform(8, 20)], p=[0.15, 0.5, 0.35]))
    camera = Camera(
        width=size[0], height=size[1], height_mm=float(rng.uniform(0.95, 2.2) * max(bed.size_mm) + 150), tilt_deg=tilt,
        tilt_clock_deg=float(180 + rng.uniform(-50, 50)), fill=float(rng.uniform(0.74, 0.94)),
        offset_px=(float(rng.uniform(-0.05, 0.05) * size[0]), float(rng.uniform(-0.02, 0.02) * size[1])),
        roll_deg=float(rng.uniform(-8, 8)), k1=float(rng.choice([0, rng.uniform(-0.03, 0.01)])),
    )  # fmt: skip
    lamps = [
        Lamp(
            clock_deg=float(rng.uniform(0, 360)),
            elevation_deg=float(rng.uniform(20, 50)),
            share=float(rng.uniform(0.3, 0.55)),
        )
    ]
    if rng.uniform() < 0.5:
        other = (lamps[0].clock_deg + rng.uniform(120, 240)) % 360
        lamps.append(
            Lamp(clock_deg=float(other), elevation_deg=float(rng.uniform(22, 50)), share=float(rng.uniform(0.1, 0.3)))
        )
    codec = str(rng.choice(["MJPG", "MJPG", "mp4v", "XVID"]))
    sensor = Sensor(
        fps=float(rng.choice([25.0, 30.0, 30.0])), codec=codec, quality=int(rng.integers(70, 95)),
        shot=float(rng.uniform(0.004, 0.013)), read=float(rng.uniform(0.0015, 0.005)), blur_px=float(rng.choice([0.0, 0.5, 0.8])),
    )  # fmt: skip
    return Setting(
        bed=bed, powder=powder or POWDERS[int(rng.integers(len(POWDERS)))], camera=camera, lamps=tuple(lamps),
        relief=float(rng.uniform(0.6, 1.1)), sensor=sensor, scene_seed=int(rng.integers(1 << 30)),
    )  # fmt: skip


def shoot(stem: Path, setting: Setting, plan: Plan, seed: int) -> dict[str, Any]:
    """Write `stem`.avi or .mp4, .bed.toml, .aim.toml and .truth.json; give the truth."""
    cv2.setNumThreads(1)
    view = View(setting.bed, setting.camera)
    rng = np.random.default_rng(setting.scene_seed)
    scene = still_scene(view, rng)
    cell = 1.5 if max(setting.bed.size_mm) < 480 else 1.75
    surface = Surface(
        setting.bed, plan.air, setting.powder, setting.lamps, relief=setting.relief, seed=seed, cell_mm=cell,
        fps=setting.sensor.fps,
    )  # fmt: skip
    maps = view.grid_maps(surface.grid)
    seen = view.visible()
    top, bottom, left, right = _box(seen)
    cut = np.s_[top:bottom, left:right]
    colour = np.array(setting.powder.colour, np.float32)
    wanted = {"white": 0.52, "black": 0.045}.get(setting.powder.name, 0.24)
    gain = float(wanted / colour.mean() * rng.uniform(0.85, 1.15))
    gain = min(gain, 0.55 / float(np.percentile(scene, 90)) * 1.6)
    visitors = _visitors(setting, view, plan, seed)
    w, h = setting.camera.width, setting.camera.height
    path = stem.with_name(stem.name + setting.sensor.suffix)
    film = Film(path, (w, h), setting.sensor, gain, seed + 1)
    total = float(seen.sum())
    covered: list[tuple[float, float]] = []
    mask3 = seen[cut][..., None]
    for k in range(round(plan.seconds * setting.sensor.fps)):
        t = k / setting.sensor.fps
        lum = surface.step(1 / setting.sensor.fps)
        for one in plan.lying:
            lum = one.draw(lum, surface.grid, t)
        dx, dy = film.shift()
        frame = scene.copy()
        flat = cv2.remap(lum, maps[0][cut], maps[1][cut], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        part = frame[cut]
        part += (flat[..., None] * colour - part) * mask3
        hide = 0.0
        for visitor in visitors:
            m = visitor.draw(frame, t)
            if m is not None:
                hide = max(hide, float((m * seen).sum()) / total)
        covered.append((t, hide))
        if dx or dy:
            frame = cv2.warpAffine(frame, np.array([[1, 0, dx], [0, 1, dy]]), (w, h), borderMode=cv2.BORDER_REFLECT)
        film.add(frame, t)
    film.close()
    truth = _truth(setting, plan, surface, covered, path.name, seed)
    stem.with_name(stem.name + ".bed.toml").write_text(setting.bed.toml())
    stem.with_name(stem.name + ".aim.toml").write_text(view.aim_toml())
    stem.with_name(stem.name + ".truth.json").write_text(json.dumps(truth, indent=1))
    return truth


def render_clip(
    path: str | Path, bed: Bed, air_per_zone: Sequence[float], seconds: float = 12.0, seed: int = 0, *,
    setting: Setting | None = None, setting_seed: int = 0, faults: Sequence[Fault] = (),
) -> dict[str, Any]:  # fmt: skip
    """One clip for closed loops: `path` without suffix. Keep `setting_seed` for one shop, change
    `seed` from clip to clip. The truth's `clip` names the file that was written beside it."""
    setting = setting or random_setting(setting_seed, bed=bed)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    return shoot(
        path, setting, Plan(air=Air(per_zone=tuple(air_per_zone), faults=tuple(faults)), seconds=seconds), seed
    )


def _box(mask: F) -> tuple[int, int, int, int]:
    rows, cols = np.flatnonzero(mask.max(1) > 0.004), np.flatnonzero(mask.max(0) > 0.004)
    return int(rows[0]), int(rows[-1]) + 1, int(cols[0]), int(cols[-1]) + 1


def _visitors(setting: Setting, view: View, plan: Plan, seed: int) -> list[Visitor]:
    rng = np.random.default_rng([seed, 5])
    h = setting.camera.height
    out: list[Visitor] = []
    span = float(np.ptp(view.surface, axis=0).max())
    for limb in plan.limbs:
        skin = [(0.22, 0.32, 0.52), (0.07, 0.11, 0.2), (0.35, 0.2, 0.1)][int(rng.integers(3))]
        metal = (0.3, 0.32, 0.33) if rng.uniform() < 0.6 else (0.1, 0.1, 0.1)
        tone = skin if limb["kind"] == "hand" else metal
        inner = 0.5 * setting.bed.diameter_mm if setting.bed.shape == "round" else 0.4 * setting.bed.length_mm
        aim = view.project(rng.uniform(-0.45, 0.45, (1, 2)) * inner, 0.0)[0]
        out.append(Limb(limb["kind"], limb["since"], limb["until"], (float(aim[0]), float(aim[1])),
                        float(rng.uniform(0, 360)), span / 420 * 1.05, tone, int(rng.integers(1 << 20))))  # fmt: skip
    if plan.shadow:
        out.append(Shadow(*plan.shadow, float(rng.uniform(0.25, 0.5)), float(rng.uniform(0, 360))))
    if plan.passer:
        clear = 1 - view.polygon(view.rim)
        tone3 = tuple(float(v) for v in rng.uniform(0.03, 0.3, 3))
        out.append(Passer(*plan.passer, clear, (tone3[0], tone3[1], tone3[2]), int(rng.integers(4)) if h else 0))
    return out


def _truth(
    setting: Setting, plan: Plan, surface: Surface, covered: list[tuple[float, float]], clip: str, seed: int
) -> dict[str, Any]:
    speeds = np.sqrt(surface.speed_sum / max(surface.steps, 1))
    blocked: list[list[float]] = []
    for t, share in covered:
        if share > HIDDEN:
            if blocked and t - blocked[-1][1] < 0.3:
                blocked[-1][1] = t
            else:
                blocked.append([t, t])
    return {
        "clip": clip, "seed": seed, "seconds": plan.seconds, "fps": setting.sensor.fps,
        "powder": setting.powder.name, "glassy": setting.powder.glassy,
        "zones": [
            {"zone": str(k + 1), "r": r, "hints": plan.air.hints()[k], "powder_speed_mm_s": round(float(v), 1)}
            for k, (r, v) in enumerate(zip(plan.air.per_zone, speeds, strict=True))
        ],
        "faults": [asdict(f) for f in plan.air.faults],
        "blocked": [[round(a, 3), round(b, 3)] for a, b in blocked],
        "disturbances": list(plan.disturbances),
        "camera": asdict(setting.camera), "sensor": asdict(setting.sensor), "bed": asdict(setting.bed),
    }  # fmt: skip


def random_air(rng: np.random.Generator, zones: int, kind: str) -> list[float]:
    """Air per zone: all hold, all weak, all violent, or mixed."""
    if kind == "hold":
        return [round(float(v), 2) for v in rng.uniform(1.6, 2.7, zones)]
    if kind == "weak":
        return [round(float(v), 2) for v in rng.uniform(0.5, 1.2, zones)]
    if kind == "violent":
        return [round(float(v), 2) for v in rng.uniform(4.2, 6.5, zones)]
    bands = ((0.4, 1.1), (1.5, 2.8), (1.5, 2.8), (4.0, 6.0))
    return [round(float(rng.uniform(*bands[int(rng.integers(4))])), 2) for _ in range(zones)]


def random_faults(rng: np.random.Generator, bed: Bed, air: list[float], seconds: float) -> list[Fault]:
    """One fault, sometimes two that stay 120 mm apart; may lower the air of a channel's zone."""
    out: list[Fault] = []
    half = min(bed.size_mm) / 2
    for _ in range(1 if rng.uniform() < 0.65 else 2):
        kind = str(rng.choice(["spout", "spout", "channel", "dead_spot", "dead_spot", "rim_leak"]))
        if kind == "rim_leak" and bed.shape != "round":
            kind = "spout"
        since = 0.0 if rng.uniform() < 0.5 else round(float(rng.uniform(4, 8)), 2)
        until = round(float(seconds - rng.uniform(3, 5)), 2) if kind == "spout" and rng.uniform() < 0.2 else None
        for _try in range(60):
            a = rng.uniform(0, 2 * math.pi)
            r = half - 10 if kind == "rim_leak" else rng.uniform(0.15, 1) * (half - 45)
            x, y = r * math.sin(a), r * math.cos(a)
            if bed.shape == "rectangular":
                x *= bed.width_mm / bed.length_mm
            if all(math.hypot(x - f.x_mm, y - f.y_mm) > 130 for f in out):
                break
        zone = int(bed.zone_of(np.array([x], np.float32), np.array([y], np.float32))[0])
        size = float(rng.uniform(22, 42) if kind in ("spout", "channel") else rng.uniform(40, 75))
        if kind == "channel":
            air[zone], since = round(float(rng.uniform(0.5, 0.85)), 2), 0.0
        elif air[zone] < 1.4 or air[zone] > 3:
            air[zone] = round(float(rng.uniform(1.6, 2.7)), 2)
        real = {"channel": "spout"}.get(kind, kind)
        out.append(Fault(
            kind=real, x_mm=round(x, 1), y_mm=round(y, 1), diameter_mm=round(size, 1), since_s=since, until_s=until,  # type: ignore[arg-type]
            wander_mm=float(rng.choice([0, 0, 3])) if kind == "spout" else 0.0, note=kind,
            arc_deg=round(float(rng.uniform(18, 50)), 1) if kind == "rim_leak" else 0.0,
        ))  # fmt: skip
    return out


DISTURBANCES = (
    "none",
    "hand",
    "rod",
    "part",
    "shadow",
    "passer",
    "exposure",
    "flicker",
    "bands",
    "shake",
    "haze",
    "hand",
    "none",
    "hunting",
)


def disturb(rng: np.random.Generator, what: str, setting: Setting, plan: Plan) -> tuple[Setting, Plan]:
    s, n = setting.sensor, plan.seconds
    since = round(float(rng.uniform(8.5, n - 6.5)), 2) if n > 15.5 else round(float(rng.uniform(6, n - 5)), 2)
    span = float(rng.uniform(1.5, 3.0))
    plan = replace(plan, disturbances=() if what == "none" else (what,))
    if what in ("hand", "rod", "part"):
        plan = replace(plan, limbs=({"kind": what, "since": since, "until": since + span},))
    elif what == "shadow":
        plan = replace(plan, shadow=(since, since + span + 1))
    elif what == "passer":
        plan = replace(plan, passer=(since - 2, since + 4))
    elif what == "exposure":
        s = replace(s, steps=((since, float(rng.uniform(1.2, 1.6))), (since + 4, float(rng.uniform(0.6, 0.85)))))
    elif what == "hunting":
        s = replace(s, hunting=float(rng.uniform(0.08, 0.2)))
    elif what == "flicker":
        s = replace(s, flicker=float(rng.uniform(0.04, 0.12)), flicker_hz=float(rng.choice([100, 120])))
    elif what == "bands":
        s = replace(
            s,
            flicker=float(rng.uniform(0.03, 0.1)),
            flicker_hz=float(rng.choice([100, 120])),
            rolling_s=float(rng.uniform(0.015, 0.03)),
        )
    elif what == "shake":
        s = replace(s, shake_px=float(rng.uniform(0.5, 1.5)))
    elif what == "haze":
        s = replace(s, haze=float(rng.uniform(0.2, 0.4)))
    return replace(setting, sensor=s), plan


def make(kind: str, number: int, seed: int) -> tuple[Setting, Plan, int]:
    """The plan of clip `number` of a set."""
    rng = np.random.default_rng([seed, number, {"beds": 1, "faults": 2, "closed": 3, "odd": 4}[kind]])
    setting = random_setting(int(rng.integers(1 << 30)), powder=GLASSY if with_powder(kind, number) else None)
    bed = setting.bed
    if kind == "odd":
        name, air, lying = odd(rng, number, bed, lambda zones: random_air(rng, zones, "hold"))
        plan = Plan(air=air, seconds=round(float(rng.uniform(16, 25)), 1), disturbances=(name,), lying=lying)
        if name == "glassy_bands":
            setting, plan = disturb(rng, "bands", setting, plan)
        return setting, plan, int(rng.integers(1 << 30))
    if kind != "faults":
        style = ("hold", "mixed", "weak", "violent", "mixed", "mixed")[number % 6] if kind == "beds" else "mixed"
        plan = Plan(air=Air(per_zone=tuple(random_air(rng, bed.zones, style))), seconds=float(rng.uniform(13, 16)))
        return setting, plan, int(rng.integers(1 << 30))
    seconds = round(float(rng.uniform(16, 25)), 1)
    per_zone = random_air(rng, bed.zones, "hold")
    what = DISTURBANCES[number % len(DISTURBANCES)]
    faults = random_faults(rng, bed, per_zone, seconds) if rng.uniform() < 0.75 else []
    plan = Plan(air=Air(per_zone=tuple(per_zone), faults=tuple(faults)), seconds=seconds)
    setting, plan = disturb(rng, what, setting, plan)
    return setting, plan, int(rng.integers(1 << 30))


def main() -> None:
    p = argparse.ArgumentParser(description="Write make-believe clips with their truth.")
    p.add_argument("out", type=Path)
    p.add_argument("--seed", type=int, default=0)
    p.add_argument("--kind", choices=("beds", "faults", "closed", "odd"), default="beds")
    p.add_argument("--count", type=int, default=12)
    p.add_argument("--first", type=int, default=0, help="number of the first clip")
    a = p.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    for k in range(a.first, a.first + a.count):
        setting, plan, seed = make(a.kind, k, a.seed)
        truth = shoot(a.out / f"{a.kind}-{k:03d}", setting, plan, seed)
        print(
            truth["clip"],
            truth["powder"],
            [z["r"] for z in truth["zones"]],
            [f["note"] for f in truth["faults"]],
            truth["disturbances"],
            flush=True,
        )


if __name__ == "__main__":
    main()
