"""Motion fields made by hand, so that what a judgement rests on is known; every figure is invented."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.bed import Bed, Cells, grid_zones, make_cells, ring_zones, zone_index
from bedwatch.judge.judge import Judge
from bedwatch.judge.types import Reading
from bedwatch.motion.field import MotionField, Patches
from bedwatch.motion.ground import Ground

STEP_MM = 5.0
NOISE, FLOOR = 0.3, 0.05


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a zone looks: share that moves, share of the time a spot is disturbed, energy of narrow (5-20 mm) and wide
    (20-80 mm) changes, speed."""

    live: float
    duty: float
    narrow: float
    wide: float
    speed_mm_s: float
    renewed: float = 0.2  # share of the pattern that is another one after two frames


# Far from every border on purpose: what is tested is the reasoning, not where the marks stand.
LOOKS = {
    "still": Look(live=0.0, duty=0.0, narrow=0.2, wide=0.02, speed_mm_s=0.0),
    "poor": Look(live=0.2, duty=0.03, narrow=5.0, wide=2.0, speed_mm_s=4.0),
    "gentle": Look(live=0.97, duty=0.22, narrow=60.0, wide=25.0, speed_mm_s=25.0, renewed=0.36),
    "violent": Look(live=1.0, duty=0.7, narrow=150.0, wide=450.0, speed_mm_s=160.0, renewed=0.8),
    "boiling": Look(live=1.0, duty=0.95, narrow=200.0, wide=900.0, speed_mm_s=250.0, renewed=0.9),
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

    def field(self, *looks: str | Look, seconds: float = 10.0, until_s: float = 10.0, seed: int = 1) -> MotionField:
        """One look for all zones, or one for each, over so many seconds until then."""
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
            renewal=np.array([[c.renewed / 2, c.renewed, 0.3 + c.renewed / 2, 0.4 + c.renewed / 2] for c in cells]),
            octaves=np.array([[c.narrow / 4, c.narrow / 2, c.narrow / 2, c.wide / 2, c.wide / 2] for c in cells]),
            duty=np.array([c.duty for c in cells]),
            coherence=np.ones(len(cells)),
            texture=np.ones(len(cells)),
            glide=np.full(len(cells), 0.1),
            ground=self._ground(zones, seconds, until_s, seed),
        )

    def _ground(self, zones: list[Look], seconds: float, until_s: float, seed: int) -> Ground:
        """The map of 5 mm places to the same looks, with the scatter from second to second that eruptions have."""
        sides = [
            np.arange(-side / 2 + STEP_MM / 2, side / 2, STEP_MM) for side in (self.bed.width_mm, self.bed.length_mm)
        ]
        x, y = sides[0], sides[1][::-1]
        xy = np.column_stack([a.ravel() for a in np.meshgrid(x, y)])
        zone = zone_index(self.bed, xy).reshape(len(y), len(x))
        looks = [*zones, LOOKS["still"]]
        usual = np.array([one.narrow + one.wide if np.isfinite(one.live) else 0.0 for one in looks])[zone]
        live = np.array([one.live > 0.5 for one in looks])[zone]
        known = np.array([np.isfinite(one.live) for one in looks])[zone]
        count = max(1, int(seconds))
        ends = until_s - np.arange(count)[::-1]
        energy = np.stack([usual * scatter for scatter in _scatter(count, zone.shape, seed)]) + NOISE
        return _ground_of(x, y, (zone >= 0).astype(float), ends, energy, live, known)

    def patched(self, field: MotionField, at_mm: tuple[float, float], radius_mm: float, look: Look) -> MotionField:
        """The field with the cells whose centres lie within a circle looking otherwise."""
        here = np.hypot(*(self.cells.centre_mm - at_mm).T) <= radius_mm
        assert here.any()
        live, speed, duty, octaves = (
            a.copy() for a in (field.cells.live, field.cells.speed_mm_s, field.duty, field.octaves)
        )
        live[here], speed[here], duty[here] = look.live, look.speed_mm_s, look.duty
        octaves[here] = [look.narrow / 4, look.narrow / 2, look.narrow / 2, look.wide / 2, look.wide / 2]
        ground = self.lay(field.ground, at_mm, radius_mm, look)
        cells = replace(field.cells, live=live, speed_mm_s=speed)
        return replace(field, cells=cells, duty=duty, octaves=octaves, ground=ground)

    @staticmethod
    def lay(
        ground: Ground | None, at_mm: tuple[float, float], radius_mm: float, look: Look, since_s: float = -1e9
    ) -> Ground:
        """The map with the places within a circle looking otherwise, all the time or since then."""
        assert ground is not None
        here = np.hypot(ground.x_mm[None] - at_mm[0], ground.y_mm[:, None] - at_mm[1]) <= radius_mm
        energy, live, known = ground.energy.copy(), ground.live.copy(), ground.known.copy()
        for number in np.flatnonzero(ground.end_s > since_s):
            # A plume never rests; whatever is not known shows no change either.
            energy[number][here] = NOISE + (look.narrow + look.wide if np.isfinite(look.live) else 0.0)
        live[here], known[here] = look.live > 0.5, np.isfinite(look.live)
        return _ground_of(ground.x_mm, ground.y_mm, ground.seen, ground.end_s, energy, live, known)

    def read(self, *looks: str | Look) -> Reading:
        """The first full reading of a new judge."""
        return self.judge().read(10.0, self.field(*looks))


def _scatter(count: int, shape: tuple[int, int], seed: int) -> NDArray[np.float64]:
    """Energies about 1 with the scatter of eruptions that are some 15 mm wide and come up anywhere."""
    rng = np.random.default_rng(seed)
    found = np.stack([cv2.GaussianBlur(rng.standard_normal(shape), (0, 0), 1.5) for _ in range(count)])
    return np.exp(0.8 * found / found.std() - 0.32)


def _ground_of(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    seen: NDArray[np.float64],
    ends: NDArray[np.float64],
    energy: NDArray[np.float64],
    live: NDArray[np.bool_],
    known: NDArray[np.bool_],
) -> Ground:
    smooth = np.stack([cv2.GaussianBlur(one, (0, 0), 6 / STEP_MM) for one in energy])
    return Ground(
        x_mm=x,
        y_mm=y,
        seen=seen,
        start_s=ends - 1.0,
        end_s=ends,
        energy=energy,
        busy=np.log(smooth + FLOOR),
        growth=0.7 * (energy - NOISE),
        shade=np.random.default_rng(len(ends)).standard_normal(energy.shape),
        quick=np.log(NOISE + 0.4 * (smooth - NOISE) + 0.25 * FLOOR),
        pulse=np.zeros((0, 4)),
        floor=FLOOR,
        noise=NOISE,
        live=live,
        known=known,
        glide=np.full(seen.shape, 0.1),
        grey=np.full(seen.shape, 120.0),
    )


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
