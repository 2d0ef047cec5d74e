"""Hidden beds for closed loops: pumps, valves with play and dead band, plates, powder. Shares no code with what gives advice.

Pressure in units of the weight of the powder per area, air in units of a zone's least air, so that r = air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]
LEAST, MOST, ALIKE = 1.35, 3.0, 1.6


@dataclass(frozen=True, kw_only=True)
class ValveLaw:
    """area(u) = full (leak + (1 - leak) s(u)), s an S of any slope: u^a / (u^a + b (1 - u)^a)."""

    full: float
    steep: float
    skew: float
    leak: float
    play: float
    dead: float

    def area(self, spindle: float) -> float:
        u = min(max(spindle, 0.0), 1.0)
        up, down = u**self.steep, self.skew * (1 - u) ** self.steep
        return self.full * (self.leak + (1 - self.leak) * up / (up + down))


@dataclass(kw_only=True)
class Spindle:
    """Where a valve stands: what is turned is the knob, the spindle follows with play; small turns do nothing."""

    law: ValveLaw
    knob: float
    spindle: float

    def turn(self, by: float) -> None:
        if abs(by) < self.law.dead:
            return
        self.knob = min(max(self.knob + by, 0.0), 1.0)
        self.spindle = min(max(self.spindle, self.knob - self.law.play / 2), self.knob + self.law.play / 2)
        self.spindle = min(max(self.spindle, 0.0), 1.0)

    @property
    def area(self) -> float:
        return self.law.area(self.spindle)


@dataclass(frozen=True, kw_only=True)
class Plant:
    """What does not change. plate: (n, 2) drop = a q² + b q. touching: (n, n) 1 where zones touch. crossing: share of a zone's
    air that leaves through its neighbours' surface. pump: p0, q0, bend. speed: the supply is set by speed, not by a valve."""

    weight: Array
    least: Array
    plate: Array
    touching: Array
    crossing: float
    pump: tuple[float, float, float]
    speed: bool

    @property
    def zones(self) -> int:
        return len(self.weight)

    def air(self, areas: Array, supply: float, supply_area: float) -> Array:
        """(n,) air through each zone's surface, in its least air. supply: 0 to 1; areas of valves."""
        p0, q0, bend = self.pump
        top = p0 * (0.05 + 0.95 * supply) ** 2 if self.speed else p0
        square = 1 / areas**2 + self.plate[:, 0]
        straight = self.plate[:, 1]

        def flows(p: float) -> Array:
            bottom = np.maximum(p - self.weight, 0.0)
            lifted = _root(square, straight, bottom)
            rest = _root(square, straight + self.weight / self.least, np.full(self.zones, p))
            return np.where(lifted >= self.least, lifted, np.minimum(rest, self.least))

        def short(p: float) -> float:
            q = float(flows(p).sum())
            top_q = q0 * (0.05 + 0.95 * supply if self.speed else 1.0)
            given = top * (1 - (q / top_q) ** bend) - (0.0 if self.speed else (q / supply_area) ** 2)
            return given - p

        p = float(brentq(short, 1e-9, top, xtol=1e-6)) if short(1e-9) > 0 else 1e-9
        q = flows(p)
        count = self.touching.sum(axis=1)
        out = self.crossing * q
        q = q - out + self.touching @ (out / np.maximum(count, 1))
        return np.asarray(q / self.least)


def _root(square: Array, straight: Array, drop: Array) -> Array:
    return np.asarray(2 * drop / (straight + np.sqrt(straight**2 + 4 * square * drop) + 1e-12))


Kind = Literal["even", "hopeless"]


@dataclass(kw_only=True)
class HiddenBed:
    """One bed as it stands. patch: the zone with a blocked patch, or None. kind: whether an even setting exists."""

    seed: int
    plant: Plant
    valves: list[Spindle]
    supply: Spindle
    patch: int | None
    kind: Kind
    moves: int = 0
    turned: list[tuple[int, float]] = field(default_factory=list)

    @property
    def zones(self) -> int:
        return self.plant.zones

    def air(self) -> Array:
        areas = np.array([valve.area for valve in self.valves])
        return self.plant.air(areas, self.supply.spindle, self.supply.area)

    def at(self, knobs: Array) -> Array:
        """Air with every valve put there without play; the last is the supply."""
        areas = np.array([valve.law.area(u) for valve, u in zip(self.valves, knobs[:-1], strict=True)])
        return self.plant.air(areas, float(knobs[-1]), self.supply.law.area(float(knobs[-1])))

    @property
    def knobs(self) -> Array:
        return np.array([valve.spindle for valve in self.valves] + [self.supply.spindle])

    def turn(self, valve: int, by: float) -> None:
        """valve -1: the supply."""
        (self.supply if valve < 0 else self.valves[valve]).turn(by)
        self.moves += 1
        self.turned.append((valve, by))


