"""Exposure: too dark, too bright, too flat, and a camera that changes it by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.health.looks import Look, Tones
from bedwatch.aim.types import Problem, ProblemKind

RECENT = 30
DARK_LEVEL = 48.0  # 98 of 100 places of the whole picture are darker than this
CLIPPED_SHARE, BED_CLIPPED_SHARE = 0.08, 0.03
CONTRAST_RANGE = 26.0
HUNTING_SHARE = 0.06
TINT_SHARE = 0.05
_SMOOTH_S = 0.5
_LEAST_S = 2.0


def exposure_problems(looks: list[Look]) -> list[Problem]:
    """Dark, overexposed or low in contrast, by the last second or so: the powder's surface where it is known."""
    recent = looks[-RECENT:]
    whole = _middle([look.whole for look in recent])
    beds = [look.bed for look in recent if look.bed is not None]
    if whole.high < DARK_LEVEL:
        advice = (
            f"Nearly all of the picture is darker than {whole.high:.0f} of 255; "
            "add light from one side or expose longer."
        )
        return [Problem(kind=ProblemKind.DARK, advice=advice)]
    if beds and (bed := _middle(beds)).clipped > BED_CLIPPED_SHARE:
        advice = (
            f"{100 * bed.clipped:.0f} % of the powder's surface is as bright as the camera can tell; "
            "expose shorter or dim the lamp."
        )
        return [Problem(kind=ProblemKind.OVEREXPOSED, advice=advice)]
    if not beds and whole.clipped > CLIPPED_SHARE:
        advice = (
            f"{100 * whole.clipped:.0f} % of the picture is as bright as the camera can tell; "
            "expose shorter or dim the lamp."
        )
        return [Problem(kind=ProblemKind.OVEREXPOSED, advice=advice)]
    if whole.high - whole.low < CONTRAST_RANGE:
        advice = (
            f"All of the picture lies within {whole.high - whole.low:.0f} of 255 grey levels; light the bed from one "
            "side, 10 to 30 degrees above the surface, and wipe the lens."
        )
        return [Problem(kind=ProblemKind.LOW_CONTRAST, advice=advice)]
    return []


def hunting_problems(looks: list[Look], gains: NDArray[np.float64] | None) -> list[Problem]:
    """Exposure or white balance that wanders by itself.

    gains: (n, 2) time and ln contrast of the still surroundings against the first seconds, None where that is not known:
    a longer exposure raises brightness and contrast alike, a veil of dust one without the other.
    """
    span = looks[-1].time_s - looks[0].time_s
    if span < _LEAST_S:
        return []
    times = np.array([look.time_s for look in looks])
    level = np.array([look.level for look in looks])
    if gains is not None:
        gain = np.interp(times, gains[:, 0], gains[:, 1])
        base = np.median(level), np.median(gain)
        level, gain = level - base[0], gain - base[1]
        level = np.where(level * gain > 0, np.sign(level) * np.minimum(np.abs(level), np.abs(gain)), 0.0)
    swing = _swing(level, span)
    if swing >= HUNTING_SHARE:
        advice = (
            f"The exposure wanders by {100 * swing:.0f} % by itself; switch automatic exposure and white balance off."
        )
        return [Problem(kind=ProblemKind.EXPOSURE_HUNTING, advice=advice)]
    tint = max(_swing(np.array([look.tint[i] for look in looks]), span) for i in (0, 1))
    if tint >= TINT_SHARE:
        advice = f"The white balance wanders by {100 * tint:.0f} % by itself; switch automatic white balance off."
        return [Problem(kind=ProblemKind.EXPOSURE_HUNTING, advice=advice)]
    return []


def _swing(values: NDArray[np.float64], span_s: float) -> float:
    """Highest less lowest of what is left after a mean over half a second."""
    width = min(len(values), max(1, int(_SMOOTH_S * len(values) / span_s)))
    smooth = np.convolve(values, np.ones(width) / width, "valid")
    return float(smooth.max() - smooth.min())


def _middle(tones: list[Tones]) -> Tones:
    low, high, clipped = np.median([(tone.low, tone.high, tone.clipped) for tone in tones], axis=0)
    return Tones(low=float(low), high=float(high), clipped=float(clipped))


__all__ = ["exposure_problems", "hunting_problems"]
