"""From the window's sums to speed, its error and the live share, per block, cell, zone and bed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.ground import Ground

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """Readings of n patches (cells, zones or the whole bed). All (n,); NaN where it cannot be known.

    speed_mm_s: root mean square speed over the patch and the window, noise taken out; speed_error_mm_s: its standard error.
    live: share of the patch's area that moves by more than the camera's noise can explain.
    """

    speed_mm_s: Array
    speed_error_mm_s: Array
    live: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionField:
    """What the surface did over the last ten seconds. Knows cells and zones, no meaning.

    seconds: span of source time behind it. frames_per_s: rate at which frames were compared.
    cells, zones, bed: readings; bed is one patch.
    lags_s: (m,) mean time between the frames compared, shortest first.
    renewal: (n cells, m) share of the surface pattern that is another one after each lag: 0 as it was, 1 all new.
    octaves: (n cells, 5) energy of the change after about 0.13 s, per octave of width: about 2.5-5, 5-10, 10-20, 20-40
        and 40-80 mm; per cent of local brightness squared.
    duty: (n cells,) share of the time in which a place of 5 mm is disturbed: an eruption now and then, or no pause.
    coherence: (n cells,) share of the change that one displacement per block explains, in units of the most that noise
        does by chance.
    texture: (n cells,) mean squared slope of the pattern, (per cent per mm) squared.
    glide: (n cells,) share of the change over half a second that displacements explain: a smooth surface that glides.
    rigid: share of the squared speed that one steady turn and shift of the whole surface explain: near 1 for a thing that turns
        or glides in one piece, little where bubbles come and go; 0 where nothing moves.
    ground: what every place of 5 mm did, over a longer time; None where it was not asked for.
    """

    seconds: float
    frames_per_s: float
    cells: Patches
    zones: Patches
    bed: Patches
    lags_s: Array
    renewal: Array
    octaves: Array
    duty: Array
    coherence: Array
    texture: Array
    glide: Array
    rigid: float = 0.0
    ground: Ground | None = None
