"""The demo: a shop's round bed of seven zones for cast gate latches, one zone starved, one over-aired."""

from __future__ import annotations

from bedwatch.bed import Bed
from bedwatch.sim.beds import round_bed
from bedwatch.sim.camera import Camera, fitting_focal_px
from bedwatch.sim.powder import POWDERS
from bedwatch.sim.scene import Scene
from bedwatch.sim.stage import Lamp, Tub

DEMO_AIR = (1.9, 2.0, 0.8, 1.8, 1.9, 5.6, 2.0)  # zone 3 wants more air, zone 6 less


def demo_bed() -> Bed:
    """420 mm, a centre zone and six sectors, powder 80 mm below the rim."""
    return round_bed(420.0, (1, 6), surface_below_rim_mm=80.0, name="Gate-latch bed")


def demo_scene(
    *, size_px: tuple[int, int] = (640, 480), fps: float = 15.0, duration_s: float = 14.0, seed: int = 1
) -> Scene:
    """The demo bed under a camera that stands to one side, with a lamp from the upper left."""
    height = 1000.0
    return Scene(
        bed=demo_bed(),
        air=DEMO_AIR,
        powder=POWDERS["white"],
        camera=Camera(
            size_px=size_px,
            focal_px=fitting_focal_px(size_px, height, 436.0, 0.93),
            height_mm=height,
            tilt_deg=8.0,
            tilt_azimuth_deg=15.0,
            blur_px=0.5,
        ),
        lamp=Lamp(azimuth_deg=310.0, elevation_deg=20.0),
        tub=Tub(bench_contrast=0.15, seed=seed),
        duration_s=duration_s,
        fps=fps,
        seed=seed,
    )
