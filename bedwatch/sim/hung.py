"""Cameras hung up at random over a tub, as somebody in a shop would: tilted, off the axis, sometimes cutting it off."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed
from bedwatch.sim.bend import fold_radius, widest_seen
from bedwatch.sim.camera import Camera, fitting_focal_px, pose, project
from bedwatch.sim.stage import Tub

_SIZES = ((640, 480), (800, 600), (1024, 576), (1280, 720), (1280, 960), (1920, 1080))
_MOST_CUT = 0.2
_MOST_OBLIQUE_DEG = 27.0  # of the line from the bed's centre to the lens, off the vertical
_LEAST_MM, _FARTHEST_MM = 400.0, 1500.0


def hang_up(
    rng: np.random.Generator, bed: Bed, tub: Tub, *, bent: float | None, cut: bool, size_px: tuple[int, int] | None = None
) -> tuple[Camera, float]:  # fmt: skip
    """A camera and the share of the rim's breadth or height that the picture's edge cuts off."""
    for _ in range(50):
        found = _try(rng, bed, tub, bent=bent, cut=cut, size_px=size_px)
        if found is not None:
            return found
    raise RuntimeError(f"no camera sees {bed}")


def _try(
    rng: np.random.Generator,
    bed: Bed,
    tub: Tub,
    *,
    bent: float | None,
    cut: bool,
    size_px: tuple[int, int] | None = None,
) -> tuple[Camera, float] | None:
    size = size_px or _SIZES[rng.integers(len(_SIZES))]
    across = max(bed.width_mm, bed.length_mm) + 2 * tub.rim_mm
    height = float(rng.uniform(max(_LEAST_MM, 1.1 * across), _FARTHEST_MM))
    k1 = bent if bent is not None else (0.0 if rng.random() < 0.4 else float(rng.uniform(-0.30, 0.0)))
    drift = np.array(size) * rng.uniform(-0.5, 0.5, 2) * (0.7 if cut else 0.25)
    fill = float(rng.uniform(0.75, 1.1) if cut else rng.uniform(0.5, 0.97))
    wide = max(bed.length_mm, bed.width_mm * size[1] / size[0]) + 2 * tub.rim_mm
    camera = Camera(
        size_px=size,
        height_mm=height,
        tilt_deg=float(rng.uniform(0, 25)),
        tilt_azimuth_deg=float(rng.uniform(0, 360)),
        roll_deg=0.0 if bed.shape == "round" else float(rng.uniform(-15, 15)),
        blur_px=float(rng.uniform(0.5, 1.1)) * (size[1] / 720) ** 0.5,
        vignette=float(rng.uniform(0.0, 0.25)),
        gamma=float(rng.uniform(1.8, 2.2)),
        full_well_e=float(rng.uniform(2500, 9000)),
        read_noise_e=float(rng.uniform(4, 12)),
    )
    for shrink in np.linspace(1.0, 0.4, 25):
        off = drift * float(shrink) ** 3
        focal = fitting_focal_px(size, height, wide, fill * float(shrink))
        camera = _bent(replace(camera, focal_px=focal, off_centre_px=(float(off[0]), float(off[1]))), k1)
        try:
            if oblique_deg(camera, bed) > _MOST_OBLIQUE_DEG:
                continue
        except ValueError:  # looks past the horizon
            continue
        share = cut_share(camera, bed, tub)
        if 0.03 < share <= _MOST_CUT if cut else share == 0.0:
            return camera, share
    return None


def _bent(camera: Camera, k1: float) -> Camera:
    """The camera with that k1, and as much k2 as it takes for the lens not to fold over within the picture.

    k2 > 0.45 k1² never does (the slope 1 + 3 k1 r² + 5 k2 r⁴ has no root).
    """
    corner = math.hypot(*camera.size_px) / 2 / camera.focal_px
    k2 = 0.0 if k1 == 0.0 or widest_seen(k1, 0.0) > 1.03 * corner else 0.6 * k1 * k1
    return replace(camera, k1=k1, k2=k2)


def oblique_deg(camera: Camera, bed: Bed) -> float:
    """Angle off the vertical at which the lens is seen from the bed's centre."""
    x, y, z = pose(camera, bed.surface_below_rim_mm).centre_mm
    return math.degrees(math.atan2(math.hypot(x, y), z))


def rim_outline(camera: Camera, bed: Bed, tub: Tub) -> NDArray[np.float64]:
    """(n, 2) pixels of the rim's outer edge; NaN where the lens does not see it."""
    x, y = bed.width_mm / 2 + tub.rim_mm, bed.length_mm / 2 + tub.rim_mm
    turn = np.linspace(0, 2 * math.pi, 120, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    if bed.shape == "rectangular":
        ring /= np.abs(ring).max(axis=1, keepdims=True)
    at = pose(camera, bed.surface_below_rim_mm)
    places = np.column_stack([ring * [x, y], np.full(len(ring), bed.surface_below_rim_mm)])
    depth = np.column_stack([places, np.ones(len(places))]) @ at.matrix[2]
    seen = np.asarray(project(at, places), np.float64)
    seen[depth <= 0] = np.nan
    return seen


def cut_share(camera: Camera, bed: Bed, tub: Tub) -> float:
    """Share of the rim's breadth or height in the picture that lies beyond the picture's edge; 1 where it is not seen."""
    if fold_radius(camera.k1, camera.k2) < 0.3:
        return 1.0
    seen = rim_outline(camera, bed, tub)
    if not np.isfinite(seen).all():
        return 1.0
    low, high = seen.min(axis=0), seen.max(axis=0)
    size = np.array(camera.size_px, np.float64) - 1
    room = 0.005 * size[1]
    beyond = np.maximum(room - low, 0) + np.maximum(high - (size - room), 0)
    return float((beyond / (high - low)).max())
