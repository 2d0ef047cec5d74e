"""A make-believe bed to practise on: valves that can be turned, powder, and what its surface shows. No pictures are drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedwatch.air import Line, Network, Plate, Supply, Valve, solve, touching_zones
from bedwatch.bed import Bed

LEAST, MOST, ALIKE = 1.35, 3.0, 1.6  # an even bed: air in every zone over the least that lifts it; richest over poorest
_SPEED_AT_TWICE_MM_S = 50.0
_POWER = 0.55
_SCATTER = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the surface of a zone shows. live: share that is lifted. restless: 0 at the border to violent, None: no eruptions."""

    live: float
    speed_mm_s: float
    restless: float | None


class Trainer:
    """A bed that stands badly set, another one for every seed."""

    def __init__(self, bed: Bed, seed: int) -> None:
        self._rng = np.random.default_rng([seed, 31])
        rng, count = self._rng, len(bed.zones)
        opens = rng.choice(["linear", "equal-percentage", "quick-opening"])
        lines = []
        for zone in bed.zones:
            area = zone.area_mm2 / 1e6
            full = area * 0.02 / math.sqrt(2 * 250 / 1.204) * rng.uniform(0.8, 1.3)
            valve = Valve(area_m2=full, opening=float(rng.uniform(0.2, 1.0)), opens=opens, rangeability=30.0)
            plate = Plate(membrane_pa_s_m=float(rng.uniform(25000, 40000)))
            lines.append(Line(area_m2=area, plate=plate, bed_pa=950.0, minimum_m_s=0.005, valve=valve))
        total = sum(line.area_m2 for line in lines) * 0.01
        self._network = Network(
            supply=Supply(flow_m3_s=(0.0, 4 * total), pressure_pa=(4500.0, 1500.0)),
            lines=tuple(lines),
            supply_valve=Valve(area_m2=total / math.sqrt(2 * 800 / 1.204), opening=float(rng.uniform(0.15, 1.0))),
            neighbours=tuple((one, other) for one, other, _ in touching_zones(bed)),
            crossing=float(rng.uniform(0.0, 0.15)) if count > 1 else 0.0,
        )

    def turn(self, zone: int | None, by: float) -> float:
        """Open a zone's valve, or the supply (None), by a share of its travel, less than 0 to close; how far it went."""
        network = self._network
        valve = network.supply_valve if zone is None else network.lines[zone].valve
        opening = min(max(valve.opening + by, 0.0), 1.0)
        turned = replace(valve, opening=opening)
        if zone is None:
            self._network = replace(network, supply_valve=turned)
        else:
            lines = list(network.lines)
            lines[zone] = replace(lines[zone], valve=turned)
            self._network = replace(network, lines=tuple(lines))
        return opening - valve.opening

    def air(self) -> NDArray[np.float64]:
        """(n,) air in every zone over the least that lifts it: the truth."""
        return solve(self._network).times_minimum

    def even(self) -> bool:
        """Whether it is an even bed in truth."""
        air = self.air()
        return bool(air.min() >= LEAST and air.max() <= MOST and air.max() <= ALIKE * air.min())

    def look(self) -> tuple[Shown, ...]:
        """What the surface shows now, with the scatter that eruptions have."""
        return tuple(self._shown(float(r)) for r in self.air())

    def _shown(self, r: float) -> Shown:
        live = 1 / (1 + math.exp(-(r - 1.06) / 0.02))
        if live < 0.5:
            return Shown(live=live, speed_mm_s=0.0, restless=None)
        scatter = math.exp(_SCATTER * self._rng.standard_normal())
        speed = _SPEED_AT_TWICE_MM_S * max(r - 1, 0.02) ** _POWER * scatter
        restless = 2.5 * math.log(max(r - 1, 0.02) / 2.3) + 0.3 * self._rng.standard_normal()
        return Shown(live=live, speed_mm_s=speed, restless=restless)
