"""Motion fields made by hand, so that what a judgement rests on is known; every figure is invented."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from bedwatch.bed import Bed, Cells, grid_zones, make_cells, ring_zones
from bedwatch.judge.judge import Judge
from bedwatch.judge.types import Reading
from bedwatch.motion.field import MotionField, Patches


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a zone looks: share that moves, share of the time a spot is disturbed, energy of narrow (5-20 mm) and wide
    (20-80 mm) changes, speed."""

    live: float
    duty: float
    narrow: float
    wide: float
    speed_mm_s: float


# Far from every border on purpose: what is tested is the reasoning, not where the marks stand.
LOOKS = {
    "still": Look(live=0.0, duty=0.0, narrow=0.2, wide=0.02, speed_mm_s=0.0),
    "poor": Look(live=0.2, duty=0.03, narrow=5.0, wide=2.0, speed_mm_s=4.0),
    "gentle": Look(live=0.97, duty=0.12, narrow=60.0, wide=25.0, speed_mm_s=25.0),
    "violent": Look(live=1.0, duty=0.7, narrow=150.0, wide=450.0, speed_mm_s=160.0),
    "boiling": Look(live=1.0, duty=0.95, narrow=200.0, wide=900.0, speed_mm_s=250.0),
    "unknown": Look(live=np.nan, duty=np.nan, narrow=np.nan, wide=np.nan, speed_mm_s=np.nan),
}


class Table:
    """One bed and what is done with it."""

    looks = LOOKS
    Look = Look
    replace = staticmethod(replace)

    def __init__(self, bed: Bed) -> None:
        self.bed = bed
        self.cells: Cells = make_cells(bed)

    def judge(self) -> Judge:
        return Judge(self.bed, self.cells)

    def field(self, *looks: str | Look, seconds: float = 10.0) -> MotionField:
        """One look for all zones, or one for each."""
        if len(looks) == 1:
            looks = looks * len(self.bed.zones)
        zones = [LOOKS[look] if isinstance(look, str) else look for look in looks]
        cells = [zones[number] for number in self.cells.zone]
        return MotionField(
            seconds=seconds,
            frames_per_s=30.0,
            cells=_patches(cells),
            zones=_patches(zones),
            bed=_patches([_mean(zones)]),
            lags_s=np.array([1, 2, 4, 8]) / 30,
            renewal=np.tile([0.1, 0.2, 0.3, 0.4], (len(cells), 1)),
            octaves=np.array([[c.narrow / 4, c.narrow / 2, c.narrow / 2, c.wide / 2, c.wide / 2] for c in cells]),
            duty=np.array([c.duty for c in cells]),
            coherence=np.ones(len(cells)),
            texture=np.ones(len(cells)),
        )

    def patched(self, field: MotionField, at_mm: tuple[float, float], radius_mm: float, look: Look) -> MotionField:
        """The field with the cells whose centres lie within a circle looking otherwise."""
        here = np.hypot(*(self.cells.centre_mm - at_mm).T) <= radius_mm
        assert here.any()
        live, speed, duty, octaves = (
            a.copy() for a in (field.cells.live, field.cells.speed_mm_s, field.duty, field.octaves)
        )
        live[here], speed[here], duty[here] = look.live, look.speed_mm_s, look.duty
        octaves[here] = [look.narrow / 4, look.narrow / 2, look.narrow / 2, look.wide / 2, look.wide / 2]
        return replace(field, cells=replace(field.cells, live=live, speed_mm_s=speed), duty=duty, octaves=octaves)

    def read(self, *looks: str | Look) -> Reading:
        """The first full reading of a new judge."""
        return self.judge().read(10.0, self.field(*looks))


def _patches(looks: list[Look]) -> Patches:
    speed = np.array([look.speed_mm_s for look in looks])
    return Patches(speed_mm_s=speed, speed_error_mm_s=0.5 + 0.05 * speed, live=np.array([look.live for look in looks]))


def _mean(zones: list[Look]) -> Look:
    known = [zone for zone in zones if np.isfinite(zone.live)]
    if not known:
        return LOOKS["unknown"]
    return replace(
        known[0],
        live=float(np.mean([zone.live for zone in known])),
        speed_mm_s=float(np.sqrt(np.mean([zone.speed_mm_s**2 for zone in known]))),
    )


def _bed(zones: tuple, shape: str = "round", length_mm: float = 420.0) -> Bed:  # type: ignore[type-arg]
    return Bed(
        name="Gate-latch bed",
        shape=shape,  # type: ignore[arg-type]
        width_mm=420.0,
        length_mm=length_mm,
        surface_below_rim_mm=80.0,
        zones=zones,
    )


@pytest.fixture(scope="session")
def seven() -> Table:
    """The round bed of 420 mm with seven zones."""
    return Table(_bed(ring_zones([1, 6], 210.0)))


@pytest.fixture(scope="session")
def six() -> Table:
    """A rectangular bed of 420 by 280 mm with 2 by 3 zones."""
    return Table(_bed(grid_zones(2, 3, 420.0, 280.0), "rectangular", 280.0))


@pytest.fixture(scope="session")
def one() -> Table:
    """A bed of a single zone."""
    return Table(_bed(ring_zones([1], 210.0)))
