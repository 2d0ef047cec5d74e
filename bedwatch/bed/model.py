"""The bed as a thing in millimetres: shape, zones, and the equal-area cells it is measured in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.valves import Valves

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sector:
    """A piece of a ring about the bed's axis, clockwise from `start_deg` (from 12 o'clock) through
    `sweep_deg`.
    """

    inner_mm: float
    outer_mm: float
    start_deg: float
    sweep_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A part of the plate with its own valve.

    polygon_mm: (n, 2) outline (arcs as fine polylines), clockwise seen from above. A whole ring is one
    outline too: round the outside, in along a slit, back round the inside, out along the slit.
    sector: the same shape exactly, when it is a sector, a ring or a disc; None otherwise.
    """

    name: str
    polygon_mm: Points = field(repr=False, compare=False)
    area_mm2: float
    sector: Sector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A bed as its file describes it. Origin on the axis, x right, y to 12 o'clock, millimetres.

    width_mm runs along x, length_mm along y; both equal the diameter of a round bed. valves: what is told of them.
    """

    name: str
    shape: Literal["round", "rectangular"]
    width_mm: float
    length_mm: float
    surface_below_rim_mm: float
    zones: tuple[Zone, ...]
    valves: Valves = field(default=Valves(), compare=False)

    @property
    def with_valve(self) -> frozenset[str]:
        """Names of the zones that have a valve of their own."""
        return frozenset(zone.name for zone in self.zones) - self.valves.without


class CellLayout(Protocol):
    """How one zone is divided into cells."""

    def index(self, xy_mm: Points) -> NDArray[np.intp]:
        """(n, 2) points of the zone -> (n,) which of the zone's cells each lies in, from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Equal-area patches about 20 mm across.

    centre_mm: (n, 2). zone: (n,) index into Bed.zones. area_mm2: (n,).
    inner: (n,) true where the whole cell keeps clear of the borders to neighbouring zones and of the wall.
    layout: one per zone, for `cell_index`; may be empty in cells made by hand.
    """

    centre_mm: Points
    zone: NDArray[np.intp]
    area_mm2: NDArray[np.float64]
    inner: NDArray[np.bool_]
    layout: tuple[CellLayout, ...] = field(default=(), repr=False)