def is_even(air: Array, slack: float = 0.0) -> bool:
    """slack: in ln air, how far outside still counts."""
    return bool(
        air.min() >= LEAST * math.exp(-slack)
        and air.max() <= MOST * math.exp(slack)
        and air.max() / air.min() <= ALIKE * math.exp(slack)
    )


def _law(rng: np.random.Generator, full: float) -> ValveLaw:
    return ValveLaw(
        full=full,
        steep=float(rng.uniform(1.0, 2.2)),
        skew=float(np.exp(rng.uniform(-0.9, 0.9))),
        leak=float(rng.uniform(0.0, 0.02)),
        play=float(rng.uniform(0.0, 0.04)),
        dead=float(rng.uniform(0.0, 0.015)),
    )


def _touching(n: int) -> Array:
    """A centre zone and a ring, or a row."""
    touching = np.zeros((n, n))
    for k in range(1, n):
        touching[0, k] = touching[k, 0] = 1
        nxt = 1 + k % (n - 1)
        if nxt != k:
            touching[k, nxt] = touching[nxt, k] = 1
    return touching


def _draw(rng: np.random.Generator, seed: int, hopeless: bool) -> HiddenBed:
    n = int(rng.integers(4, 10))
    depth = rng.uniform(0.9, 1.1)
    weight = np.full(n, depth) * rng.uniform(0.97, 1.03, n)
    least = rng.uniform(0.95, 1.05, n)
    drop = rng.uniform(0.12, 0.7)  # of the plate at twice the least air, in weights
    porous = rng.random() < 0.5
    spread = rng.uniform(0.8, 1.25, n)
    plate = (
        np.column_stack([np.zeros(n), drop / 2 * spread])
        if porous
        else np.column_stack([drop / 4 * spread, np.zeros(n)])
    )
    patch = int(rng.integers(n)) if rng.random() < 0.2 else None
    if patch is not None:
        plate[patch] *= rng.uniform(1.2, 1.6)
    open_drop = rng.uniform(0.05, 0.35)  # of a fully open valve at twice the least air
    valves = []
    mode = rng.integers(3)
    for _ in range(n):
        law = _law(rng, 2 / math.sqrt(open_drop) * rng.uniform(0.75, 1.3))
        knob = float(rng.uniform(0.25, 1.0) if mode < 2 else rng.choice([1.0, rng.uniform(0.2, 0.9)]))
        valves.append(Spindle(law=law, knob=knob, spindle=knob))
    need = float(weight.mean() + drop + 3 * open_drop)
    q0 = 2 * n * rng.uniform(1.5, 4.0)
    bend = float(rng.uniform(1.0, 2.5))
    p0 = need * rng.uniform(1.5, 3.0) / (1 - (2 * n / q0) ** bend)
    if hopeless:
        if rng.random() < 0.5:
            p0 *= rng.uniform(0.2, 0.45)
        else:
            q0 *= rng.uniform(0.2, 0.4)
    speed = bool(rng.random() < 0.4)
    law = _law(rng, n * rng.uniform(2.0, 6.0))
    supply = Spindle(law=law, knob=0.5, spindle=0.5)
    bed = HiddenBed(
        seed=seed,
        plant=Plant(
            weight=weight,
            least=least,
            plate=plate,
            touching=_touching(n),
            crossing=float(rng.uniform(0, 0.15)),
            pump=(p0, q0, bend),
            speed=speed,
        ),
        valves=valves,
        supply=supply,
        patch=patch,
        kind="hopeless" if hopeless else "even",
    )
    # Starts from nearly shut to violent.
    goal = math.exp(rng.uniform(math.log(0.5), math.log(6.0)))
    grid = np.linspace(0.05, 1.0, 40)
    medians = [float(np.median(bed.at(np.append(bed.knobs[:-1], u)))) for u in grid]
    knob = float(grid[int(np.argmin(np.abs(np.log(np.array(medians) + 1e-9) - math.log(goal))))])
    supply.knob = supply.spindle = knob
    return bed


