"""What a look with the air off tells of this powder before this camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The surface at rest, air off.

    seconds: how long it was looked at. speed_mm_s, live: what motion and live share this surface seems to have though it
    lies still: the least that can be told here. noise: standard deviation over time of a place of the surface, grey
    levels. brightness: its mean grey level. texture: standard deviation from place to place within 120 mm, as a share of
    the brightness. unevenness: brightness of the bed's brightest tenth less its darkest tenth, over the mean; light that
    falls off and powder that lies heaped look the same in it. level_mm: place of the surface below the rim with the air
    off (mm, standard error), None where the aim does not tell.
    """

    seconds: float
    speed_mm_s: float
    live: float
    noise: float
    brightness: float
    texture: float
    unevenness: float
    level_mm: tuple[float, float] | None = None

    def __bool__(self) -> Literal[True]:
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class NotAtRest:
    """Nothing learnt, because the surface was not seen at rest. False in a test."""

    reason: str
    advice: str

    def __bool__(self) -> Literal[False]:
        return False


__all__ = ["NotAtRest", "Rest"]
