"""Zone speeds of real textures on a disc that turns rigidly, and of discs that stand still. The aim is the true one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.sim import Camera, Turntable, TurntableSource, demo_bed
from bedwatch.sim.camera import fitting_focal_px
from bedwatch.sim.turntable import Texture, rms_radius_mm
from tests.benchmarks.group import Group, Row, follow, true_aim

TEXTURES: tuple[Texture, ...] = ("gravel", "grass", "brick")
OUTER_MM_S = (4.0, 10.0, 20.0, 40.0, 60.0)  # root mean square speed of the outer zones; the middle one turns slower
FAST_MM_S = (120.0, 240.0)
FILLS = {"0.65 mm/px": 0.93, "1.06 mm/px": 0.57}
SIZE_PX = (1280, 720)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    texture: Texture
    outer_mm_s: float
    fill: float = 0.93
    contrast: float = 1.0
    full_well_e: float = 8000.0
    read_noise_e: float = 6.0
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """(zones,) each: true and read speed, its stated error, the live share; NaN where nothing was read."""

    job: Job
    true: NDArray[np.float64]
    read: NDArray[np.float64]
    error: NDArray[np.float64]
    live: NDArray[np.float64]


def table(job: Job, duration_s: float = 8.0) -> Turntable:
    bed = demo_bed()
    height = 1000.0
    camera = Camera(
        size_px=SIZE_PX,
        focal_px=fitting_focal_px(SIZE_PX, height, 436.0, job.fill),
        height_mm=height,
        tilt_deg=8.0,
        tilt_azimuth_deg=15.0,
        blur_px=0.6,
        full_well_e=job.full_well_e,
        read_noise_e=job.read_noise_e,
    )
    omega = job.outer_mm_s / rms_radius_mm(bed.zones[-1].polygon_mm)
    return Turntable(
        bed=bed,
        omega_rad_s=omega,
        texture=job.texture,
        contrast=job.contrast,
        camera=camera,
        duration_s=duration_s,
        seed=77,
    )


def run(job: Job) -> Measured:
    turning = table(job)
    source = TurntableSource(turning)
    _, readings = follow(source, turning.bed, true_aim(source, turning.bed))
    zones = readings[-1].zones
    columns = [(zone.speed_mm_s, zone.speed_error_mm_s, zone.live) for zone in zones]
    read, error, live = np.array(columns, dtype=np.float64).T
    return Measured(job=job, true=np.array(source.truth.speed_mm_s), read=read, error=error, live=live)


def turning_jobs(quick: bool) -> Sequence[Job]:
    speeds = (4.0, 40.0) if quick else OUTER_MM_S
    fills = (0.57,) if quick else tuple(FILLS.values())
    jobs = [Job(texture=t, outer_mm_s=v, fill=fill) for t in TEXTURES for fill in fills for v in speeds]
    fast = [] if quick else [Job(texture=t, outer_mm_s=v, fill=0.57) for t in TEXTURES for v in FAST_MM_S]
    return jobs + fast


def turning_rows(results: Sequence[Measured]) -> list[Row]:
    slow = [one for one in results if one.job.outer_mm_s <= 60]
    made = [_speed_row("all textures", slow, asked=True)]
    made += [_speed_row(t, [one for one in slow if one.job.texture == t], asked=False) for t in TEXTURES]
    for outer in sorted({one.job.outer_mm_s for one in results} - {one.job.outer_mm_s for one in slow}):
        made.append(_fast_row(outer, [one for one in results if one.job.outer_mm_s == outer]))
    return made


def _gather(results: Sequence[Measured]) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Relative error, its size in stated errors, share that was read at all; zones of 3 to 60 mm/s only."""
    true, read, error = (np.concatenate([getattr(one, name) for one in results]) for name in ("true", "read", "error"))
    wanted = true >= 2.999 if true.max() > 61 else (true >= 2.999) & (true <= 60.01)
    known = wanted & np.isfinite(read)
    off = np.asarray(read[known] - true[known])
    return off / true[known], off / error[known], float(known.sum() / wanted.sum())


