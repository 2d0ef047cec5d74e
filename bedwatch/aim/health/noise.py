"""How much a still pixel of this camera flutters, against how bright it is.

After EMVA Standard 1288 (release 3.1, 2016): the variance of a pixel over time is s2 = s2_dark + K (mean - dark), read from
differences of picture pairs with the whole picture's change taken out, mean((a - b)^2) / 2 - (mean(a) - mean(b))^2 / 2.
A webcam is no linear camera: gamma, denoising and compression bend the line, and what is fitted here is a description of
the grey levels that come in, not K in electrons. A prior only: the powder's own flutter is measured where it lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.frame import Picture

_WIDTH = 12  # grey levels in one class of brightness
_DARKEST, _BRIGHTEST = 4.0, 250.0  # beyond, clipping hides part of the noise
_LEAST_PAIRS = 6
_LEAST_PIXELS = 80  # of one class
_LEAST_CLASSES = 3
_LEAST_RANGE = 24.0  # grey levels that the classes must span


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Temporal variance of a still pixel, grey levels squared: at_zero + gain * brightness.

    gain: grey levels squared a grey level. at_zero: the line carried down to brightness 0, may be negative where gamma
    bends it. floor: smallest variance that was seen in any class. brightness: (lowest, highest) class it was read from.
    error: root mean square misfit of the line, as a share of the variance. pixels, pairs: how much it rests on.
    """

    gain: float
    at_zero: float
    floor: float
    brightness: tuple[float, float]
    error: float
    pixels: int
    pairs: int

    def variance(self, brightness: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Grey levels squared at these brightnesses; never below half of the smallest seen."""
        return np.maximum(self.at_zero + self.gain * np.asarray(brightness, np.float64), 0.5 * self.floor)

    @property
    def dark(self) -> float:
        """Standard deviation in the dark, grey levels, as far as the line tells."""
        return float(np.sqrt(max(self.at_zero, 0.0)))


def noise_of(greys: Sequence[Picture], still: NDArray[np.bool_] | None = None) -> Noise | None:
    """The noise in pictures (each (rows, cols), grey) of places that stand still; None when they tell too little.

    still: (rows, cols) which places to use. What moves among them is left out as long as it is less than half of each
    class of brightness: a class is read by the median of its pixels' variances.
    """
    pairs = len(greys) // 2
    if pairs < _LEAST_PAIRS:
        return None
    use = np.ones(greys[0].shape, np.bool_) if still is None else still
    stack = np.array([grey[use] for grey in greys[: 2 * pairs]], np.float32)
    if stack.shape[1] == 0:
        return None
    mean = stack.mean(axis=0)
    seen = (stack.min(axis=0) > 0) & (stack.max(axis=0) < 255) & (mean > _DARKEST) & (mean < _BRIGHTEST)
    stack, mean = stack[:, seen], mean[seen]
    kind = (mean // _WIDTH).astype(np.intp)
    # Non-overlapping pairs, so that each pixel's sum of squares has as many degrees of freedom as there are pairs.
    change = (stack[0::2] - stack[1::2]).astype(np.float64)
    classes = []
    for number in np.unique(kind):
        here = kind == number
        if here.sum() < _LEAST_PIXELS:
            continue
        part = change[:, here]
        # The middle, not the mean: what moves must not pass for a change of the light.
        common = _middles(part)
        squares = ((part - common[:, None]) ** 2).mean(axis=0) / 2
        classes.append(
            (float(np.median(mean[here])), float(np.median(squares)) / _median_of_chi2(pairs), int(here.sum()))
        )
    return _line(np.array(classes), pairs) if len(classes) >= _LEAST_CLASSES else None


def _middles(part: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the middle half of each row: as robust as a median, but not whole-numbered."""
    ordered = np.sort(part, axis=1)
    quarter = part.shape[1] // 4
    return np.asarray(ordered[:, quarter : part.shape[1] - quarter].mean(axis=1), np.float64)


def _median_of_chi2(freedom: int) -> float:
    """Median of chi squared over its degrees of freedom (Wilson & Hilferty 1931)."""
    return float((1.0 - 2.0 / (9.0 * freedom)) ** 3)


def _line(classes: NDArray[np.float64], pairs: int) -> Noise | None:
    level, variance, count = classes.T
    if np.ptp(level) < _LEAST_RANGE:
        return None
    fitted = np.maximum(variance, 1e-3)
    for _ in range(4):  # weights from the fit itself: a class that reads low by chance must not weigh more
        weight = np.sqrt(count) / fitted
        gain, at_zero = np.polyfit(level, variance, 1, w=weight)
        fitted = np.maximum(at_zero + gain * level, 0.1 * np.median(variance) + 1e-3)
    return Noise(
        gain=float(gain),
        at_zero=float(at_zero),
        floor=float(variance.min()),
        brightness=(float(level.min()), float(level.max())),
        error=float(np.sqrt(np.average((variance / fitted - 1.0) ** 2, weights=count))),
        pixels=int(count.sum()),
        pairs=pairs,
    )


__all__ = ["Noise", "noise_of"]
