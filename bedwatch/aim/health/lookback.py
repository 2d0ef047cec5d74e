"""What ails the camera, judged once more on the pictures that were kept when it is known where the bed lies in them."""

from __future__ import annotations

from collections.abc import Sequence

from bedwatch.aim.health.camera import CameraCheck
from bedwatch.aim.types import Aim, Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.frames.frame import Frame, Picture

# What some pictures a quarter of a second apart can tell; flicker, shaking and lost frames need all of them.
TOLD = (
    ProblemKind.DARK,
    ProblemKind.OVEREXPOSED,
    ProblemKind.LOW_CONTRAST,
    ProblemKind.BLURRED,
    ProblemKind.DUST_CLOUD,
)


def look_back(
    pictures: Sequence[Picture], times_s: Sequence[float], aim: Aim, bed: Bed
) -> tuple[tuple[ProblemKind, ...], tuple[Problem, ...]]:
    """The kinds of problem judged anew, and those found.

    pictures: eight or more, spread over the first seconds, of the size the aim is for. times_s: when each was taken.
    """
    check = CameraCheck()
    check.aimed(aim, bed)
    # Twice: what stands still is learnt first, then all of them are compared with it.
    again_s = times_s[-1] - times_s[0] + 0.3 if len(times_s) else 0.0
    for number, (picture, time_s) in enumerate(
        (p, t + turn * again_s) for turn in (0, 1) for p, t in zip(pictures, times_s, strict=True)
    ):
        check.add(Frame(picture=picture, time_s=time_s, number=number))
    return TOLD, tuple(problem for problem in check.problems() if problem.kind in TOLD)


__all__ = ["TOLD", "look_back"]
