"""The same bed with its 12 o'clock elsewhere, or seen in a mirror."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bedwatch.aim.types import Aim, Corners, Homography, Outline
from bedwatch.bed.model import Bed
from bedwatch.errors import UserError


def turned(aim: Aim, bed: Bed, degrees: float) -> Aim:
    """The aim with 12 o'clock `degrees` farther clockwise in the bed (in a picture that is not mirrored: as seen).

    The outlines stay; the corners of a rectangular bed are counted from another one. Raises UserError for a turn that a
    rectangular bed cannot make: by other than half turns, or quarter turns when it is square.
    """
    quarters = round(degrees / 90.0)
    if bed.shape == "rectangular":
        square = abs(bed.width_mm - bed.length_mm) < 0.01 * bed.width_mm
        if abs(degrees - 90.0 * quarters) > 1e-6 or (quarters % 2 and not square):
            fits = "a multiple of 90" if square else "0 or 180"
            raise UserError(
                f"turn: found {degrees:g} degrees for a rectangular bed, expected {fits}: its 12 o'clock is at a side"
            )
    angle = np.radians(degrees)
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
    order = tuple((corner + quarters) % 4 for corner in range(4))
    return _changed(aim, aim.bed_to_picture @ turn, order)


def mirrored(aim: Aim, bed: Bed) -> Aim:  # noqa: ARG001 - as `turned`
    """The aim for a mirrored picture, of one found as if it was not: 12 o'clock stays, the x axis runs the other way.

    The determinant of the homography's slopes changes its sign. The corners of a rectangular bed, clockwise in the bed,
    then go anticlockwise in the picture.
    """
    return _changed(aim, aim.bed_to_picture @ np.diag([-1.0, 1.0, 1.0]), (1, 0, 3, 2))


def is_mirrored(homography: Homography) -> bool:
    """Whether this homography shows the bed mirrored: what goes round clockwise seems to go anticlockwise."""
    h = homography / homography[2, 2]
    return bool(np.linalg.det(h[:2, :2] - np.outer(h[:2, 2], h[2, :2])) > 0)


def _changed(aim: Aim, homography: Homography, order: tuple[int, ...]) -> Aim:
    """The aim with another homography of the same outlines, corners counted in this order."""

    def counted(outline: Outline) -> Outline:
        if not isinstance(outline, Corners):
            return outline
        return Corners(corners_px=tuple(outline.corners_px[corner] for corner in order))

    rim = None if aim.rim is None else counted(aim.rim)
    return replace(aim, bed_to_picture=homography, surface=counted(aim.surface), rim=rim)


__all__ = ["is_mirrored", "mirrored", "turned"]
