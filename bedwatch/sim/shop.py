"""Shops drawn at random: unlike tubs, cameras and clutter, as a camera that somebody has just hung up sees them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from bedwatch.bed import Bed, Zone
from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.camera import Camera
from bedwatch.sim.clutter import Around, Hose, Kind, Part, Thing
from bedwatch.sim.hung import hang_up
from bedwatch.sim.powder import POWDERS, Powder
from bedwatch.sim.scene import Scene
from bedwatch.sim.stage import Colour, Lamp, Tub

Tones = Literal["unlike", "white on white", "black on black"]
_RINGS = ((3,), (4,), (1, 4), (1, 6), (1, 2, 4), (2, 6))
_GRIDS = ((1, 2), (2, 2), (2, 3), (3, 2))
_BELOW_MM = (15.0, 30.0, 40.0, 60.0, 80.0, 80.0, 110.0, 140.0)
_METAL: tuple[Colour, ...] = ((0.50, 0.51, 0.51), (0.33, 0.34, 0.36), (0.22, 0.22, 0.22), (0.10, 0.11, 0.12))
_PAINT: tuple[Colour, ...] = ((0.45, 0.16, 0.05), (0.05, 0.30, 0.55), (0.06, 0.08, 0.40), (0.12, 0.30, 0.14))
_BENCHES: tuple[Colour, ...] = ((0.16, 0.22, 0.30), (0.25, 0.25, 0.26), (0.10, 0.14, 0.12), (0.40, 0.42, 0.42),
            (0.06, 0.06, 0.07))  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """A scene, the bed as its file has it (the level may differ), and what is odd about it in a few words."""

    scene: Scene
    bed: Bed
    still: bool
    words: str


def shop(
    seed: int,
    *,
    still: bool | None = None,
    bent: float | None = None,
    round_only: bool = False,
    plain: bool = False,
    size_px: tuple[int, int] | None = None,
) -> Shop:
    """The shop of a seed; ten pictures over one second.

    bent: the lens's k1, None for any from -0.30 to 0. plain: the whole rim in view, nothing across it, level as in the
    file, tones unlike. Every trait that is left open is drawn by the seed; by default every other seed is a still bed.
    """
    rng = np.random.default_rng([seed, 1999])
    quiet = bool(seed % 2) if still is None else still
    tones: Tones = "unlike" if plain else {3: "white on white", 6: "black on black"}.get(seed % 10, "unlike")  # type: ignore[assignment]
    bed, shape = _bed(rng, round_only)
    powder, tub = _tones(rng, tones)
    off_mm = 0.0 if plain or rng.random() < 0.5 else float(rng.uniform(max(-12.0, -0.5 * bed.surface_below_rim_mm), 20))
    real = replace(bed, surface_below_rim_mm=bed.surface_below_rim_mm + off_mm)
    cut = not plain and rng.random() < 0.35
    camera, cut_share = hang_up(rng, real, tub, bent=bent, cut=cut, size_px=size_px)
    around = _around(rng, real, tub, powder, camera, plain, seed)
    scene = Scene(
        bed=real,
        air=(0.0,) * len(bed.zones) if quiet else _air(rng, len(bed.zones)),
        powder=powder,
        camera=camera,
        lamp=_lamp(rng),
        tub=replace(tub, seed=seed),
        around=around,
        duration_s=1.0,
        fps=10.0,
        seed=seed,
        start_s=0.0 if quiet else 0.6,
    )
    words = [f"{shape} {bed.width_mm:.0f}×{bed.length_mm:.0f} mm", f"{camera.size_px[0]}×{camera.size_px[1]}",
             f"{powder.name} powder", tones if tones != "unlike" else "", "still" if quiet else "",
             f"from {camera.height_mm / 1000:.2f} m", f"tilt {camera.tilt_deg:.0f}°",
             f"k1 {camera.k1:.2f}" if camera.k1 else "", f"level {off_mm:+.0f} mm" if off_mm else "",
             f"cut by {100 * cut_share:.0f} %" if cut_share > 0 else "",
             f"{len(around.things)} things" if around.things else "", "hose" if around.hoses else "",
             "part" if around.parts else ""]  # fmt: skip
    return Shop(scene=scene, bed=bed, still=quiet, words=", ".join(word for word in words if word))


def empty_bench(seed: int) -> Scene:
    """A bench with clutter and no tub; its bed is the one that is looked for in vain."""
    rng = np.random.default_rng([seed, 2001])
    bed, _ = _bed(rng, round_only=bool(seed % 2))
    powder, tub = _tones(rng, "unlike")
    camera, _ = hang_up(rng, bed, tub, bent=None, cut=False)
    around = _around(rng, bed, tub, powder, camera, False, seed)
    more = tuple(_thing(rng, bed, powder, 0.0, 0.75 * bed.width_mm) for _ in range(int(rng.integers(3, 8))))
    around = replace(around, things=tuple(_unlike_bed(one, bed) for one in around.things + more), no_tub=True)
    return Scene(bed=bed, air=(0.0,) * len(bed.zones), powder=powder, camera=camera, lamp=_lamp(rng),
                 tub=replace(tub, seed=seed), around=around, duration_s=1.0, fps=10.0, seed=seed)  # fmt: skip


def _unlike_bed(thing: Thing, bed: Bed) -> Thing:
    """A bucket filled as a bed of its size would be cannot be told from one without a rule beside it: fill it otherwise."""
    if thing.kind != "bucket" or bed.shape != "round":
        return thing
    alike = (1 - thing.filled) * thing.height_mm / thing.size_mm / (bed.surface_below_rim_mm / bed.width_mm)
    if not 0.5 < alike < 1.8:
        return thing
    return replace(thing, filled=0.05 if thing.filled < 0.6 else 0.97)


def _bed(rng: np.random.Generator, round_only: bool) -> tuple[Bed, str]:
    below = float(rng.choice(_BELOW_MM))
    kind = rng.random()
    if round_only or kind < 0.6:
        across = float(rng.integers(20, 61) * 10)
        rings = _RINGS[rng.integers(len(_RINGS))]
        below = min(below, 0.3 * across)
        bed = round_bed(across, rings, first_boundary_deg=float(rng.integers(0, 24) * 15), surface_below_rim_mm=below)
        return (bed, "round") if round_only or kind < 0.5 else (custom_zones(bed), "round, own zones")
    width = float(rng.integers(20, 61) * 10)
    length = float(round(width * rng.uniform(0.6, 1.0), -1))
    if rng.random() < 0.3:
        width, length = length, width
    below = min(below, 0.3 * min(width, length))
    bed = rectangular_bed(width, length, _GRIDS[rng.integers(len(_GRIDS))], surface_below_rim_mm=below)
    return (bed, "rectangular") if kind < 0.9 else (custom_zones(bed), "rectangular, own zones")


def custom_zones(bed: Bed) -> Bed:
    """The bed with three zones drawn by hand instead: two strips and a triangle, which leave part of it uncovered."""
    half = np.array([bed.width_mm, bed.length_mm]) / 2 * (0.68 if bed.shape == "round" else 0.95)
    shapes = {
        "left": [(-1.0, 0.9), (-0.1, 0.9), (-0.1, -0.9), (-1.0, -0.9)],
        "right": [(0.0, 0.9), (1.0, 0.9), (1.0, 0.0), (0.0, 0.0)],
        "front": [(0.0, -0.1), (1.0, -0.1), (0.3, -0.95)],
    }
    zones = []
    for name, corners in shapes.items():
        polygon = np.array(corners) * half
        x, y = polygon.T
        area = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
        zones.append(Zone(name=name, polygon_mm=polygon, area_mm2=area))
    return replace(bed, zones=tuple(zones))


def _air(rng: np.random.Generator, count: int) -> tuple[float, ...]:
    bands = ((0.5, 1.05), (1.6, 2.2), (4.0, 6.5))
    kinds = rng.choice(3, size=count, p=(0.25, 0.5, 0.25))
    kinds[rng.integers(count)] = 1  # something moves
    return tuple(float(round(rng.uniform(*bands[kind]), 2)) for kind in kinds)


def _near(rng: np.random.Generator, level: float, spread: float) -> Colour:
    grey = level * float(np.exp(rng.uniform(-spread, spread)))
    tint = 1 + rng.uniform(-0.04, 0.04, 3)
    return (grey * float(tint[0]), grey * float(tint[1]), grey * float(tint[2]))


def _tones(rng: np.random.Generator, tones: Tones) -> tuple[Powder, Tub]:
    """Powder, and a tub that is lighter or darker than it, or as like it as such things are."""
    rim_mm, depth = float(rng.choice([3.0, 5.0, 8.0, 12.0, 25.0])), float(rng.uniform(180, 380))
    contrast = float(rng.uniform(0.1, 0.35))
    if tones == "unlike":
        powder = list(POWDERS.values())[rng.integers(len(POWDERS))]
        colours = (*_METAL, *_PAINT)
        rim = colours[rng.integers(len(colours))]
        wall = rim if rng.random() < 0.6 else colours[rng.integers(len(colours))]
        light = float(rng.uniform(0.6, 1.0))
        wall = (wall[0] * light, wall[1] * light, wall[2] * light)
        bench = _BENCHES[rng.integers(len(_BENCHES))]
        return powder, Tub(rim_mm=rim_mm, depth_mm=depth, rim=rim, wall=wall, outside=wall, bench=bench,
                           bench_contrast=contrast)  # fmt: skip
    powder = POWDERS["white" if tones == "white on white" else "black"]
    rim, wall = _near(rng, powder.albedo, 0.12), _near(rng, powder.albedo, 0.12)
    bench = _near(rng, powder.albedo, 0.3) if rng.random() < 0.5 else _BENCHES[rng.integers(len(_BENCHES))]
    return powder, Tub(rim_mm=rim_mm, depth_mm=depth, rim=rim, wall=wall, outside=wall, bench=bench,
                       bench_contrast=contrast)  # fmt: skip


def _lamp(rng: np.random.Generator) -> Lamp:
    return Lamp(
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(15, 50)),
        ambient=float(rng.uniform(0.3, 0.65)),
        wall_shadow=float(rng.uniform(0.1, 0.5)),
        falloff=float(rng.uniform(0.0, 0.2)),
    )


def _thing(rng: np.random.Generator, bed: Bed, powder: Powder, nearest_mm: float, farthest_mm: float) -> Thing:
    kind: Kind = ("bucket", "lid", "hoop", "box", "bar")[rng.choice(5, p=(0.3, 0.2, 0.2, 0.2, 0.1))]
    across = min(bed.width_mm, bed.length_mm)
    size = float(across * rng.uniform(0.25, 0.85 if kind in ("lid", "hoop") else 0.6))
    tall = {"bucket": rng.uniform(80, 260), "lid": 12.0, "hoop": 8.0, "box": rng.uniform(20, 160), "bar": 15.0}[kind]
    colours = (*_METAL, *_PAINT, (0.7, 0.7, 0.68))
    turn, out = rng.uniform(0, 2 * math.pi), rng.uniform(nearest_mm, farthest_mm) + size / 2
    if nearest_mm == 0.0:
        out -= size / 2
    level = powder.albedo
    return Thing(
        kind=kind,
        x_mm=float(out * math.sin(turn)),
        y_mm=float(out * math.cos(turn)),
        size_mm=size,
        height_mm=float(tall),
        colour=colours[rng.integers(len(colours))],
        filling=(level, level, level) if rng.random() < 0.5 else (0.05, 0.05, 0.05),
        filled=float(rng.uniform(0.2, 0.9)),
        turn_deg=float(rng.uniform(0, 360)),
    )


def _around(
    rng: np.random.Generator, bed: Bed, tub: Tub, powder: Powder, camera: Camera, plain: bool, seed: int
) -> Around:
    reach = math.hypot(bed.width_mm, bed.length_mm) / 2 if bed.shape == "rectangular" else bed.width_mm / 2
    near = reach + tub.rim_mm + 25
    far = max(near + 60, 0.6 * camera.size_px[0] / camera.focal_px * (camera.height_mm + tub.depth_mm))
    things = tuple(_thing(rng, bed, powder, near, far) for _ in range(int(rng.integers(2, 7))))
    hoses: tuple[Hose, ...] = ()
    parts: tuple[Part, ...] = ()
    if not plain and rng.random() < 0.35:
        turn = rng.uniform(0, 2 * math.pi)
        ends = [(reach * share, turn + bend) for share, bend in ((2.2, 0.3), (1.3, 0.1), (0.95, 0.0), (0.55, 0.25))]
        line = tuple((float(out * math.sin(a)), float(out * math.cos(a))) for out, a in ends)
        grey = float(rng.choice([0.03, 0.06, 0.35, 0.6]))
        hoses = (Hose(line_mm=line, width_mm=float(rng.uniform(6, 28)), colour=(grey, grey, grey)),)
    if not plain and rng.random() < 0.3:
        x, y = (float(v) for v in rng.uniform(-0.3, 0.3, 2) * reach)
        grey = float(rng.uniform(0.1, 0.5))
        parts = (Part(x_mm=x, y_mm=y, above_mm=float(rng.uniform(0, 60)), long_mm=float(rng.uniform(50, 110)),
                      thick_mm=float(rng.uniform(6, 18)), colour=(grey, grey, grey),
                      turn_deg=float(rng.uniform(0, 180))),)  # fmt: skip
    level = powder.albedo
    return Around(
        things=things,
        hoses=hoses,
        parts=parts,
        ramp=float(rng.uniform(0, 0.35)),
        ramp_deg=float(rng.uniform(0, 360)),
        shade=float(rng.uniform(0.15, 0.4)) if rng.random() < 0.2 else 0.0,
        dusted=float(rng.uniform(0.1, 0.4)) if rng.random() < 0.5 else 0.0,
        dust=(level, level, level),
        gloss=float(rng.uniform(0.3, 1.5)) if rng.random() < 0.4 else 0.0,
        seed=seed,
    )
