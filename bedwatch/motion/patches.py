"""From blocks to cells, zones and the bed: area means and their errors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.bursts import duty, noise_of
from bedwatch.motion.carried import Carried
from bedwatch.motion.field import MotionField, Patches
from bedwatch.motion.gliding import glide
from bedwatch.motion.gradients import Image
from bedwatch.motion.ground import GroundLog
from bedwatch.motion.liveness import coherence, live_blocks, renewal, rigidity
from bedwatch.motion.margin import Margin
from bedwatch.motion.speed import SLOPE, BlockSpeeds, Key, block_speeds
from bedwatch.motion.tally import Channel

Array = NDArray[np.floating[Any]]

# Of a patch's area this share must lie in blocks that see powder.
LEAST_SEEN = 0.25
# A block whose pattern is gone by this share at once, and that no witness calls live, shows the camera's noise and no powder:
# it could move unseen. A patch is unknown unless this share of it is known.
_BARE = 0.75
_LEAST_KNOWN = 0.5
# Finer than this no speed is known: about 0.005 pixels over the longest lag.
_LEAST_ERROR_MM_S = 0.05
# Below this share of live blocks a patch stands still, and what speed is left over is its error.
_STILL = 0.02
# Blocks lend each other half their sums, so that about this many of them hold one independent reading.
_SHARED_BLOCKS = 4.0


class PatchMap:
    """Which share of each patch lies in which block. index: (rows, cols) patch of each grid pixel, -1 for none.

    places_mm: (3, count) means of x and y over each patch, from the grid's middle, and of their squares' sum; y goes down.
    """

    def __init__(
        self, index: NDArray[np.intp], count: int, valid: NDArray[np.bool_], block_px: int, step_mm: float
    ) -> None:
        rows, cols = valid.shape
        ij = np.argwhere(index >= 0)
        block = np.minimum(ij[:, 0] // block_px, rows - 1) * cols + np.minimum(ij[:, 1] // block_px, cols - 1)
        patch = index[ij[:, 0], ij[:, 1]]
        self.places_mm = _places_mm(ij, patch, count, index.shape, step_mm)
        flat = np.bincount(patch * rows * cols + block, minlength=count * rows * cols)
        share = flat.reshape(count, rows * cols).astype(np.float64)
        area = np.maximum(share.sum(axis=1), 1.0)
        share *= valid.ravel()
        seen = share.sum(axis=1)
        self.known: NDArray[np.bool_] = seen > LEAST_SEEN * area
        share /= np.maximum(seen, 1.0)[:, None]
        self._patch, self._block = np.nonzero(share)
        self._part = share[self._patch, self._block]
        self._count = count
        self.blocks: Array = 1.0 / np.maximum((share**2).sum(axis=1), 1e-9)
        self.used: NDArray[np.bool_] = (share.sum(axis=0) > 0).reshape(rows, cols)

    def mean(self, values: Array, trust: Array | None = None) -> Array:
        """Area mean per patch of values (rows, cols), weighted by trust; NaN where too little of the patch is seen."""
        flat = np.asarray(values, np.float64).ravel()
        out = self._sum(flat if trust is None else flat * trust.ravel())
        if trust is not None:
            out /= np.maximum(self._sum(trust.ravel()), 1e-9)
        out[~self.known] = np.nan
        return out

    def _sum(self, flat: Array) -> Array:
        return np.asarray(np.bincount(self._patch, self._part * flat[self._block], minlength=self._count), np.float64)


def _places_mm(
    ij: NDArray[np.intp], patch: NDArray[np.intp], count: int, shape: tuple[int, ...], step_mm: float
) -> Array:
    y, x = ((ij[:, axis] - (shape[axis] - 1) / 2) * step_mm for axis in (0, 1))
    area = np.maximum(np.bincount(patch, minlength=count), 1)
    return np.stack([np.bincount(patch, of, minlength=count) / area for of in (x, y, x * x + y * y)])


def measure(
    *,
    pairs: Mapping[Key, Channel],
    octaves: NDArray[np.float32],
    bursts: Channel,
    pulses: NDArray[np.float32],
    piece: Carried | None,
    cross: NDArray[np.float32] | None,
    slow: Array | None,
    brightness: Array,
    px_mm: tuple[float, float],
    windows: tuple[Image, Image],
    maps: tuple[PatchMap, PatchMap, PatchMap],
    margins: tuple[Margin, Margin],
    seconds: float,
    position_error: float,
    place_error_mm: float,
    ground: GroundLog,
    grey: Image,
) -> MotionField:
    """All readings of the window. pairs: means per (scale, lag); octaves, bursts, pulses: width and
    steadiness of the change at the long lag. slow: what `Gliding` found. grey: the newest picture's grey levels."""
    assert bursts.least is not None
    glides = glide(slow, brightness.shape)
    live = live_blocks(pairs, cross, octaves, pulses, windows, brightness, glides)
    known = live | (renewal(pairs[(0, 1)]) < _BARE)
    explained = coherence(pairs, windows)
    speeds = block_speeds(
        pairs, margins, cross, live, live & (explained < 1.0), bursts.least, brightness, px_mm, windows
    )
    if piece is not None:  # also what is too fast, or too bare, to be seen moving by itself
        live, known = live | piece.goes, known | piece.goes
    cells, zones, bed = maps
    fine = sorted((k for k in pairs if k[0] == 0), key=lambda k: pairs[k].lag_s)
    renewals = [cells.mean(renewal(pairs[k])) for k in fine]
    shortest = pairs[fine[0]]
    return MotionField(
        seconds=seconds,
        frames_per_s=1.0 / shortest.lag_s,
        cells=_read(cells, speeds, live, known, pairs, piece, position_error, place_error_mm),
        zones=_read(zones, speeds, live, known, pairs, piece, position_error, place_error_mm),
        bed=_read(bed, speeds, live, known, pairs, piece, position_error, place_error_mm),
        lags_s=np.array([pairs[k].lag_s for k in fine]),
        renewal=np.stack(renewals, axis=1),
        octaves=np.stack([cells.mean(band) for band in octaves], axis=1),
        duty=cells.mean(duty(bursts.sums, bursts.least, cells.used)),
        coherence=cells.mean(explained),
        glide=cells.mean(glides),
        rigid=rigidity(pairs, live & bed.used) if piece is None else 1.0,
        texture=cells.mean(shortest.sums[SLOPE]) / px_mm[0] ** 2,
        ground=ground.view(noise_of(bursts.least, cells.used), live, known, glides, grey),
    )


