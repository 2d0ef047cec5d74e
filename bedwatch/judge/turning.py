"""The speed that is read, held against a disc that turns at a known rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.bed import Bed, Sector, Zone

RING_MM = 20.0  # width of a ring: two blocks that are compared, so that each ring rests on many
_MOST_RINGS = 12
OVER_RANGE = 1 / 3  # of the speed: such an error says so
RANGE_MM = 2.2  # from picture to picture: what the speed is said to be true up to, 60 mm/s at 30 pictures a second and a little


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """One ring of the disc. true_mm_s: root mean square over it, from rate and radius. read, error: as read; None when not known.

    counted: in range by its true speed and by the error that is told, so that it has a say.
    """

    inner_mm: float
    outer_mm: float
    true_mm_s: float
    read_mm_s: float | None
    error_mm_s: float | None
    counted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedCheck:
    """off: share by which the speed reads high, mean of the rings in range; error: its standard error. NaN without any.

    within: whether it is off by less than twice its error.
    """

    rings: tuple[Ring, ...]
    off: float
    error: float

    @property
    def within(self) -> bool:
        return math.isfinite(self.off) and abs(self.off) <= 2 * self.error


def disc_bed(diameter_mm: float, below_rim_mm: float = 0.0) -> Bed:
    """A disc as a bed of concentric rings, zones "1" to "n" from the middle."""
    radius = diameter_mm / 2
    count = min(_MOST_RINGS, max(1, round(radius / RING_MM)))
    edges = np.linspace(0.0, radius, count + 1).tolist()
    return Bed(
        name="turning disc",
        shape="round",
        width_mm=diameter_mm,
        length_mm=diameter_mm,
        surface_below_rim_mm=below_rim_mm,
        zones=tuple(_ring(str(n + 1), edges[n], edges[n + 1]) for n in range(count)),
    )


def _ring(name: str, inner_mm: float, outer_mm: float) -> Zone:
    turn = 2 * np.pi * np.arange(361) / 360
    way = np.column_stack([np.sin(turn), np.cos(turn)])
    polygon = outer_mm * way[:-1] if inner_mm == 0 else np.concatenate([outer_mm * way, inner_mm * way[::-1]])
    polygon.flags.writeable = False
    area = math.pi * (outer_mm**2 - inner_mm**2)
    sector = Sector(inner_mm=inner_mm, outer_mm=outer_mm, start_deg=0.0, sweep_deg=360.0)
    return Zone(name=name, polygon_mm=polygon, area_mm2=area, sector=sector)


def check_speed(
    speeds: Sequence[tuple[float, float]],
    bed: Bed,
    turns_per_min: float,
    *,
    frames_per_s: float = 30.0,
    rate_error: float = 0.0,
) -> SpeedCheck:
    """What is read against what is true.

    speeds: by ring, mm/s, and its standard error; NaN where not known. turns_per_min: of the disc; rate_error: its relative
    standard error. frames_per_s: pictures compared. The root mean square of w r over a ring from a to b is
    w sqrt((a^2 + b^2) / 2).
    """
    turn_rad_s = abs(turns_per_min) * 2 * math.pi / 60
    rings = []
    for zone, (speed, give) in zip(bed.zones, speeds, strict=True):
        assert zone.sector is not None
        a, b = zone.sector.inner_mm, zone.sector.outer_mm
        read, error = (value if math.isfinite(value) else None for value in (speed, give))
        true = turn_rad_s * math.sqrt((a * a + b * b) / 2)
        counted = (
            true <= RANGE_MM * frames_per_s
            and read is not None
            and error is not None
            and read > 0
            and error < OVER_RANGE * read
        )
        rings.append(
            Ring(
                inner_mm=a,
                outer_mm=b,
                true_mm_s=true,
                read_mm_s=read,
                error_mm_s=error,
                counted=counted,
            )
        )
    off, error_share = _mean(rings)
    return SpeedCheck(rings=tuple(rings), off=off, error=math.hypot(error_share, rate_error))


def _mean(rings: Sequence[Ring]) -> tuple[float, float]:
    some = [
        (ring.read_mm_s / ring.true_mm_s - 1, ring.error_mm_s / ring.true_mm_s)
        for ring in rings
        if ring.counted and ring.read_mm_s is not None and ring.error_mm_s is not None
    ]
    if not some:
        return math.nan, math.nan
    weights = [1 / max(error, 1e-3) ** 2 for _, error in some]
    off = sum(weight * value for weight, (value, _) in zip(weights, some, strict=True)) / sum(weights)
    # The rings' errors are mostly one and the same (scale, method): they do not shrink with their number.
    return off, min(error for _, error in some)


__all__ = ["Ring", "SpeedCheck", "check_speed", "disc_bed"]
