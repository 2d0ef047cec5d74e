"""A make-believe bed written down: what is fed where, how it looks, where the camera and the lamp stand."""

from __future__ import annotations

from dataclasses import dataclass, field

from bedwatch.bed.model import Bed
from bedwatch.sim.camera import Camera
from bedwatch.sim.clutter import Around
from bedwatch.sim.feed import AirChange, DeadPatch, RimLeak, Spout
from bedwatch.sim.powder import POWDERS, Powder
from bedwatch.sim.stage import Lamp, Tub


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """All that a clip is made from; the same scene gives the same frames.

    air: per zone of `bed`, multiple of the minimum fluidisation velocity. depth_mm: powder over the plate.
    fps: pictures per second. around: clutter and uneven light; None is a bare bench.
    start_s: how long the air has been on before the first frame.
    """

    bed: Bed
    air: tuple[float, ...]
    powder: Powder = POWDERS["white"]
    camera: Camera = field(default_factory=Camera)
    lamp: Lamp = field(default_factory=Lamp)
    tub: Tub = field(default_factory=Tub)
    depth_mm: float = 150.0
    duration_s: float = 14.0
    fps: float = 30.0
    seed: int = 0
    start_s: float = 1.0
    spouts: tuple[Spout, ...] = ()
    dead: tuple[DeadPatch, ...] = ()
    leaks: tuple[RimLeak, ...] = ()
    changes: tuple[AirChange, ...] = ()
    around: Around | None = None

    def __post_init__(self) -> None:
        if len(self.air) != len(self.bed.zones):
            raise ValueError(f"{len(self.air)} air values for {len(self.bed.zones)} zones")
