"""Discs of real textures that stand still: what speed and live share is read there. The aim is the true one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.sim import Camera, Turntable, TurntableSource, demo_bed
from bedwatch.sim.camera import fitting_focal_px
from bedwatch.sim.turntable import Texture
from tests.benchmarks.group import Group, Row, follow, true_aim

TEXTURES: tuple[Texture, ...] = ("gravel", "grass", "brick")
FILL = 0.93  # of the picture's height; 0.65 mm per pixel
SIZE_PX = (1280, 720)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    texture: Texture
    contrast: float = 1.0
    full_well_e: float = 8000.0
    read_noise_e: float = 6.0
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """(zones,) each: read speed, its stated error, the live share; NaN where nothing was read."""

    job: Job
    read: NDArray[np.float64]
    error: NDArray[np.float64]
    live: NDArray[np.float64]


def table(job: Job, duration_s: float = 8.0) -> Turntable:
    bed = demo_bed()
    height = 1000.0
    camera = Camera(
        size_px=SIZE_PX,
        focal_px=fitting_focal_px(SIZE_PX, height, 436.0, FILL),
        height_mm=height,
        tilt_deg=8.0,
        tilt_azimuth_deg=15.0,
        blur_px=0.6,
        full_well_e=job.full_well_e,
        read_noise_e=job.read_noise_e,
    )
    return Turntable(
        bed=bed,
        omega_rad_s=0.0,
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
    return Measured(job=job, read=read, error=error, live=live)


def still_jobs(quick: bool) -> Sequence[Job]:
    plain: list[Job] = []
    for texture in TEXTURES[:1] if quick else TEXTURES:
        plain.append(Job(texture=texture, label="plain"))
        plain.append(Job(texture=texture, full_well_e=1500.0, read_noise_e=25.0, label="noisy"))
        plain.append(Job(texture=texture, contrast=0.2, label="faint"))
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


STILL = Group(name="still", jobs=still_jobs, run=run, rows=still_rows, words="still discs")
