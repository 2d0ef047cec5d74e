"""Zones in parallel on one supply: who gets how much air.

Every line is valve (orifice law), chamber, plate (orifice law and Darcy's law), powder. Powder at rest resists in
proportion to the air up to its weight per area, which it reaches at the minimum velocity; lifted, it keeps that
weight whatever the air (Kunii & Levenspiel 1991, ch. 3; the straight rise is Ergun's viscous part, all there is for
grains below about 300 µm).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.air.supply import supply_pressure_pa, valve_area_m2
from bedwatch.air.types import AIR_20C, Gas, Line, Network, Supply

Array = NDArray[np.float64]
BALANCE = 1e-6  # largest mismatch of a solution, as a share of all air
_SMALL = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Flows:
    """The air of a solved network. All arrays (n,) in the order of the lines.

    total_m3_s: from the supply. supply_pa, plenum_pa: before and behind the supply valve. zone_m3_s: through each
    plate. chamber_pa: below each plate. surface_m_s: air velocity at the surface, after what crosses to neighbours.
    times_minimum: the same over the minimum velocity. balance: largest mismatch of air or pressure left, as a share.
    converged: whether that is below 1e-6; when it is not, the figures are the nearest found and must not be relied
    on. cautions: what lies outside its equation's range.
    """

    total_m3_s: float
    supply_pa: float
    plenum_pa: float
    zone_m3_s: Array
    chamber_pa: Array
    surface_m_s: Array
    times_minimum: Array
    balance: float
    converged: bool
    cautions: tuple[str, ...] = ()


class _Lines:
    """Coefficients of all lines at once: drop of a valve v q², of a plate k q² + r q, of the powder b q up to w."""

    def __init__(self, network: Network) -> None:
        lines, half = network.lines, network.gas.density_kg_m3 / 2
        area = np.array([valve_area_m2(line.valve) for line in lines])
        with np.errstate(divide="ignore"):
            self.v = half / area**2
        self.shut = area == 0
        drilled = np.array([line.plate.coefficient * line.plate.open_m2 for line in lines])
        self.k = np.array([half / d**2 if d else 0.0 for d in drilled])
        self.r = np.array([line.plate.membrane_pa_s_m / line.area_m2 for line in lines])
        self.w = np.array([line.bed_pa for line in lines])
        self.least = np.array([line.minimum_m_s * line.area_m2 for line in lines])
        self.b = self.w / self.least

    def flow(self, plenum_pa: float) -> Array:
        """(n,) flow from a plenum at this pressure through valve, plate and powder; the closed form of both states."""
        open_v = np.where(self.shut, 0.0, self.v) + self.k
        at_rest = _root(open_v, self.r + self.b, np.full(len(self.w), plenum_pa))
        lifted = _root(open_v, self.r, np.maximum(plenum_pa - self.w, 0.0))
        flow = np.where(at_rest <= self.least, at_rest, np.maximum(lifted, self.least))
        return np.where(self.shut, 0.0, flow)

    def chamber_pa(self, flow: Array) -> Array:
        """(n,) pressure below the plates at these flows."""
        powder = np.minimum(self.b * flow, self.w)
        return np.asarray((self.k * np.abs(flow) + self.r) * flow + powder, np.float64)


def solve(network: Network) -> Flows:
    """The steady air of a network: the same network always gives the same answer.

    Without leaks one unknown is left, the plenum's pressure, and the balance falls steadily with it: Brent's method
    (scipy.optimize.brentq), which cannot fail. With leaks all plate flows are sought at once (scipy.optimize.root,
    Powell's hybrid method, then Levenberg-Marquardt) from there. Look at `converged`.
    """
    from scipy.optimize import brentq

    lines = _Lines(network)
    highest = supply_pressure_pa(network.supply, 0.0).value

    def spare(plenum_pa: float) -> float:
        total = float(lines.flow(plenum_pa).sum())
        return _delivered(network, total) - plenum_pa

    plenum = 0.0
    if valve_area_m2(network.supply_valve) > 0:
        plenum = float(brentq(spare, 0.0, highest, xtol=1e-16 * highest, rtol=1e-14, maxiter=500))
    flow = lines.flow(plenum)
    if any(leak.m3_s_pa > 0 for leak in network.leaks) and plenum > 0:
        flow, plenum = _with_leaks(network, lines, flow)
    return _told(network, lines, flow, plenum)


def shared_at(total_m3_s: float, lines: tuple[Line, ...], gas: Gas = AIR_20C) -> Array:
    """(n,) how a total (m³/s) divides between lines on one plenum, whatever the supply. Brent's method.

    Raises ValueError when no valve is open.
    """
    from scipy.optimize import brentq

    idle = Supply(flow_m3_s=(0.0, 1.0), pressure_pa=(1.0, 0.0))
    inner = _Lines(Network(supply=idle, lines=lines, gas=gas))
    if inner.shut.all():
        raise ValueError("found no open valve, expected at least one")
    top = 1.0
    while inner.flow(top).sum() < total_m3_s:
        top *= 4
    found = brentq(lambda p: float(inner.flow(p).sum()) - total_m3_s, 0.0, top, xtol=1e-16 * top, rtol=1e-14)
    return inner.flow(float(found))


def _delivered(network: Network, total_m3_s: float) -> float:
    """Pressure behind the supply valve at a total."""
    given = supply_pressure_pa(network.supply, total_m3_s).value
    area = valve_area_m2(network.supply_valve)
    return given - network.gas.density_kg_m3 / 2 * total_m3_s * abs(total_m3_s) / area**2


def _with_leaks(network: Network, lines: _Lines, start: Array) -> tuple[Array, float]:
    """Plate flows and plenum pressure when chambers leak into each other.

    What leaks between chambers cancels in the total, so the plate flows alone are unknown.
    """
    from scipy.optimize import root

    size = max(float(start.sum()), _SMALL)
    pressure = max(_delivered(network, 0.0), _SMALL)
    stiff = pressure + np.where(lines.shut, 0.0, lines.v) * size**2

    def mismatch(x: Array) -> Array:
        return _mismatch(network, lines, x * size) / np.where(lines.shut, size, stiff)

    best, left = start / size, math.inf
    for method in ("hybr", "lm"):
        found = root(mismatch, best, method=method, options={"xtol": 1e-13})
        worst = float(np.abs(mismatch(np.asarray(found.x))).max())
        if worst < left:
            best, left = np.asarray(found.x, np.float64), worst
        if left < BALANCE / 100:
            break
    return best * size, _delivered(network, float(best.sum()) * size)


def _mismatch(network: Network, lines: _Lines, flow: Array) -> Array:
    """(n,) what the pressures from plenum to chamber leave over (Pa); for a shut valve, the air that it should not
    pass (m³/s)."""
    through = flow + _leaked(network, lines.chamber_pa(flow))
    plenum = _delivered(network, float(flow.sum()))
    along = plenum - np.where(lines.shut, 0.0, lines.v) * through * np.abs(through) - lines.chamber_pa(flow)
    return np.where(lines.shut, through, along)


def _leaked(network: Network, chamber_pa: Array) -> Array:
    """(n,) air that leaves each chamber for others (m³/s)."""
    out = np.zeros(len(chamber_pa))
    for leak in network.leaks:
        passed = leak.m3_s_pa * float(chamber_pa[leak.one] - chamber_pa[leak.other])
        out[leak.one] += passed
        out[leak.other] -= passed
    return out


def _told(network: Network, lines: _Lines, flow: Array, plenum_pa: float) -> Flows:
    total = float(flow.sum())
    highest = supply_pressure_pa(network.supply, 0.0).value
    given = supply_pressure_pa(network.supply, total)
    shut = valve_area_m2(network.supply_valve) == 0
    balance = 0.0
    if not shut:
        off = np.abs(_mismatch(network, lines, flow))
        off = off / np.where(lines.shut, max(total, _SMALL), highest + np.where(lines.shut, 0.0, lines.v) * flow**2)
        balance = float(max(off.max(), abs(_delivered(network, total) - plenum_pa) / highest))
    surface = _crossed(network, flow) / np.array([line.area_m2 for line in network.lines])
    return Flows(
        total_m3_s=total,
        supply_pa=given.value,
        plenum_pa=plenum_pa,
        zone_m3_s=flow,
        chamber_pa=lines.chamber_pa(flow),
        surface_m_s=surface,
        times_minimum=surface / np.array([line.minimum_m_s for line in network.lines]),
        balance=balance,
        converged=balance < BALANCE,
        cautions=(given.caution,) if given.caution else (),
    )


def _crossed(network: Network, flow: Array) -> Array:
    """(n,) air that leaves the surface of each zone, the total unchanged."""
    touching: list[list[int]] = [[] for _ in flow]
    for one, other in network.neighbours:
        touching[one].append(other)
        touching[other].append(one)
    out = np.array(flow, np.float64)
    for number, others in enumerate(touching):
        for other in others:
            moved = network.crossing * flow[number] / len(others)
            out[number] -= moved
            out[other] += moved
    return out


def _root(square: Array, straight: Array, drop: Array) -> Array:
    """(n,) q >= 0 of square q² + straight q = drop >= 0; 0 where nothing resists and nothing drives."""
    bottom = straight + np.sqrt(straight**2 + 4 * square * drop)
    return np.asarray(2 * drop / np.maximum(bottom, 1e-300), np.float64)
