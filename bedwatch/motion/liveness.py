"""Which blocks move by more than the camera's noise can explain, and how fast their pattern is replaced."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.blocks import LEAST_SEEN
from bedwatch.motion.gliding import SURELY_GLIDES
from bedwatch.motion.gradients import SMOOTH_TAPS, Image
from bedwatch.motion.speed import ALIKE, CHANGE, CROSS_LAG, EXPLAINED, SLOPE, SPEED2, VEL_X, VEL_Y, Key
from bedwatch.motion.tally import Channel

Array = NDArray[np.floating[Any]]

# One displacement explains this part of what noise does in a whole window by chance: still scenes, compressed ones too,
# reach 0.2 on the fine and 0.36 on the coarse scale; a drifting pattern 0.35 and 0.45 at the least.
_COHERENT = (0.28, 0.42)
_SURELY_COHERENT = 0.6
# Beyond this many times what chance can do no second witness is needed; below it successive displacements must agree.
_NO_DOUBT = 1.5
_AGREE = 0.35
# Noise, also the slowly refreshed errors of a video encoder, lets the pattern change by less than this between the
# shortest and the longest lag.
_REPLACED = 0.15
# Changes 20-80 mm wide against those of 5-20 mm: white noise gives 0.5 at the most.
_WIDE = 1.0
_MOSTLY_REPLACED = 0.3
# Energy of noise in a block of 10 mm over time: mean squared over mean square is 0.65 and more; that of eruptions 0.45 and
# less. Only changes well above the least noise count, since video encoders refresh flat walls in pulses.
_BURSTS = 0.5
_STRONG = 12.0
# Temporal noise of a picture that looks noise-free, grey levels squared (EMVA Standard 1288 sets this floor for 8 bit).
_LEAST_NOISE_DN2 = 0.24


_LEAST_RIGID = 12  # blocks that must be live for a motion to be called that of one piece

# A window cut by the wall holds too few pixels to tell gliding from chance.
_WHOLE_WINDOW = 0.8


def renewal(channel: Channel) -> Array:
    """Share of the pattern that is another one after the lag: 1 - (slopes then x now) / (slopes x slopes)."""
    alike = channel.sums[ALIKE]
    itself = (3 * channel.sums[SLOPE] - alike) / 2
    return np.asarray(1.0 - alike / np.maximum(itself, 1e-6), np.float64)


def coherence(pairs: Mapping[Key, Channel], windows: tuple[Image, Image]) -> Array:
    """Greatest share of the change that one displacement explains, over all comparisons, in units of what chance can do:
    above 1 the block moved."""
    shares = []
    for key, channel in pairs.items():
        # A window cut by the wall holds fewer pixels, so chance explains more of what it sees.
        limit = np.minimum(_COHERENT[key[0]] / np.maximum(windows[key[0]], 0.1), _SURELY_COHERENT)
        share = channel.sums[EXPLAINED] / np.maximum(channel.sums[CHANGE], 1e-9) / limit
        shares.append(np.where(windows[key[0]] >= LEAST_SEEN, share, 0.0))
    return np.asarray(np.max(shares, axis=0), np.float64)


def live_blocks(
    pairs: Mapping[Key, Channel],
    cross: Array | None,
    octaves: Array,
    pulses: Array,
    windows: tuple[Image, Image],
    brightness: Array,
    glides: Array,
) -> NDArray[np.bool_]:
    """Blocks that move: (rows, cols).

    cross: mean product of successive displacements over the longest lag, mm2/s2. octaves: (octaves, rows, cols) energy of
    the change at the long lag; pulses: (2, rows, cols) mean of that energy and of its square. brightness: (rows, cols)
    mean grey level. glides: (rows, cols) share of a slow change that displacements explain.

    A block moves if one displacement explains its change, time after time in the same direction; or if its pattern is the
    more another one the longer one waits (noise is the same at every lag); or if the pattern is gone at once and the
    change is wide, or strong and in bursts (noise is neither); or if it glides, too slowly for single frames to show.
    """
    fine = sorted((k for k in pairs if k[0] == 0), key=lambda k: pairs[k].lag_s)
    soon, late = renewal(pairs[fine[0]]), np.max([renewal(pairs[k]) for k in fine[1:] or fine], axis=0)
    floor = 2 * _LEAST_NOISE_DN2 * float((SMOOTH_TAPS**2).sum()) ** 2 * 1e4 / np.maximum(brightness, 1.0) ** 2
    change = np.max([pairs[k].sums[CHANGE] for k in fine], axis=0)
    replaced = late - soon > _REPLACED
    wide = octaves[3:].sum(axis=0) > _WIDE * octaves[1:3].sum(axis=0)
    in_bursts = (change > _STRONG * floor) & (pulses[0] ** 2 < _BURSTS * pulses[1])
    explained = coherence(pairs, windows)
    drifts = (explained > _NO_DOUBT) | ((explained > 1.0) & (soon > _MOSTLY_REPLACED))
    if cross is not None:
        drifts |= (explained > 1.0) & (cross > _AGREE * pairs[(0, CROSS_LAG)].sums[SPEED2])
    slowly = (glides > SURELY_GLIDES) & (windows[0] > _WHOLE_WINDOW)
    return np.asarray(
        slowly | (change > floor) & (drifts | replaced | ((wide | in_bursts) & (soon > _MOSTLY_REPLACED))), np.bool_
    )


def rigidity(pairs: Mapping[Key, Channel], live: NDArray[np.bool_]) -> float:
    """Share of the squared speed that one steady rigid motion of the whole surface explains, 0 to 1, in the comparison that
    shows it best; 0 where nothing is live.

    Mean velocities are fitted by a turn and a shift with the least squares (textbook result: what is left and what is
    explained add up).
    """
    y, x = np.nonzero(live)
    if len(x) < _LEAST_RIGID:
        return 0.0
    away = np.stack([x - x.mean(), y - y.mean()])
    shares = []
    for channel in pairs.values():
        along = np.stack([channel.sums[VEL_X][live], channel.sums[VEL_Y][live]]).astype(np.float64)
        shift = along.mean(axis=1)
        turn = float((away[0] * along[1] - away[1] * along[0]).sum() / (away**2).sum())
        explained = len(x) * float(shift @ shift) + turn**2 * float((away**2).sum())
        shares.append(explained / max(float(channel.sums[SPEED2][live].sum()), 1e-9))
    return max(shares)