def _read(
    patches: PatchMap,
    speeds: BlockSpeeds,
    live: NDArray[np.bool_],
    known: NDArray[np.bool_],
    pairs: Mapping[Key, Channel],
    piece: Carried | None,
    position_error: float,
    place_error_mm: float,
) -> Patches:
    sure = known.astype(np.float64)
    trust = _trust(patches, speeds) * np.maximum(sure, 1e-6)
    if piece is not None:
        trust *= np.where(piece.goes, 1e-9, 1.0)
    speed2 = patches.mean(speeds.speed2, trust)
    speed = np.sqrt(np.maximum(speed2, 0.0))
    weight = np.maximum(speeds.speed2, 0.0) * trust
    bias = patches.mean(speeds.bias * weight) / np.maximum(patches.mean(weight), 1e-12)
    # What was taken out for noise is known to about a half; over many comparisons its own scatter averages out.
    looks = max(channel.count for channel in pairs.values()) * patches.blocks / _SHARED_BLOCKS
    noise2 = patches.mean(speeds.noise2, trust)
    noise_error2 = noise2 * (0.5 + 1.0 / np.sqrt(np.maximum(looks, 1.0)))
    noise_error = noise_error2 / (2 * np.maximum(speed, np.sqrt(noise_error2) / 2 + 1e-6))
    error = np.sqrt((speed * np.hypot(bias, position_error)) ** 2 + noise_error**2 + _LEAST_ERROR_MM_S**2)
    share = patches.mean(live.astype(np.float64), np.maximum(sure, 1e-6))
    still = share < _STILL
    error = np.where(still, np.hypot(error, speed), error)
    speed = np.where(still, 0.0, speed)
    if piece is not None:
        speed, error = _together(patches, piece, speed, error, position_error, place_error_mm)
    hidden = ~(patches.mean(sure) >= _LEAST_KNOWN)
    for values in (speed, error, share):
        values[hidden] = np.nan
    return Patches(speed_mm_s=speed, speed_error_mm_s=error, live=share)


def _together(
    patches: PatchMap, piece: Carried, speed: Array, error: Array, position_error: float, place_error_mm: float
) -> tuple[Array, Array]:
    """Speed and error of patches of which a part goes with the piece; speed, error: of the blocks that do not."""
    part = patches.mean(piece.goes.astype(np.float64))
    with_it = np.sqrt(np.maximum(piece.speed2(patches.places_mm), 0.0))
    aim = np.hypot(position_error, place_error_mm * piece.astray(patches.places_mm))
    with_it_error = np.hypot(np.hypot(piece.error(patches.places_mm), aim) * with_it, _LEAST_ERROR_MM_S)
    whole = np.sqrt(part * with_it**2 + (1 - part) * speed**2)
    # Of a root mean square each part has a say by its share of the square.
    errors = (part * with_it * with_it_error, (1 - part) * speed * error)
    return whole, np.hypot(*errors) / np.maximum(whole, 1e-6) + _LEAST_ERROR_MM_S * (whole < 1e-6)


def _trust(patches: PatchMap, speeds: BlockSpeeds) -> Array:
    """Weight of each block by how well its pattern can be followed: where the noise taken out outweighs the speed of
    the bed as a whole, the block has too little texture to say."""
    typical2 = float(np.median(np.maximum(speeds.speed2, 0.0)[patches.used])) + 1.0
    return np.asarray(1.0 / (1.0 + (2 * speeds.noise2 / typical2) ** 2), np.float64)
