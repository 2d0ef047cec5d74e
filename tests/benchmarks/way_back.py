"""Back to a saved setting in the make-believe bed: camera and lamp set up anew, the level a tenth lower, valves astray.

The network that stands between valves and zones is drawn here and shares no code with anything that advises: valves in
parallel on one supply, each with a curve of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.steady import mean_of
from bedwatch.judge.types import ALL_ZONES, Did, Done, HintWord
from bedwatch.judge.way_back import Step, WayBack
from bedwatch.keep.setting_of import setting_of
from bedwatch.sim import BedSource, Scene, demo_scene
from bedwatch.sim.camera import fitting_focal_px
from tests.benchmarks.group import Group, Row, follow

SEED_BASE = 52000  # nothing is chosen on these
STARTS, QUICK = 50, 4
MOST_LOOKS = 16
_SIZE_PX, _FPS = (640, 480), 15.0
_WITHIN = 0.10

Shares = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one start ended. worst_speed, worst_live: of the zones' true speed against that when it was saved (a share), and of
    the live share as read; looks: how many were taken; back: whether the program said so.
    """

    seed: int
    back: bool
    looks: int
    worst_speed: float
    worst_live: float
    worst_air: float


class Network:
    """Valves from 0 to 1 and a supply around 1 to multiples of the minimum air in each zone."""

    def __init__(self, rng: np.random.Generator, air: Shares) -> None:
        self._exponent = rng.uniform(0.8, 1.8, len(air))
        self._coupling = rng.uniform(0.3, 0.7)
        self.valves = rng.uniform(0.4, 0.8, len(air))
        self.supply = 1.0
        self._supply_gain = rng.uniform(0.8, 2.0)
        self._scale = air / self._share()
        self.lighter = 1.0

    def _share(self) -> Shares:
        open_ = np.clip(self.valves, 0.02, 1.0) ** self._exponent
        return np.asarray(open_ * (len(open_) / open_.sum()) ** self._coupling, np.float64)

    def air(self) -> Shares:
        return np.asarray(self.lighter * self._scale * self._share() * self.supply**self._supply_gain, np.float64)

    def turn(self, zone: str, signed: float) -> None:
        if zone == ALL_ZONES:
            self.supply = float(np.clip(self.supply + signed, 0.3, 2.0))
        else:
            number = int(zone) - 1
            self.valves[number] = float(np.clip(self.valves[number] + signed, 0.02, 1.0))


def scene_of(rng: np.random.Generator, seed: int) -> Scene:
    """The demo bed under a camera and a lamp set up at random."""
    base = demo_scene(size_px=_SIZE_PX, fps=_FPS, seed=seed)
    height = rng.uniform(900, 1200)
    camera = replace(
        base.camera,
        height_mm=height,
        focal_px=fitting_focal_px(_SIZE_PX, height, 436.0, rng.uniform(0.85, 0.95)),
        tilt_deg=rng.uniform(2, 10),
        tilt_azimuth_deg=rng.uniform(0, 360),
    )
    lamp = replace(base.lamp, azimuth_deg=rng.uniform(0, 360), elevation_deg=rng.uniform(14, 26))
    return replace(base, camera=camera, lamp=lamp)


def run(seed: int) -> Way:
    rng = np.random.default_rng(seed)
    network = Network(rng, rng.uniform(1.7, 2.3, 7))
    then = replace(scene_of(rng, seed), air=tuple(network.air()), duration_s=34.0)
    source = BedSource(then)
    _, readings = follow(source, then.bed)
    steady = mean_of(readings)
    if steady is None:
        return Way(seed=seed, back=False, looks=0, worst_speed=np.nan, worst_live=np.nan, worst_air=np.nan)
    wanted, wanted_air = np.array(source.truth.speed_mm_s), network.air()
    setting = setting_of(
        steady, then.bed, name="saved", saved=datetime(2026, 1, 1, tzinfo=UTC), version="0", source="make-believe"
    )
    anew = scene_of(rng, seed + 1)
    network.lighter = 1.05  # a bed a tenth lower passes a little more air at the same marks
    network.valves = np.clip(network.valves * np.exp(rng.normal(0, 0.2, 7)), 0.1, 1.0)
    network.supply = float(np.exp(rng.normal(0, 0.15)))
    back = WayBack(setting)
    looks, found = 0, back.against()
    true, live = wanted, np.ones(7)
    while looks < MOST_LOOKS:
        now = replace(anew, air=tuple(network.air()), duration_s=14.0, depth_mm=135.0, seed=seed + 100 + looks)
        source = BedSource(now)
        _, readings = follow(source, now.bed)
        true = np.array(source.truth.speed_mm_s)
        looks += 1
        for reading in readings:
            back.add(reading)
        found = back.against()
        if found.apart is not None:
            live = np.array([zone.live for zone in found.apart.zones])
        move = found.next
        if move is None:
            break
        if move.do is HintWord.STIR:
            back.add(Did(do=Done.STIRRED))
            continue
        amount = move.amount or 0.0
        network.turn(move.zone, amount if move.do is HintWord.MORE_AIR else -amount)
        back.add(Did(do=Done(move.do.value), zone=move.zone, amount=amount))
    return Way(
        seed=seed,
        back=found.step is Step.BACK,
        looks=looks,
        worst_speed=float(np.abs(true / wanted - 1).max()),
        worst_live=float(np.abs(live).max()),
        worst_air=float(np.abs(network.air() / wanted_air - 1).max()),
    )


def rows(ways: Sequence[Way]) -> list[Row]:
    good = [way for way in ways if way.back and way.worst_speed <= _WITHIN and way.worst_live <= _WITHIN]
    share = len(good) / max(1, len(ways))
    median = float(np.median([way.worst_speed for way in ways]))
    return [
        Row(
            figure="back to a saved setting: new aim, other light, level a tenth lower",
            asked="95 % of starts end with every zone within 10 % of true speed and live share",
            reached=f"{100 * share:.0f} % of {len(ways)}; the worst zone is off by {100 * median:.0f} % (median)",
            met=share >= 0.95,
            note=f"{np.median([way.looks for way in ways]):.0f} looks of 14 s (median)",
            failures=tuple(str(way) for way in ways if way not in good),
        )
    ]


WAY_BACK = Group(
    name="way-back",
    jobs=lambda quick: [SEED_BASE + 1000 * n for n in range(QUICK if quick else STARTS)],
    run=run,
    rows=rows,
    words="Back to a saved setting",
)
