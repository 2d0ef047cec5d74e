"""The looks that `bedwatch aim` takes: the first one, from which all is found, and the one with the air off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from bedwatch.aim.health.camera import CameraCheck
from bedwatch.aim.health.lookback import look_back
from bedwatch.aim.health.looks import Lattice
from bedwatch.aim.health.noise import Noise, noise_of
from bedwatch.aim.health.rest import NotAtRest, Rest
from bedwatch.aim.types import Aim, NotFound, Problem
from bedwatch.bed import Bed
from bedwatch.frames.frame import Frame, Picture
from bedwatch.motion.rest import look_at_rest

LOOK_S = 3.0
PICTURES = 12
LEAST_PICTURES = 8  # for looking back
AIR_OFF_LOOKS = 12  # of five seconds: a minute to shut the air in and for the powder to settle


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLook:
    """Pictures spread over the first seconds and when they were taken, what ailed the camera, and of every new frame
    the grey places of a coarse lattice."""

    pictures: tuple[Picture, ...]
    times_s: tuple[float, ...]
    problems: tuple[Problem, ...]
    greys: tuple[Picture, ...]

    def told(self, found: Aim | NotFound, bed: Bed) -> Aim | NotFound:
        """The finding with what ails the camera, judged once more where it is known which part is powder."""
        problems = self.problems
        shape = self.pictures[-1].shape
        kept = [number for number, picture in enumerate(self.pictures) if picture.shape == shape]
        if found and len(kept) >= LEAST_PICTURES:
            judged, anew = look_back([self.pictures[i] for i in kept], [self.times_s[i] for i in kept], found, bed)
            problems = tuple(problem for problem in problems if problem.kind not in judged) + anew
        seen = {problem.kind for problem in found.problems}
        return replace(found, problems=found.problems + tuple(p for p in problems if p.kind not in seen))

    def noise(self, found: Aim | NotFound, bed: Bed) -> Noise | None:
        """Of what stands still round the bed; None without a bed, since then nothing is known to stand still."""
        if not found:
            return None
        return noise_of(self.greys, Lattice(self.pictures[-1].shape[:2], found, bed).still)


def first_look(frames: Iterable[Frame]) -> FirstLook:
    """Takes about three seconds of frames."""
    check, due_s = CameraCheck(), 0.0
    pictures: list[Picture] = []
    times_s: list[float] = []
    greys: list[Picture] = []
    lattice: Lattice | None = None
    for frame in frames:
        check.add(frame)
        if lattice is None or lattice.shape != frame.picture.shape[:2]:
            lattice, greys = Lattice(frame.picture.shape[:2]), []
        grey = lattice.grey(frame)
        if not greys or not np.array_equal(grey, greys[-1]):  # the same picture again tells nothing of noise
            greys.append(grey)
        if frame.time_s >= due_s and len(pictures) < PICTURES:
            pictures.append(frame.coloured())
            times_s.append(frame.time_s)
            due_s = frame.time_s + LOOK_S / PICTURES
        if frame.time_s > LOOK_S:
            break
    return FirstLook(pictures=tuple(pictures), times_s=tuple(times_s), problems=check.problems(), greys=tuple(greys))


def air_off_look(frames: Iterator[Frame], aim: Aim, bed: Bed) -> Rest | NotAtRest:
    """Looks again and again until the surface lies still; else why it did not, the first time it was looked at."""
    why = NotAtRest(
        reason="no picture came after the bed was found",
        advice="Give a longer clip, all of it with the air off: about 10 s",
    )
    for turn in range(AIR_OFF_LOOKS):
        frame = next(frames, None)
        if frame is None:
            break
        try:
            seen = look_at_rest(chain([frame], frames), aim, bed)
        except ValueError as error:
            return NotAtRest(reason=str(error), advice="Look again with one camera setting")
        if seen:
            return seen
        why = seen if turn == 0 else why
    return why


def noise_json(noise: Noise | None) -> dict[str, float] | None:
    """Numbers only; grey: grey levels, grey2: grey levels squared."""
    if noise is None:
        return None
    return {
        "gain_grey": round(noise.gain, 5),
        "at_zero_grey2": round(noise.at_zero, 4),
        "floor_grey2": round(noise.floor, 4),
        "from_grey": round(noise.brightness[0], 1),
        "to_grey": round(noise.brightness[1], 1),
        "error_share": round(noise.error, 3),
        "pixels": noise.pixels,
        "pairs": noise.pairs,
    }


def rest_json(rest: Rest | NotAtRest | None) -> dict[str, float | None] | None:
    """Numbers only; None when there was no such look, or nothing lay still."""
    if not rest:
        return None
    level, error = rest.level_mm or (None, None)
    return {
        "looked_s": round(rest.seconds, 2),
        "speed_mm_s": round(rest.speed_mm_s, 3),
        "live": round(rest.live, 4),
        "noise_grey": round(rest.noise, 3),
        "brightness_grey": round(rest.brightness, 1),
        "texture_share": round(rest.texture, 4),
        "unevenness_share": round(rest.unevenness, 4),
        "below_rim_mm": level,
        "below_rim_error_mm": error,
    }


def noise_words(noise: Noise) -> str:
    """One line: how much a still pixel flutters where the picture is dark and where it is bright."""
    dark, bright = noise.brightness
    low, high = np.sqrt(noise.variance(np.array([dark, bright])))
    return (
        f"Camera noise: a still pixel flutters by {low:.1f} grey levels at brightness {dark:.0f}, {high:.1f} at "
        f"{bright:.0f}."
    )


def rest_words(rest: Rest) -> str:
    """One line: the least that can be told of this powder before this camera."""
    level = (
        "" if rest.level_mm is None else f" It lies {rest.level_mm[0]:.0f} ± {rest.level_mm[1]:.0f} mm below the rim."
    )
    return (
        f"Air off: the still surface reads {rest.speed_mm_s:.1f} mm/s and {100 * rest.live:.0f} % live, the least that can "
        f"be told here; its brightness differs by {100 * rest.unevenness:.0f} % over the bed.{level}"
    )


__all__ = [
    "FirstLook",
    "air_off_look",
    "first_look",
    "noise_json",
    "noise_words",
    "rest_json",
    "rest_words",
]
