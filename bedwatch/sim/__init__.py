"""The make-believe bed with recorded truth, and the turntable: frame sources for whoever has no bed at hand.

From physics to pictures: `physics` (air to bubbles), `feed` (air to places), `surface`, `eruption`, `heave`,
`thrown` (what moves), `powder`, `stage`, `clutter` (how it looks, what stands still), `camera`, `bend` and `sensor` (how
it is seen), `trouble` (what goes wrong on the way). `source`, `turntable` give frames and `Truth`; `draw` makes scenes at
random for measuring, `shop` for aiming; `clip` writes files.
"""

from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.camera import Camera
from bedwatch.sim.clip import write_clip
from bedwatch.sim.demo import demo_bed, demo_scene
from bedwatch.sim.draw import random_scene
from bedwatch.sim.feed import AirChange, DeadPatch, RimLeak, Spout
from bedwatch.sim.front import Bands, Cloud, DisturbedSource, Light, Shadow, Thing
from bedwatch.sim.playing import MadeSource
from bedwatch.sim.powder import POWDERS, Powder
from bedwatch.sim.scene import Scene
from bedwatch.sim.source import BedSource
from bedwatch.sim.stage import Lamp, Tub
from bedwatch.sim.truth import Event, Truth, right_hints
from bedwatch.sim.turntable import Turntable, TurntableSource

__all__ = [
    "POWDERS",
    "AirChange",
    "Bands",
    "BedSource",
    "Camera",
    "Cloud",
    "DeadPatch",
    "DisturbedSource",
    "Event",
    "Lamp",
    "Light",
    "MadeSource",
    "Powder",
    "RimLeak",
    "Scene",
    "Shadow",
    "Spout",
    "Thing",
    "Truth",
    "Tub",
    "Turntable",
    "TurntableSource",
    "demo_bed",
    "demo_scene",
    "random_scene",
    "rectangular_bed",
    "right_hints",
    "round_bed",
    "write_clip",
]