def _speed_row(name: str, results: Sequence[Measured], *, asked: bool) -> Row:
    off, sigmas, known = _gather(results)
    middle, most = (float(q) for q in np.percentile(np.abs(off) * 100, (50, 95)))
    within = float((np.abs(sigmas) <= 2).mean())
    failures = [
        f"{one.job.texture} {one.job.outer_mm_s:g} mm/s, {_scale(one.job)}, zone {number + 1}: "
        f"read {one.read[number]:.1f} ± {one.error[number]:.1f}, true {one.true[number]:.1f} mm/s"
        for one in results
        for number in range(len(one.true))
        if 2.999 <= one.true[number] <= 60.01 and not abs(one.read[number] / one.true[number] - 1) <= 0.10
    ]
    return Row(
        figure=f"turntable 3–60 mm/s, zone speed, {name}",
        asked="error ≤ 4 (95th: 10) %, 95 % within two errors" if asked else "",
        reached=f"{middle:.1f} ({most:.1f}) %, {100 * within:.0f} % within two errors",
        met=(middle <= 4 and most <= 10 and within >= 0.95 and known == 1) if asked else None,
        note=f"{len(off)} zones, bias {100 * float(np.median(off)):+.1f} %, read at all {100 * known:.0f} %",
        failures=tuple(failures) if asked else (),
    )


def _fast_row(outer: float, results: Sequence[Measured]) -> Row:
    off, sigmas, known = _gather(results)
    stated = np.concatenate([one.error / one.read for one in results])
    return Row(
        figure=f"turntable {outer:.0f} mm/s",
        asked="",
        reached=f"{100 * float(np.median(np.abs(off))):.0f} ({100 * float(np.percentile(np.abs(off), 95)):.0f}) %, "
        f"{100 * float((np.abs(sigmas) <= 2).mean()):.0f} % within two errors",
        note=f"stated error {100 * float(np.nanmedian(stated)):.0f} %, bias {100 * float(np.median(off)):+.0f} %, "
        f"read at all {100 * known:.0f} %",
    )


def _scale(job: Job) -> str:
    return next(words for words, fill in FILLS.items() if fill == job.fill)


def still_jobs(quick: bool) -> Sequence[Job]:
    plain: list[Job] = []
    for texture in TEXTURES[:1] if quick else TEXTURES:
        plain.append(Job(texture=texture, outer_mm_s=0.0, label="plain"))
        plain.append(Job(texture=texture, outer_mm_s=0.0, full_well_e=1500.0, read_noise_e=25.0, label="noisy"))
        plain.append(Job(texture=texture, outer_mm_s=0.0, contrast=0.2, label="faint"))
    return plain


def still_rows(results: Sequence[Measured]) -> list[Row]:
    made = []
    for label in ("plain", "noisy", "faint"):
        ours = [one for one in results if one.job.label == label]
        speed, live, error = (
            np.concatenate([getattr(one, name) for one in ours]) for name in ("read", "live", "error")
        )
        known = np.isfinite(speed)
        most, shown = (float(a[known].max()) if known.any() else float("nan") for a in (speed, live))
        over = float((speed[known] <= 2 * error[known]).mean()) if known.any() else float("nan")
        asked = label != "faint"
        made.append(
            Row(
                figure=f"still disc, {label}",
                asked="< 0.5 mm/s, live ≤ 0.02" if asked else "",
                reached=f"{most:.2f} mm/s, live {shown:.3f}",
                met=bool(most < 0.5 and shown <= 0.02) if asked else None,
                note=f"worst of {len(speed)} zones; median {float(np.nanmedian(speed)):.2f} mm/s; 0 within two errors "
                f"{100 * over:.0f} %; read at all {100 * float(known.mean()):.0f} %",
            )
        )
    return made


TURNTABLE = Group(name="turntable", jobs=turning_jobs, run=run, rows=turning_rows, words="turning discs")
STILL = Group(name="still", jobs=still_jobs, run=run, rows=still_rows, words="still discs")
