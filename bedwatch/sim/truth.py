"""What was really there: the record every make-believe clip carries."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import Bed
from bedwatch.sim.bend import Bend
from bedwatch.sim.camera import Pose, plane_to_picture, scale_mm_per_px


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One eruption: where (bed frame), bubble diameter, source times of its first stir and of its burst."""

    x_mm: float
    y_mm: float
    bubble_mm: float
    start_s: float
    burst_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """The recorded truth of a clip.

    air: per zone, multiple of the minimum fluidisation velocity; empty for a turntable.
    hints: per zone, the hint words that are right (either of two in the bands between).
    bed_to_picture: (3, 3), surface (x_mm, y_mm, 1) to picture pixels. mm_per_px at the bed's centre.
    bend: how the lens bends, None when it is straight; bed_to_picture and the outlines are then of the straightened
    picture.
    surface, rim: outlines as mappings (`centre_px`, `axes_px` semi-axes, `angle_deg`; or `corners_px`).
    speed_mm_s: per zone, root mean square speed over the zone and over the frames given out so far.
    events: eruptions begun so far.
    """

    zones: tuple[str, ...]
    air: tuple[float, ...]
    hints: tuple[tuple[str, ...], ...]
    bed_to_picture: NDArray[np.float64] = field(repr=False)
    mm_per_px: float
    surface: dict[str, Any]
    rim: dict[str, Any]
    speed_mm_s: tuple[float, ...]
    events: tuple[Event, ...] = field(default=(), repr=False)
    bend: Bend | None = None

    def pixels(self, places_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) places of the surface to (n, 2) pixels of the picture as it is."""
        uvw = np.column_stack([places_mm, np.ones(len(places_mm))]) @ self.bed_to_picture.T
        straight = np.asarray(uvw[:, :2] / uvw[:, 2:], np.float64)
        return straight if self.bend is None else self.bend.bend(straight)

    def as_json(self) -> dict[str, Any]:
        """Plain lists and numbers, ready for `json.dump`."""
        bent = {} if self.bend is None else {"distortion": asdict(self.bend)}
        return bent | {
            "zones": list(self.zones),
            "air": list(self.air),
            "hints": [list(words) for words in self.hints],
            "bed_to_picture": self.bed_to_picture.tolist(),
            "mm_per_px": self.mm_per_px,
            "surface": self.surface,
            "rim": self.rim,
            "speed_mm_s": list(self.speed_mm_s),
            "events": [
                [round(e.x_mm, 1), round(e.y_mm, 1), round(e.bubble_mm, 2), round(e.start_s, 3)] for e in self.events
            ],
        }


def right_hints(air: float, troubled: bool = False) -> tuple[str, ...]:
    """Hint words that are right for a zone fed `air` times the minimum.

    At or below 1.05 nothing but bleed moves; 1.6 to 2.2 is a simmer; from 4.5 the zone heaves and throws.
    In between either neighbour is right. A zone with a spout, a dead patch or a leak wants stirring, or its plate looked at.
    """
    if troubled:
        return ("stir", "check_plate")
    if air <= 1.05:
        return ("more_air",)
    if air < 1.6:
        return ("more_air", "hold")
    if air <= 2.2:
        return ("hold",)
    if air < 4.5:
        return ("hold", "less_air")
    return ("less_air",)


def circle_outline(homography: NDArray[np.float64], radius_mm: float) -> dict[str, Any]:
    """Picture of the circle |(x, y)| = radius_mm: centre, semi-axes and angle of an ellipse.

    A conic C maps to H^-T C H^-1 (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, result 2.13).
    """
    inverse = np.linalg.inv(homography)
    conic = inverse.T @ np.diag([1.0, 1.0, -(radius_mm**2)]) @ inverse
    conic = (conic + conic.T) / 2
    centre = np.linalg.solve(conic[:2, :2], -conic[:2, 2])
    level = -(conic[2, 2] + conic[:2, 2] @ centre)
    values, vectors = np.linalg.eigh(conic[:2, :2] / level)
    long_axis = vectors[:, 0]  # smallest eigenvalue, longest axis
    return {
        "centre_px": [float(centre[0]), float(centre[1])],
        "axes_px": [float(1 / math.sqrt(values[0])), float(1 / math.sqrt(values[1]))],
        "angle_deg": float(math.degrees(math.atan2(long_axis[1], long_axis[0])) % 180),
    }


def outlines(bed: Bed, at: Pose) -> tuple[dict[str, Any], dict[str, Any]]:
    """Outlines of the powder surface and of the rim's inner edge in the picture."""
    found = []
    for z_mm in (0.0, bed.surface_below_rim_mm):
        h = plane_to_picture(at, z_mm)
        if bed.shape == "round":
            found.append(circle_outline(h, bed.width_mm / 2))
            continue
        x, y = bed.width_mm / 2, bed.length_mm / 2
        corners = np.array([[-x, y, 1], [x, y, 1], [x, -y, 1], [-x, -y, 1]]) @ h.T
        found.append({"corners_px": (corners[:, :2] / corners[:, 2:]).tolist()})
    return found[0], found[1]


def view_truth(bed: Bed, at: Pose) -> tuple[NDArray[np.float64], float, dict[str, Any], dict[str, Any]]:
    """Homography, mm per px, surface outline, rim outline of a bed seen by a camera."""
    surface, rim = outlines(bed, at)
    return plane_to_picture(at), scale_mm_per_px(at), surface, rim
