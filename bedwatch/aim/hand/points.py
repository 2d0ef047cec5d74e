"""Places named by hand in a picture, and what can be wrong with them before anything is fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedwatch.bed.model import Bed
from bedwatch.errors import UserError

Pixel = tuple[float, float]
LEAST = 5  # points fix an ellipse
THIN = 0.05  # an outline squeezed to this share of its length is a line


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPoints:
    """Pixels (u, v) named by hand, centres at whole numbers.

    wall: where the powder meets the wall of a round bed. rim: on the inner top edge of its wall. corners, rim_corners: the
    four of a rectangular bed, in any order. twelve: one place at 12 o'clock, on powder, wall, rim or beyond.
    """

    wall: tuple[Pixel, ...] = ()
    rim: tuple[Pixel, ...] = ()
    corners: tuple[Pixel, ...] = ()
    rim_corners: tuple[Pixel, ...] = ()
    twelve: Pixel | None = None

    @property
    def outlined(self) -> bool:
        """Whether an outline is named, not only 12 o'clock."""
        return bool(self.wall or self.rim or self.corners or self.rim_corners)

    def groups(self) -> tuple[tuple[str, tuple[Pixel, ...]], ...]:
        """The named groups by what to call them."""
        return (
            ("wall", self.wall),
            ("rim", self.rim),
            ("corner", self.corners),
            ("rim corner", self.rim_corners),
            ("12 o'clock", (self.twelve,) if self.twelve else ()),
        )


def check_points(points: HandPoints, bed: Bed, size_px: tuple[int, int]) -> None:
    """Raises UserError with one line for each thing that is wrong before any fit."""
    mistakes = inside_mistakes(points, size_px)
    if bed.shape == "round":
        mistakes += _round_mistakes(points)
    else:
        mistakes += _corner_mistakes(points)
    if mistakes:
        raise UserError(*mistakes)


def inside_mistakes(points: HandPoints, size_px: tuple[int, int]) -> list[str]:
    """A line for each place outside the picture, and each named twice."""
    mistakes = []
    width, height = size_px
    for name, pixels in points.groups():
        for number, (u, v) in enumerate(pixels, start=1):
            called = name if name == "12 o'clock" else f"{name} place {number}"
            if not (-0.5 <= u <= width - 0.5 and -0.5 <= v <= height - 0.5):
                mistakes.append(f"{called}: found {u:g},{v:g}, expected a place in the picture of {width} x {height}")
            elif (first := pixels.index((u, v))) < number - 1:
                mistakes.append(f"{called}: found {u:g},{v:g} again, as {name} place {first + 1}; name another place")
    return mistakes


def _round_mistakes(points: HandPoints) -> list[str]:
    if points.corners or points.rim_corners:
        return ["found corners for a round bed, expected places along its wall"]
    if max(len(points.wall), len(points.rim)) < LEAST:
        return [
            f"found {len(points.wall)} places along the wall and {len(points.rim)} along the rim, expected {LEAST} or more "
            "along one of them, spread all round"
        ]
    mistakes = []
    for name, pixels in points.groups()[:2]:
        if len(pixels) >= LEAST:
            spread = np.linalg.svd(np.array(pixels) - np.mean(pixels, axis=0), compute_uv=False)
            if spread[1] < THIN * spread[0]:
                mistakes.append(f"the {name} places lie on one line, expected them all round the outline")
    return mistakes


def _corner_mistakes(points: HandPoints) -> list[str]:
    if points.wall or points.rim:
        return ["found places along the wall of a rectangular bed, expected its four corners"]
    if not (points.corners or points.rim_corners):
        return ["found no corners, expected the four of the powder or the four of the rim"]
    mistakes = []
    for name, pixels in points.groups()[2:4]:
        if pixels and len(pixels) != 4:
            mistakes.append(f"found {len(pixels)} {name} places, expected four")
        elif pixels and not _goes_round(pixels):
            mistakes.append(f"the {name} places do not go round: expected four, no three of them on one line")
    return mistakes


def _goes_round(pixels: tuple[Pixel, ...]) -> bool:
    away = np.array(pixels) - np.mean(pixels, axis=0)
    ring = np.array(pixels)[np.argsort(np.arctan2(away[:, 1], away[:, 0]))]
    side = np.roll(ring, -1, axis=0) - ring
    ahead = np.roll(side, -1, axis=0)
    turn = side[:, 0] * ahead[:, 1] - side[:, 1] * ahead[:, 0]
    return bool((turn > 0.02 * np.hypot(*side.T) * np.hypot(*ahead.T)).all())


__all__ = ["HandPoints", "Pixel", "check_points", "inside_mistakes"]
