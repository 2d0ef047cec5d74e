"""Light that flickers with the mains, told by the beat it makes with the frame rate, and which mains it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.health.looks import BANDS, Look

LEAST_SHARE = 0.0035  # amplitude, as a share of the brightness
STANDS_OUT = 14.0  # power of a beat over that of its neighbours: powder moves at all paces, light at one
LEAST_HZ = 1.6  # slower changes are exposure, veils and shadows
LEAST_BEATS = 3.5  # in the window: fewer may be one change of the light
OVERTONES_HZ, OVERTONE = 3.5, 0.04  # a strong slow swing has overtones; power of those that are not believed
LASTS = 0.5  # of its amplitude must be there in either half of the window
LEAST_FRAMES = 24
_HALF_WIDTH = 3  # bins of a line seen through a Hann window
_NEAR_HZ = 0.35  # mains and camera clocks are off by so much at most
MAINS_HZ = (50, 60)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flicker:
    """share: amplitude of the light's swing, of its mean. beat_hz: how often it comes in the pictures.

    mains_hz: 50 or 60 where the beat tells; None otherwise.
    """

    share: float
    beat_hz: float
    mains_hz: int | None


def flicker_of(looks: list[Look]) -> Flicker | None:
    """The strongest steady beat in the brightness of the bands; None when none stands out."""
    if len(looks) < LEAST_FRAMES:
        return None
    fps, bands, seen = _even(looks)
    if len(bands) < LEAST_FRAMES or fps <= 0:
        return None
    hz = np.fft.rfftfreq(len(bands), 1.0 / fps)
    slow = hz < max(LEAST_HZ, LEAST_BEATS * fps / len(bands))
    slowest = 0.0
    if not seen.all():
        bands, slowest = _quick(bands, seen, int(slow.sum()))
    window = np.hanning(len(bands) + 2)[1:-1, None] * seen[:, None]
    mean = bands[seen].mean(axis=0)
    spectrum = np.fft.rfft((bands - mean) * window, axis=0) * (2.0 / window.sum())
    power = (np.abs(spectrum) ** 2).mean(axis=1)
    slowest = max(slowest, float(power[1:][slow[1:]].max(initial=0.0)))
    power[slow] = 0.0
    top = int(np.argmax(power))
    span = max(8, int(2.0 * len(bands) / fps))
    near = np.abs(np.arange(len(power)) - top)
    others = power[(near > _HALF_WIDTH) & (near <= span) & (hz >= LEAST_HZ)]
    if len(others) < 5:
        return None
    share, floor = float(np.sqrt(power[top])), float(np.median(others))
    if share < LEAST_SHARE or power[top] < STANDS_OUT * floor:
        return None
    beat = _peak(power, top) * fps / len(bands)
    if beat < OVERTONES_HZ and power[top] < OVERTONE * slowest:
        return None
    half = len(bands) // 2
    if min(_share(bands[part], seen[part], beat / fps) for part in (slice(half), slice(half, None))) < LASTS * share:
        return None
    return Flicker(share=share, beat_hz=beat, mains_hz=mains_of(beat, fps))


def _share(bands: NDArray[np.float64], seen: NDArray[np.bool_], cycles: float) -> float:
    """Amplitude of the beat of so many cycles a frame."""
    window = np.hanning(len(bands) + 2)[1:-1] * seen
    wave = np.exp(-2j * np.pi * cycles * np.arange(len(bands))) * window * (2.0 / max(window.sum(), 1e-9))
    return float(np.sqrt((np.abs(wave @ (bands - bands[seen].mean(axis=0))) ** 2).mean()))


def _quick(bands: NDArray[np.float64], seen: NDArray[np.bool_], slow: int) -> tuple[NDArray[np.float64], float]:
    """What is left of the bands, 0 where they were not seen, without what goes as slowly as the first `slow` bins; and the
    greatest power of those.

    Frames that are passed over by turns would show a slow change once more at the pace of the rounds, so it is fitted where the
    bands were seen (least squares, half cosines) and taken out.
    """
    at = np.arange(len(bands))
    waves = np.cos(np.pi * np.outer(at + 0.5, np.arange(2 * slow)) / len(bands))
    strengths = np.linalg.lstsq(waves[seen], bands[seen], rcond=None)[0]
    rest = np.where(seen[:, None], bands - waves @ strengths, 0.0)
    return rest, float((strengths[1:] ** 2).mean(axis=1).max(initial=0.0))


def mains_of(beat_hz: float, fps: float) -> int | None:
    """50 or 60 if light at twice that mains frequency, and not at twice the other, beats so at this frame rate."""
    fits = [mains for mains in MAINS_HZ if abs(alias_hz(2.0 * mains, fps) - beat_hz) < _NEAR_HZ]
    return fits[0] if len(fits) == 1 else None


def alias_hz(light_hz: float, fps: float) -> float:
    """How often light of that frequency seems to come in pictures taken fps times a second."""
    return abs(light_hz - round(light_hz / fps) * fps)


def _even(looks: list[Look]) -> tuple[float, NDArray[np.float64], NDArray[np.bool_]]:
    """Frames a second, the bands (n, 16) on an even grid of frames, since a camera exposes evenly, also where stamps jitter, and
    (n,) which of them were seen: the bands of missing frames lie between those of others, those of frames passed over are 0."""
    times = np.array([look.time_s for look in looks])
    frames = np.array([look.frames for look in looks[1:]])
    steps = np.diff(times)
    usual = float(np.median(steps / frames))
    if usual <= 0:
        return 0.0, np.zeros((0, BANDS)), np.zeros(0, np.bool_)
    number = np.concatenate([[0], np.cumsum(np.maximum(frames, np.round(steps / usual)))]).astype(np.intp)
    step = float(np.polyfit(number, times, 1)[0])
    bands = np.array([look.bands for look in looks])
    grid = np.arange(number[-1] + 1)
    if len(grid) > 3 * len(looks):
        return 0.0, np.zeros((0, BANDS)), np.zeros(0, np.bool_)
    if frames.max(initial=1) > 1:
        sparse = np.zeros((len(grid), BANDS))
        sparse[number] = bands
        return 1.0 / step, sparse, np.isin(grid, number)
    if len(grid) != len(looks):
        bands = np.column_stack([np.interp(grid, number, column) for column in bands.T])
    return 1.0 / step, bands, np.ones(len(bands), np.bool_)


def _peak(power: NDArray[np.float64], top: int) -> float:
    """Place of a peak between bins, by a parabola through the logarithms."""
    if not 0 < top < len(power) - 1 or power[top - 1] <= 0:
        return float(top)
    left, middle, right = np.log(power[top - 1 : top + 2] + 1e-30)
    return float(top + 0.5 * (left - right) / (left - 2 * middle + right - 1e-12))


__all__ = ["Flicker", "alias_hz", "flicker_of", "mains_of"]
