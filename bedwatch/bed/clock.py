"""Positions as people say them at the bed."""

from __future__ import annotations

import math

_CENTRE_MM = 10.0


def clock_position(x_mm: float, y_mm: float) -> str:
    """A place on the bed by the clock, to the half hour, and its distance from the axis to 5 mm.

    "4 o'clock, 110 mm out", "half past 4, 110 mm out"; "at the centre" within 10 mm of the axis. An hour is
    30 degrees clockwise from +y. Raises ValueError for a place that is not finite.
    """
    if not (math.isfinite(x_mm) and math.isfinite(y_mm)):
        raise ValueError(f"found the place ({x_mm}, {y_mm}), expected two finite numbers")
    out = math.hypot(x_mm, y_mm)
    if out < _CENTRE_MM:
        return "at the centre"
    halves = round(math.degrees(math.atan2(x_mm, y_mm)) / 15.0) % 24
    hour = halves // 2 or 12
    time = f"half past {hour}" if halves % 2 else f"{hour} o'clock"
    return f"{time}, {5 * round(out / 5.0)} mm out"
