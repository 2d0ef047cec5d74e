"""An aim that was kept from another day, against what is found now."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.types import Aim
from bedwatch.bed import Bed

# So far apart, anywhere on the wall, two aims may lie and still be of a camera that was not moved: four times what a usual
# aim is good to.
SAME_MM = 6.0


def apart_mm(one: Aim, other: Aim, bed: Bed) -> float:
    """How far apart two aims put the places of the wall, at most, mm; infinite where one of them does not show a place."""
    half = np.array([bed.width_mm, bed.length_mm]) / 2
    turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
    places = half * np.column_stack([np.sin(turn), np.cos(turn)])
    away = np.hypot(*(other.places(one.pixels(places)) - places).T)
    return float(away.max()) if np.isfinite(away).all() else float("inf")


def fits(kept: Aim, size_px: tuple[int, int]) -> bool:
    """Whether a kept aim can hold for pictures of that size (width, height)."""
    return kept.size_px is None or kept.size_px == size_px


def settled(found: Aim, kept: Aim | None, bed: Bed, size_px: tuple[int, int]) -> Aim:
    """Which of the two to go by: the kept one, which somebody has looked at, as long as the camera stands where it stood."""
    if kept is not None and fits(kept, size_px) and apart_mm(found, kept, bed) <= SAME_MM:
        return kept
    return found


__all__ = ["apart_mm", "fits", "settled"]
