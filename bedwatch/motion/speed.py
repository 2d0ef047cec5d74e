"""Speed, its error and liveness of every block, from the comparisons at all scales and lags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.motion.blocks import Comparison
from bedwatch.motion.gradients import SLOPE_TAPS, SMOOTH_TAPS, Image
from bedwatch.motion.margin import Margin
from bedwatch.motion.tally import Channel

Array = NDArray[np.floating[Any]]
Key = tuple[int, int]  # scale (0 fine, 1 coarse), lag in compared frames

SPEED2, SPREAD, EXPLAINED, CHANGE, SLOPE, ALIKE, VEL_X, VEL_Y = range(8)
CROSS_LAG = 8  # the lag whose successive displacements are multiplied

# A block's window holds so few independent pixels that noise alone explains this part of itself; from white noise, per
# scale. It takes the noise's own apparent motion out of the squared speed.
_CHANCE = (0.07, 0.20)
# Pixels per comparison up to which one least-squares step is true to about 1 per cent (see `compare`), and where it ends.
_SURE_PX, _LOST_PX = 0.5, 1.5
# Relative standard error of a speed that everything else is known of, and how it grows with each pixel of the coarse scale
# by which a step is longer than the second: measured on turning discs of real textures.
_LEAST_ERROR, _FAR_ERROR, _FAR_PX = 0.012, 0.17, 0.4
# A block that sees lines knows the motion across them only; what that adds to the relative error, per decade beyond _LINES.
_LINES_ERROR, _LINES = 0.08, 6.0
# Where noise hides all slopes across one direction, motion that way reads as none: of motion that goes every way alike,
# 1 - sqrt(1/2) of the speed.
_UNSEEN_ERROR = 0.29
# The coarse scale has a quarter of the pixels, so it is asked little while the fine one answers.
_COARSE_SAY = 0.05
# Noise energy of a block is at most so many times its least value among some sixty.
_LEAST_TO_NOISE = 6.0
# Noise in grey levels squared differs by no more than this over one bed.
_UNLIKE = 3.0
# Noise of the coarse scale against that of the fine one: 0.25 if white, up to 0.4 from video encoders.
_COARSE_NOISE = 0.35
# A patch that moves as a whole has this part of its change explained, noise set aside.
_MOVES_AS_ONE = 0.6
# Squared slope that white noise adds to the structure tensor, per unit of noise in a difference of two frames: two thirds
# (of three tensors one is a cross product, where noise drops out) x 1/2 (one frame's share) x the filters' gain.
_NOISE_SLOPE = 2 / 3 / 2 * float((SLOPE_TAPS**2).sum() / (SMOOTH_TAPS**2).sum())


def rows_of(pair: Comparison, *, lag_s: float, px_mm: float) -> NDArray[np.float32]:
    """The quantities of one comparison whose means over time are wanted: (8, rows, cols)."""
    scale = px_mm / lag_s
    x, y = pair.shift_x * scale, pair.shift_y * scale
    speed2 = x * x + y * y
    spread = pair.spread * scale**2
    return np.stack([speed2, spread, pair.explained, pair.change, pair.slope, pair.alike, x, y]).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockSpeeds:
    """Per block, (rows, cols). speed2: mean squared speed, mm2/s2, noise taken out (may be a little below 0).

    noise2: what was taken out of it. bias: relative standard error of a block's speed that more looking does not shrink.
    """

    speed2: Array
    noise2: Array
    bias: Array


def block_speeds(
    means: Mapping[Key, Channel],
    margins: tuple[Margin, Margin],
    cross: Array | None,
    live: NDArray[np.bool_],
    torn: NDArray[np.bool_],
    least: Image,
    brightness: Array,
    px_mm: tuple[float, float],
    windows: tuple[Image, Image],
) -> BlockSpeeds:
    """Weigh the comparisons: the longest step, in pixels, that one displacement still describes has the least noise.

    margins: what reads the strip along the wall, per scale. cross: mean product of successive displacements over
    CROSS_LAG, mm2/s2 (their noise is independent, so that it averages to nothing on a still surface), or None while there
    is none; used where the block is not live. torn: live, but no displacement explains it. least: (rows, cols) least
    energy of the change in each block. brightness: (rows, cols) mean grey level. windows: share of each block's window
    that sees powder, per scale.
    """
    keys = sorted(means, key=lambda k: px_mm[k[0]] / means[k].lag_s, reverse=True)
    energy = _noise_energy(means, least, torn, brightness, windows[0])
    noise = np.stack([_noise2(means[k], k, energy[k[0]], windows) for k in keys])
    moved = np.stack([means[k].sums[SPEED2] * _unshrunk(means[k], energy[k[0]]) for k in keys]) - noise
    moved = np.stack([margins[k[0]].read(of_key) for k, of_key in zip(keys, moved, strict=True)])
    guess = np.maximum(moved[0], 0.0)
    for _ in range(2):
        weights, step = _weights(means, keys, guess, px_mm)
        speed2 = np.einsum("krc,krc->rc", weights, moved)
        guess = np.maximum(speed2, 0.0)
    noise2 = np.einsum("krc,krc->rc", weights, noise)
    if cross is not None:
        speed2 = np.where(live, speed2, np.minimum(cross, speed2))
        noise2 = np.where(live, noise2, np.minimum(noise2, np.abs(cross)))
    bias = _bias(means, keys, energy, weights, step, px_mm)
    return BlockSpeeds(speed2=speed2, noise2=noise2, bias=bias)


def _bias(
    means: Mapping[Key, Channel],
    keys: list[Key],
    energy: tuple[Array, Array],
    weights: Array,
    step: Array,
    px_mm: tuple[float, float],
) -> Array:
    """Relative error that more looking does not shrink: long steps, lines for a texture, a surface torn up."""
    steps = np.einsum("krc,krc->rc", weights, step)
    far = _FAR_ERROR * np.maximum(step[0] - _FAR_PX, 0.0)
    bias = np.where(step[0] > _LOST_PX, 0.5, np.hypot(_LEAST_ERROR, far) + 0.01 * np.minimum(steps, 2.0) ** 2)
    shape = np.einsum("krc,krc->rc", weights, np.stack([_lopsided(means[k], k, px_mm) for k in keys]))
    lines = _LINES_ERROR * np.clip(np.log10(np.maximum(shape, _LINES) / _LINES), 0.0, 1.2)
    weak = np.einsum(
        "krc,krc->rc",
        weights,
        np.stack([_weakened(means[k], energy[k[0]], (means[k].lag_s / px_mm[k[0]]) ** 2) for k in keys]),
    )
    lines += _UNSEEN_ERROR * weak
    explained = np.stack(
        [means[k].sums[EXPLAINED] / np.maximum(means[k].sums[CHANGE] - energy[k[0]], 1e-9) for k in keys]
    )
    apart = 1.0 - np.clip(np.einsum("krc,krc->rc", weights, explained) / _MOVES_AS_ONE, 0.0, 1.0)
    return np.asarray(np.hypot(bias + lines, 0.5 * apart), np.float64)


def _noise_energy(
    means: Mapping[Key, Channel], least: Image, torn: NDArray[np.bool_], brightness: Array, window: Image
) -> tuple[Array, Array]:
    """What camera noise adds to the change of the fine and the coarse scale, per cent squared.

    It is what no displacement explains, at the lag where that is least, but no more than the quietest moment of the window
    allows: the block's own where the surface is torn up rather than moved, else the bed's usual one if that is more. In grey
    levels it is much the same all over the bed, so that the calmest blocks bound it. The coarse scale holds a fixed part
    of the fine one's.
    """
    left = [
        np.min([c.sums[CHANGE] - c.sums[EXPLAINED] for k, c in means.items() if k[0] == scale], axis=0)
        for scale in (0, 1)
    ]
    fine = np.maximum(left[0], 0.0)
    quiet = _LEAST_TO_NOISE * least
    seen = quiet[quiet > 0]
    usual = float(np.median(seen)) if seen.size else 0.0
    fine = np.minimum(fine, np.where(torn, quiet, np.maximum(quiet, usual)))
    grey2 = np.maximum(brightness, 1.0) ** 2
    least_grey2 = float(np.percentile((fine * grey2)[window > 0.9], 10)) if (window > 0.9).any() else np.inf
    fine = np.minimum(fine, _UNLIKE * least_grey2 / grey2)
    return fine, np.clip(left[1], 0.0, _COARSE_NOISE * fine)


def _noise2(channel: Channel, key: Key, energy: Array, windows: tuple[Image, Image]) -> Array:
    """Squared apparent speed that noise alone gives a comparison, mm2/s2."""
    chance = np.minimum(_CHANCE[key[0]] / np.clip(windows[key[0]], 0.3, 1.0) ** 0.7, 0.5)
    return np.asarray(chance / (2 * (1 - chance)) * energy * channel.sums[SPREAD], np.float64)


def _unshrunk(channel: Channel, energy: Array) -> Array:
    """What squared speed must be multiplied with since noise steepens the slopes that the change is divided by."""
    steeper = _NOISE_SLOPE * energy / np.maximum(channel.sums[SLOPE], 1e-9)
    return np.asarray((1.0 - np.minimum(steeper, 0.3)) ** -2, np.float64)


def _weakened(channel: Channel, energy: Array, per_px2: float) -> Array:
    """Share of the squared speed along the weaker direction that noise in the slopes takes away, 0 to 1.

    The smaller eigenvalue of the structure tensor, from its trace and the trace of its inverse, against what noise adds to
    it (errors in variables: Fuller 1987, Measurement Error Models, ch. 1).
    """
    mean = np.maximum(channel.sums[SLOPE], 1e-9)
    product = 2 * mean / np.maximum(channel.sums[SPREAD] * per_px2, 1e-9)
    weaker = mean - np.sqrt(np.maximum(mean**2 - product, 0.0))
    hidden, usual = (np.clip(_NOISE_SLOPE * energy / np.maximum(of, 1e-9), 0.0, 1.0) for of in (weaker, mean))
    # What noise takes away on the average is given back (`_unshrunk`).
    return np.asarray(np.clip(1.0 - ((1.0 - hidden) / (1.0 - np.minimum(usual, 0.3))) ** 2, 0.0, 1.0), np.float64)


def _lopsided(channel: Channel, key: Key, px_mm: tuple[float, float]) -> Array:
    """Trace of the structure tensor times trace of its inverse, halved: 2 if slopes lie every way alike, more for lines."""
    return np.asarray(channel.sums[SLOPE] * channel.sums[SPREAD] * (channel.lag_s / px_mm[key[0]]) ** 2, np.float64)


def _weights(
    means: Mapping[Key, Channel],
    keys: list[Key],
    guess2: Array,
    px_mm: tuple[float, float],
) -> tuple[Array, Array]:
    """Weights (k, rows, cols) that add up to 1, and the step of each comparison in its own pixels."""
    step = np.stack([np.sqrt(guess2) * means[k].lag_s / px_mm[k[0]] for k in keys])
    fits = np.clip((_LOST_PX - step) / (_LOST_PX - _SURE_PX), 0.0, 1.0) ** 2
    fits = np.maximum(fits, 1e-6)  # past every range the longest reach is all there is
    # Noise is the same number of pixels in every comparison, so its share of the speed falls with lag over pixel.
    longest = max(means[k].lag_s / px_mm[k[0]] for k in keys)
    gain = np.array([(means[k].lag_s / px_mm[k[0]] / longest) ** 2 * (_COARSE_SAY if k[0] else 1.0) for k in keys])
    lost = np.array([1.0, *[1e-3] * (len(keys) - 1)])
    gain = np.where(fits > 1e-6, gain[:, None, None], lost[:, None, None])
    fits = fits * gain
    return fits / fits.sum(axis=0), step
