"""What air, powder, plate, supply and valves are, in SI units throughout (the unit is in every name)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

GRAVITY_M_S2 = 9.80665

Opens = Literal["linear", "equal-percentage", "quick-opening"]
CurveShape = Literal["straight", "parabola"]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"found {name} = {value}, expected a number above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A computed figure that knows where it comes from.

    source: the equation's origin. caution: empty within the range the equation was made for, otherwise what is outside
    of it; the value is then an extrapolation. The unit is in the name of the function that gave it.
    """

    value: float
    source: str
    caution: str = ""

    @property
    def in_range(self) -> bool:
        return not self.caution


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """The gas that blows; by default dry air at 20 °C and 101 325 Pa (ideal gas; viscosity from common tables)."""

    density_kg_m3: float = 1.204
    viscosity_pa_s: float = 1.825e-5

    def __post_init__(self) -> None:
        _positive(density_kg_m3=self.density_kg_m3, viscosity_pa_s=self.viscosity_pa_s)


AIR_20C = Gas()


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """A powder: mean grain size (surface-volume mean), density of the solid, share of empty space when it just lifts,
    sphericity of the grains (1 for balls), mass share of grains below 45 µm."""

    grain_m: float
    density_kg_m3: float
    voidage: float = 0.5
    sphericity: float = 0.8
    fines: float = 0.0

    def __post_init__(self) -> None:
        _positive(grain_m=self.grain_m, density_kg_m3=self.density_kg_m3)
        for name, value in (("voidage", self.voidage), ("sphericity", self.sphericity)):
            if not 0 < value <= 1 or (name == "voidage" and value == 1):
                raise ValueError(f"found a {name} of {value}, expected one between 0 and 1")
        if not 0 <= self.fines <= 1:
            raise ValueError(f"found a share of fines of {self.fines}, expected one from 0 to 1")

    @property
    def bulk_density_kg_m3(self) -> float:
        """Mass of powder per volume of bed at this voidage."""
        return (1 - self.voidage) * self.density_kg_m3


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """The plate under one zone: drilled holes, a membrane over it, or both.

    membrane_pa_s_m: pressure drop per air velocity (Darcy), 0 without a membrane. coefficient: of discharge of the holes.
    Raises ValueError when there is neither a hole nor a membrane.
    """

    holes: int = 0
    hole_m: float = 0.0
    membrane_pa_s_m: float = 0.0
    coefficient: float = 0.6

    def __post_init__(self) -> None:
        if self.holes < 0 or self.membrane_pa_s_m < 0 or (self.holes == 0 and self.membrane_pa_s_m == 0):
            raise ValueError("found a plate without holes and without a membrane, expected one that resists the air")
        if self.holes:
            _positive(hole_m=self.hole_m, coefficient=self.coefficient)

    @property
    def open_m2(self) -> float:
        """Area of all holes together."""
        return self.holes * math.pi / 4 * self.hole_m**2


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """A pump or blower, known by two points of its curve, the first with less flow and more pressure.

    shape: "straight" through both, or a "parabola" p = p0 - c q² through both (falls late, as of a fan).
    """

    flow_m3_s: tuple[float, float]
    pressure_pa: tuple[float, float]
    shape: CurveShape = "straight"

    def __post_init__(self) -> None:
        if not 0 <= self.flow_m3_s[0] < self.flow_m3_s[1]:
            raise ValueError(f"found flows of {self.flow_m3_s}, expected the second larger than the first")
        if not self.pressure_pa[0] >= self.pressure_pa[1] >= 0 or self.pressure_pa[0] <= 0:
            raise ValueError(f"found pressures of {self.pressure_pa}, expected the second not above the first")


@dataclass(frozen=True, slots=True, kw_only=True)
class Valve:
    """A valve. area_m2: its effective area (discharge coefficient times opening) when fully open, infinite for none.

    opening: share of its travel, 0 to 1. opens: how its area grows with travel. rangeability: largest to smallest
    controllable area, of equal-percentage valves.
    """

    area_m2: float = math.inf
    opening: float = 1.0
    opens: Opens = "linear"
    rangeability: float = 50.0

    def __post_init__(self) -> None:
        _positive(area_m2=self.area_m2)
        if not 0 <= self.opening <= 1:
            raise ValueError(f"found an opening of {self.opening}, expected one from 0 to 1")
        if not self.rangeability > 1:
            raise ValueError(f"found a rangeability of {self.rangeability}, expected one above 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One zone's way from the plenum to the open air: valve, chamber, plate, powder.

    bed_pa: weight of the powder per area. minimum_m_s: air velocity at which it just lifts.
    """

    area_m2: float
    plate: Plate
    bed_pa: float
    minimum_m_s: float
    valve: Valve = Valve()

    def __post_init__(self) -> None:
        _positive(area_m2=self.area_m2, minimum_m_s=self.minimum_m_s)
        if not self.bed_pa >= 0:
            raise ValueError(f"found a bed pressure of {self.bed_pa} Pa, expected 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak:
    """A leak between two chambers (a membrane that lifts, a wall with a gap), as flow per pressure difference.

    one, other: numbers of the lines, from 0. Narrow gaps are laminar, hence the straight law.
    """

    one: int
    other: int
    m3_s_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """A supply behind its valve, feeding zones in parallel.

    leaks: air between chambers below the plate. neighbours: pairs of lines whose zones touch. crossing: share of each
    zone's air that on its way up through the powder crosses into the neighbours, in equal parts (Lin, Dam-Johansen &
    van den Bleek 1997 measured that it does; the share is the bed's own).
    """

    supply: Supply
    lines: tuple[Line, ...]
    supply_valve: Valve = Valve()
    leaks: tuple[Leak, ...] = ()
    neighbours: tuple[tuple[int, int], ...] = ()
    crossing: float = 0.0
    gas: Gas = AIR_20C

    def __post_init__(self) -> None:
        if not self.lines:
            raise ValueError("found no line, expected at least one zone")
        pairs = [(leak.one, leak.other) for leak in self.leaks] + list(self.neighbours)
        if any(one == other or not {one, other} <= set(range(len(self.lines))) for one, other in pairs):
            raise ValueError(f"found {pairs}, expected pairs of two different lines of {len(self.lines)}")
        if not 0 <= self.crossing <= 1 or any(not leak.m3_s_pa >= 0 for leak in self.leaks):
            raise ValueError("found a negative leak or a crossing share outside 0 to 1")
