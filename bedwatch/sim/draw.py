"""Scenes drawn at random over everything the instrument has to cope with, one per seed."""

from __future__ import annotations

import math

import numpy as np

from bedwatch.bed.model import Bed
from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.camera import Camera, fitting_focal_px, pose, project
from bedwatch.sim.powder import POWDERS, Powder
from bedwatch.sim.scene import Scene
from bedwatch.sim.stage import Colour, Lamp, Tub

_RINGS = ((2,), (3,), (4,), (1, 3), (1, 4), (1, 5), (1, 6), (1, 7), (1, 2, 4), (2, 4), (1, 8), (3, 6))
_GRIDS = ((1, 2), (2, 1), (1, 3), (2, 2), (2, 3), (3, 2), (2, 4), (3, 3))
_SIZES = ((640, 480), (800, 600), (1280, 720), (1280, 720), (1920, 1080))
_RATES = (15.0, 20.0, 25.0, 30.0, 30.0, 50.0, 60.0)
_METALS: tuple[Colour, ...] = ((0.50, 0.51, 0.51), (0.33, 0.34, 0.36), (0.12, 0.12, 0.12), (0.08, 0.10, 0.22))
_WALLS: tuple[Colour, ...] = ((0.30, 0.31, 0.32), (0.16, 0.17, 0.18), (0.06, 0.06, 0.07), (0.14, 0.12, 0.10))
_BENCHES: tuple[Colour, ...] = (
    (0.16, 0.22, 0.30),
    (0.25, 0.25, 0.26),
    (0.10, 0.14, 0.12),
    (0.40, 0.42, 0.42),
)


def _pick_bed(rng: np.random.Generator, round_share: float) -> Bed:
    below = float(rng.choice([0.0, 20.0, 40.0, 60.0, 80.0]))
    if rng.random() < round_share:
        rings = _RINGS[rng.integers(len(_RINGS))]
        least = 200 if sum(rings) <= 4 else 260 if sum(rings) <= 6 else 320  # zones stay wider than their borders
        return round_bed(
            float(rng.integers(least // 10, 61) * 10),
            rings,
            first_boundary_deg=float(rng.integers(0, 24) * 15),
            surface_below_rim_mm=below,
        )
    rows, columns = _GRIDS[rng.integers(len(_GRIDS))]
    width = float(np.clip(round(columns * rng.uniform(110, 200), -1), 200, 600))
    length = float(np.clip(round(rows * rng.uniform(110, 200), -1), 200, min(600, 1.6 * width)))
    width = min(width, 1.9 * length)
    return rectangular_bed(width, length, (rows, columns), surface_below_rim_mm=below)


def _pick_air(rng: np.random.Generator, count: int) -> tuple[float, ...]:
    """Clearly starved, good or violent per zone; good is commonest."""
    bands = ((0.5, 1.05), (1.6, 2.2), (4.5, 7.0))
    kind = rng.choice(3, size=count, p=(0.3, 0.45, 0.25))
    return tuple(float(round(rng.uniform(*bands[k]), 2)) for k in kind)


def _unlike(rng: np.random.Generator, colours: tuple[Colour, ...], albedo: float) -> Colour:
    """A colour whose brightness is clearly not the powder's."""
    fit = [c for c in colours if abs(math.log(sum(c) / 3 / albedo)) > 0.45]
    return fit[rng.integers(len(fit))]


def _pick_camera(rng: np.random.Generator, bed: Bed, tub: Tub, most_tilt_deg: float) -> Camera:
    """A camera that has the whole rim in view with a little room around it."""
    size = _SIZES[rng.integers(len(_SIZES))]
    height = float(rng.uniform(1.5, 2.6) * max(bed.width_mm, bed.length_mm))
    height = float(np.clip(height, 400, 1600))
    tilt = float(rng.uniform(0, most_tilt_deg))
    azimuth = float(rng.uniform(0, 360))
    wide = max(bed.length_mm, bed.width_mm * size[1] / size[0]) + 2 * tub.rim_mm
    fill = float(rng.uniform(0.72, 0.95))
    drift = rng.uniform(-0.05, 0.05, 2) * size[1]
    for shrink in np.linspace(1.0, 0.5, 11):
        camera = Camera(
            size_px=size,
            focal_px=fitting_focal_px(size, height, wide, fill * float(shrink)),
            height_mm=height,
            tilt_deg=tilt,
            tilt_azimuth_deg=azimuth,
            off_centre_px=(float(drift[0]), float(drift[1])),
            blur_px=float(rng.uniform(0.5, 1.0)) * (size[1] / 720) ** 0.5,
            vignette=float(rng.uniform(0.0, 0.2)),
            gamma=float(rng.uniform(1.8, 2.2)),
            full_well_e=float(rng.uniform(3000, 9000)),
            read_noise_e=float(rng.uniform(4, 12)),
        )
        if _whole_rim_in_view(camera, bed, tub):
            return camera
    raise RuntimeError(f"no camera sees the whole rim of {bed}")


def _whole_rim_in_view(camera: Camera, bed: Bed, tub: Tub) -> bool:
    at = pose(camera, bed.surface_below_rim_mm)
    x, y = bed.width_mm / 2 + tub.rim_mm, bed.length_mm / 2 + tub.rim_mm
    if bed.shape == "round":
        turn = np.linspace(0, 2 * math.pi, 60)
        ring = np.column_stack([x * np.cos(turn), y * np.sin(turn)])
    else:
        ring = np.array([[-x, y], [x, y], [x, -y], [-x, -y]])
    seen = project(at, np.column_stack([ring, np.full(len(ring), bed.surface_below_rim_mm)]))
    room = 0.01 * camera.size_px[1]
    return bool((seen > room).all() and (seen < np.array(camera.size_px) - 1 - room).all())


def _random_powder(rng: np.random.Generator) -> Powder:
    looks = list(POWDERS.values())
    return looks[rng.integers(len(looks))]


def random_scene(
    seed: int, *, duration_s: float = 12.0, round_share: float = 0.7, most_tilt_deg: float = 15.0
) -> Scene:
    """The scene of a seed: round or rectangular, 2 to 9 zones, 200 to 600 mm, any powder, 480p to 1080p,
    15 to 60 pictures a second, tilt in any direction, each zone clearly starved, good or violent."""
    rng = np.random.default_rng([seed, 420])
    bed = _pick_bed(rng, round_share)
    powder = _random_powder(rng)
    tub = Tub(
        rim_mm=float(rng.uniform(4, 12)),
        rim=_unlike(rng, _METALS, powder.albedo),
        wall=_unlike(rng, _WALLS, powder.albedo),
        bench=_BENCHES[rng.integers(len(_BENCHES))],
        bench_contrast=float(rng.uniform(0.1, 0.35)),
        seed=seed,
    )
    lamp = Lamp(
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(12, 30)),
        ambient=float(rng.uniform(0.3, 0.55)),
        wall_shadow=float(rng.uniform(0.1, 0.5)),
        falloff=float(rng.uniform(0.0, 0.2)),
    )
    return Scene(
        bed=bed,
        air=_pick_air(rng, len(bed.zones)),
        powder=powder,
        camera=_pick_camera(rng, bed, tub, most_tilt_deg),
        lamp=lamp,
        tub=tub,
        depth_mm=float(rng.uniform(140, 160)),
        duration_s=duration_s,
        fps=_RATES[rng.integers(len(_RATES))],
        seed=seed,
    )
