"""How far places of the bed plane may lie off: what the fit leaves open, and what no outline can tell."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.finding.fit import FOCAL_SPREAD, STEP, Fitted
from bedwatch.aim.pose import LN_DISTANCE, NUMBERS, Vector, View, bed_outline_mm

OFF_MIDDLE = 0.008  # of the longer side: how far a lens commonly sits off the picture's middle (from memory)
DUST_MM = 1.2  # how far powder on the wall or its shadow moves the foot's edge all around
LONGER = 0.0015  # relative error of an outline's longer axis against its shorter one


def error_mm(view: View, fitted: Fitted) -> float:
    """Standard error of a position in the bed plane: root mean square over the centre and eight places at the wall."""
    places = np.vstack([[[0.0, 0.0]], bed_outline_mm(view.bed, 8)])
    pixels = view.project(fitted.pose, places, 0.0)
    slopes = []
    for index in range(NUMBERS):
        moved = fitted.pose.copy()
        moved[index] += STEP[index]
        slopes.append((view.places(moved, pixels) - places) / STEP[index])
    jacobian = np.stack(slopes, axis=-1)
    variance = np.einsum("nki,ij,nkj->n", jacobian, fitted.covariance, jacobian)
    return float(np.sqrt(variance.mean()))


def standing_error_mm(view: View, pose: Vector) -> float:
    """Error of places, root mean square, from what the outlines cannot tell about how the camera stands.

    A lens that does not sit over the middle of the picture looks like another lean, which an outline tells only by how
    much longer it is one way. Powder on the wall makes the surface's outline look higher or narrower, and so the camera
    nearer or farther; where it leans, that shifts the middle of the surface against its outline.
    """
    radius = float(np.hypot(view.bed.width_mm, view.bed.length_mm)) / np.sqrt(8.0)
    distance = float(np.exp(pose[LN_DISTANCE]))
    sits = OFF_MIDDLE * max(view.size_px) / view.focal_px(pose)
    lean = float(np.sin(np.radians(view.tilt_deg(pose))))
    leaning = radius**2 / distance / np.hypot(1.0 / sits, lean / LONGER)
    depth = view.depth_mm(pose)
    # two witnesses of the distance, each with its standard error: wall and foot, and what lenses there are
    nearer = 1.0 / float(np.hypot(1.0 / FOCAL_SPREAD, depth * radius / (DUST_MM * distance)))
    return float(np.hypot(leaning, radius**2 * lean / distance * nearer))
