"""A straightened picture that lies as near as possible to the real one where the bed is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import fit_ellipse
from bedwatch.aim.pose import Vector, View, bed_outline_mm
from bedwatch.aim.types import Corners, Homography, Outline


def lens_beside(view: View, pose: Vector) -> Lens:
    """The lens of a pose, the focal length of its straightened picture chosen so that the bed's outline moves least."""
    lens = view.lens(pose)
    places = np.vstack([bed_outline_mm(view.bed, 36), np.zeros((9, 2))])
    real = view.project(pose, places, 0.0) - lens.centre_px
    straight = lens.straighten(real + lens.centre_px) - lens.centre_px
    return replace(lens, straight_focal_px=lens.focal_px * float((real * straight).sum() / (straight * straight).sum()))


def zoomed(lens: Lens) -> Homography:
    """Takes pixels of a straightened picture with the real one's focal length to those of the lens's own."""
    (u, v), zoom = lens.centre_px, lens.straight_focal_px / lens.focal_px
    return np.array([[zoom, 0.0, u - zoom * u], [0.0, zoom, v - zoom * v], [0.0, 0.0, 1.0]])


def bent_outline(view: View, pose: Vector, height_mm: float) -> Outline:
    """The bed's outline this far above the surface in the real picture: the nearest ellipse, or the four corners."""
    if view.bed.shape == "round":
        return fit_ellipse(view.project(pose, bed_outline_mm(view.bed, 180), height_mm))
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    corners = view.project(pose, signs * np.array([view.bed.width_mm, view.bed.length_mm]) / 2, height_mm)
    return Corners(corners_px=tuple((float(u), float(v)) for u, v in corners))