def hidden_bed(seed: int) -> HiddenBed:
    """The bed of a seed; one in ten has a pump that cannot. Drawn again until it is what it is meant to be."""
    rng = np.random.default_rng([seed, 55])
    hopeless = rng.random() < 0.1
    while True:
        bed = _draw(rng, seed, hopeless)
        possible = can_be_even(bed)
        if possible != hopeless and not is_even(bed.air()):
            return bed


def settings(bed: HiddenBed, zones: list[int], supply: float, goal: float) -> Array | None:
    """Knobs with the valves of these zones set so that they get `goal` and the supply at `supply`; None if that cannot be."""
    knobs = bed.knobs
    knobs[-1] = supply
    for _ in range(12):
        air = bed.at(knobs)
        off = np.log(air[zones] / goal) if zones else np.zeros(0)
        if not zones or np.abs(off).max() < 0.02:
            return knobs
        for zone, miss in zip(zones, off, strict=True):
            law = bed.valves[zone].law
            area = law.area(knobs[zone]) * math.exp(-1.3 * miss)
            knobs[zone] = _opening(law, area)
    return None


def _opening(law: ValveLaw, area: float) -> float:
    if area <= law.area(0.0):
        return 0.0
    if area >= law.area(1.0):
        return 1.0
    return float(brentq(lambda u: law.area(u) - area, 0.0, 1.0, xtol=1e-4))


def can_be_even(bed: HiddenBed) -> bool:
    """Whether any setting makes it even, each zone's valve set at some settings of the supply."""
    every = list(range(bed.zones))
    for supply in (1.0, 0.85, 0.7, 0.55, 0.4, 0.25, 0.12):
        for goal in (1.45, 1.7, 2.0, 2.5):
            knobs = settings(bed, every, supply, goal)
            if knobs is not None and is_even(bed.at(knobs)):
                return True
    return False


def fewest_moves(bed: HiddenBed) -> int:
    """What an operator needs who knows the whole network: every valve is set once, to the right place. A bound from above that is
    searched for over which zones are left alone and where the supply stands."""
    if is_even(bed.air()):
        return 0
    best = bed.zones + 1
    here = bed.knobs[-1]
    for supply in (here, *np.linspace(0.06, 1.0, 24)):
        start = np.append(bed.knobs[:-1], supply)
        base = 0 if supply == here else 1
        air = bed.at(start)
        if is_even(air):
            best = min(best, base)
        order = np.argsort(air)
        for first in range(bed.zones):
            for last in range(bed.zones - 1, first - 1, -1):
                keep = order[first : last + 1]
                touched = [int(z) for z in order if z not in keep]
                if base + len(touched) >= best or not touched:
                    continue
                if air[keep].max() / air[keep].min() > 1.7:
                    continue
                for goal in (1.5, 1.8, 2.1, 2.5, 2.9):
                    knobs = settings(bed, touched, supply, goal)
                    if knobs is not None and is_even(bed.at(knobs)):
                        best = base + len(touched)
                        break
    return best


def tenth_by_tenth(bed: HiddenBed, most: int = 80) -> int | None:
    """Moves of an operator who knows the true air and moves the worst valve by a tenth; None if `most` do not do."""
    goal, stuck = math.log(2.0), set()
    for _ in range(most):
        air = bed.air()
        if is_even(air):
            return bed.moves
        off = np.log(air) - goal
        if (off > 0.1).all() or (off < -0.1).all():
            bed.turn(-1, 0.1 if off.mean() < 0 else -0.1)
            continue
        free = [z for z in np.argsort(-np.abs(off)) if (int(z), off[z] < 0) not in stuck]
        worst = int(free[0]) if free else int(np.argmax(np.abs(off)))
        before = bed.valves[worst].knob
        bed.turn(worst, 0.1 if off[worst] < 0 else -0.1)
        if bed.valves[worst].knob == before:
            stuck.add((worst, bool(off[worst] < 0)))
    return None
