"""What aiming finds: where the powder surface lies in the picture, and what ails the camera."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.lens import Lens

Homography = NDArray[np.float64]


class ProblemKind(StrEnum):
    """The camera problems that can be named (the words of the JSON lines)."""

    BLURRED = "blurred"
    DARK = "dark"
    OVEREXPOSED = "overexposed"
    LOW_CONTRAST = "low_contrast"
    FLICKER = "flicker"
    SHAKING = "shaking"
    LOW_FRAME_RATE = "low_frame_rate"
    DROPPED_FRAMES = "dropped_frames"
    EXPOSURE_HUNTING = "exposure_hunting"
    DUSTY_LENS = "dusty_lens"
    DUST_CLOUD = "dust_cloud"
    BED_LOST = "bed_lost"
    BED_NOT_FOUND = "bed_not_found"


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Something wrong with the picture. `advice`: one sentence with the figure measured and what to do."""

    kind: ProblemKind
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ellipse:
    """An outline in picture pixels (x right, y down, pixel centres at whole numbers).

    axes_px are *semi*-axes; the first lies along angle_deg, measured from the x axis towards the y axis.
    """

    centre_px: tuple[float, float]
    axes_px: tuple[float, float]
    angle_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Corners:
    """The outline of a rectangular bed: four corners [u, v], clockwise from the one at -x, +y."""

    corners_px: tuple[tuple[float, float], ...]


Outline = Ellipse | Corners


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """Where the bed is in the picture.

    surface, rim: outlines of the powder surface and of the top inner edge of the wall; rim is None when not seen.
    bed_to_picture: (3, 3), takes surface (x_mm, y_mm, 1) to picture pixels.
    mm_per_px: scale at the bed's centre.
    size_px: (width, height) of the picture it holds for; None when an aim file does not say.
    error_mm: standard error of a position in the bed plane; None when not known.
    lens: how the lens bends; None when straight enough. bed_to_picture then draws on the straightened picture, the
    outlines lie in the real one. level_mm: the surface's place below the rim as measured in the picture (mm, standard
    error), None when it was taken from the bed file.
    """

    surface: Outline
    rim: Outline | None
    bed_to_picture: Homography
    mm_per_px: float
    problems: tuple[Problem, ...] = ()
    size_px: tuple[int, int] | None = None
    error_mm: float | None = None
    lens: Lens | None = None
    level_mm: tuple[float, float] | None = None

    def __bool__(self) -> Literal[True]:
        return True

    def pixels(self, places_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels (n, 2) of the real picture of places (n, 2) of the surface; NaN behind the camera."""
        uvw = np.column_stack([places_mm, np.ones(len(places_mm))]) @ self.bed_to_picture.T
        straight = uvw[:, :2] / np.where(uvw[:, 2:] > 0, uvw[:, 2:], np.nan)
        return straight if self.lens is None else self.lens.bend(straight)

    def places(self, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
        """Places (n, 2) of the surface in mm of pixels (n, 2) of the real picture; the inverse of `pixels`."""
        straight = pixels if self.lens is None else self.lens.straighten(pixels)
        xyw = np.column_stack([straight, np.ones(len(straight))]) @ np.linalg.inv(self.bed_to_picture).T
        return np.asarray(xyw[:, :2] / xyw[:, 2:], np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFound:
    """No bed that we are sure of. False in a test; says why, and what would help."""

    reason: str
    advice: str
    problems: tuple[Problem, ...] = ()

    def __bool__(self) -> Literal[False]:
        return False
