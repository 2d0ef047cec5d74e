"""Frames that come too seldom, or not all."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.health.looks import Look
from bedwatch.aim.types import Problem, ProblemKind

SLOW_FPS = 12.0
LOST_SHARE = 0.015


def timing_problems(looks: list[Look]) -> list[Problem]:
    """A low frame rate, and frames that are missing or repeated."""
    found = []
    steps = np.diff([look.time_s for look in looks]) / [look.frames for look in looks[1:]]
    if len(steps) >= 4 and (step := float(np.median(steps))) > 0 and 1.0 / step < SLOW_FPS:
        advice = (
            f"Only {1.0 / step:.1f} frames a second come in; choose a smaller picture or MJPG, "
            "and more light so that the camera need not expose so long."
        )
        found.append(Problem(kind=ProblemKind.LOW_FRAME_RATE, advice=advice))
    lost = sum(look.lost for look in looks[1:])
    share = lost / (sum(look.frames for look in looks) + lost)
    if lost >= 2 and share > LOST_SHARE:
        advice = (
            f"{100 * share:.0f} % of the frames are missing or repeated; use another port, cable or a smaller picture."
        )
        found.append(Problem(kind=ProblemKind.DROPPED_FRAMES, advice=advice))
    return found


__all__ = ["timing_problems"]
