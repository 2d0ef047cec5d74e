"""A surface that moves as one piece carries its marks along: they are no things in the way, and its air has not changed."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.types import Aim
from bedwatch.judge.types import State
from bedwatch.sim import Camera, Turntable, TurntableSource, demo_bed
from bedwatch.sim.turntable import Texture, rms_radius_mm
from bedwatch.watch import End, Watch

SECONDS = 11.0


@pytest.mark.parametrize(("texture", "outer_mm_s"), [("gravel", 7.0), ("gravel", 14.0), ("brick", 24.0)])
def test_stones_and_bricks_that_come_past_hide_nothing(texture: Texture, outer_mm_s: float) -> None:
    bed = demo_bed()
    camera = Camera(size_px=(640, 360), focal_px=640.0, height_mm=900.0, blur_px=0.5)
    omega = outer_mm_s / rms_radius_mm(bed.zones[-1].polygon_mm)
    source = TurntableSource(
        Turntable(bed=bed, omega_rad_s=omega, texture=texture, camera=camera, duration_s=SECONDS, fps=15.0)
    )
    homography = source.truth.bed_to_picture
    watch = Watch(
        bed,
        Aim(
            surface=outline_of(homography, bed),
            rim=None,
            bed_to_picture=homography,
            mm_per_px=mm_per_px(homography),
            size_px=source.size_px,
            error_mm=0.5,
        ),
    )
    readings = [reading for frame in [*source, End()] if (reading := watch.step(frame)) is not None]
    states = [reading.state for reading in readings]
    # From the eighth second on, as is promised of any undisturbed picture.
    assert {state for state, reading in zip(states, readings, strict=True) if reading.time_s >= 8.0} == {State.READING}
    assert State.BLOCKED not in states
    read = np.array([zone.speed_mm_s for zone in readings[-1].zones])
    error = np.array([zone.speed_error_mm_s for zone in readings[-1].zones])
    assert (np.abs(read - source.truth.speed_mm_s) < 2 * error + 1e-6).all()
