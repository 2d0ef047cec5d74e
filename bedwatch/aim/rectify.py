"""The powder surface laid flat: every frame resampled into one grid of square millimetres."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.types import Aim, Corners, Ellipse
from bedwatch.bed.model import Bed, Points
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

ACROSS_PX = 336  # grid pixels along the longer side of an ordinary bed
FINEST_MM, COARSEST_MM = 1.0, 1.5
MOST_PX = 480  # along the longer side of a large bed


def step_for(bed: Bed, mm_per_px: float) -> float:
    """Grid step in mm: 1 to 1.5 mm, but never finer than 0.8 of what the camera resolves, nor more than 480 pixels."""
    longer = max(bed.width_mm, bed.length_mm)
    step = float(np.clip(longer / ACROSS_PX, FINEST_MM, COARSEST_MM))
    return max(step, 0.8 * mm_per_px, longer / MOST_PX)


class Rectifier:
    """Resamples pictures of one size into a grid in the plane of the powder surface.

    step_mm: side of a grid pixel. xy_mm: (rows, cols, 2) place of every grid pixel, row 0 at +y. visible: (rows, cols)
    true where the pixel is on the bed, inside the picture and not hidden by the near wall (as far as the rim is known).
    Raises ValueError when the bed is not in the picture at all.
    """

    def __init__(self, aim: Aim, bed: Bed, size_px: tuple[int, int]) -> None:
        self.step_mm = step_for(bed, aim.mm_per_px)
        cols = int(np.ceil(bed.width_mm / self.step_mm / 2)) * 2
        rows = int(np.ceil(bed.length_mm / self.step_mm / 2)) * 2
        x = (np.arange(cols) - (cols - 1) / 2) * self.step_mm
        y = ((rows - 1) / 2 - np.arange(rows)) * self.step_mm
        self.xy_mm: NDArray[np.float64] = np.stack(np.meshgrid(x, y), axis=-1)
        flat = self.xy_mm.reshape(-1, 2)
        pixels = aim.pixels(flat)
        inside = _inside_mm(bed, flat)
        w, h = size_px
        in_picture = (pixels >= 0).all(axis=1) & (pixels[:, 0] <= w - 1) & (pixels[:, 1] <= h - 1)
        seen = inside & in_picture
        if not seen.any():
            raise ValueError("the bed is not in the picture")
        self.visible: NDArray[np.bool_] = (seen & _within(aim, bed, pixels)).reshape(rows, cols)
        self._size_px = size_px
        self._shrink = max(1, int(self.step_mm / (1.25 * aim.mm_per_px)))
        self._crop = self._window(pixels[seen])
        left, top = self._crop[1].start, self._crop[0].start
        local = (pixels - (left, top) + 0.5) / self._shrink - 0.5
        local = np.nan_to_num(local, nan=-10.0, posinf=-10.0, neginf=-10.0).reshape(rows, cols, 2)
        self._u = np.ascontiguousarray(np.clip(local[..., 0], -1e4, 3e4), np.float32)
        self._v = np.ascontiguousarray(np.clip(local[..., 1], -1e4, 3e4), np.float32)
        height, width = (part.stop - part.start for part in self._crop)
        self._grey: Picture = np.empty((height, width), np.uint8)
        self._small: Picture = np.empty((height // self._shrink, width // self._shrink), np.uint8)

    def _window(self, pixels: Points) -> tuple[slice, slice]:
        """The rows and columns of the picture that are needed, whole multiples of the shrinking factor."""
        low = np.maximum(np.floor(pixels.min(axis=0)).astype(int) - 2, 0)
        high = np.minimum(np.ceil(pixels.max(axis=0)).astype(int) + 3, self._size_px)
        span = np.maximum((high - low) // self._shrink * self._shrink, self._shrink)
        low = np.maximum(np.minimum(low, np.array(self._size_px) - span), 0)
        return slice(int(low[1]), int(low[1] + span[1])), slice(int(low[0]), int(low[0] + span[0]))

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols) of the grid."""
        return self._u.shape[0], self._u.shape[1]

    def rectify(
        self, picture: Picture, out: Picture | None = None, shift_px: tuple[float, float] = (0.0, 0.0)
    ) -> Picture:
        """The grid's brightness, (rows, cols) uint8 grey, from a BGR or grey picture.

        shift_px: by how much the camera's picture lies (right, down) of where it lay when it was aimed.

        out: an array to write into and return; a new one otherwise. Grid pixels outside the picture repeat its edge.
        Raises ValueError for a picture of another size than the rectifier was made for.
        """
        if (picture.shape[1], picture.shape[0]) != self._size_px:
            raise ValueError(f"a picture of {picture.shape[1]} x {picture.shape[0]} pixels, expected {self._size_px}")
        part = picture[self._crop]
        if part.ndim == 3:
            cv2.cvtColor(part, cv2.COLOR_BGR2GRAY, dst=self._grey)
            part = self._grey
        if self._shrink > 1:
            size = (self._small.shape[1], self._small.shape[0])
            cv2.resize(part, size, dst=self._small, interpolation=cv2.INTER_AREA)
            part = self._small
        target = np.empty(self.shape, np.uint8) if out is None else out
        u, v = self._u, self._v
        if shift_px != (0.0, 0.0):
            u, v = u + np.float32(shift_px[0] / self._shrink), v + np.float32(shift_px[1] / self._shrink)
        cv2.remap(part, u, v, cv2.INTER_LINEAR, dst=target, borderMode=cv2.BORDER_REPLICATE)
        return target


def _inside_mm(bed: Bed, places_mm: Points) -> NDArray[np.bool_]:
    if bed.shape == "round":
        return np.asarray(np.hypot(places_mm[:, 0], places_mm[:, 1]) <= bed.width_mm / 2)
    return np.asarray((np.abs(places_mm) <= np.array([bed.width_mm, bed.length_mm]) / 2).all(axis=1))


def _within(aim: Aim, bed: Bed, pixels: Points) -> NDArray[np.bool_]:
    """(n,) which pixels lie inside the rim's outline in the picture: outside it the near wall hides the surface."""
    if aim.rim is None or bed.surface_below_rim_mm == 0.0:
        return np.ones(len(pixels), np.bool_)
    if isinstance(aim.rim, Ellipse):
        angle = np.radians(aim.rim.angle_deg)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        along = ((pixels - aim.rim.centre_px) @ turn.T) / aim.rim.axes_px
        return np.asarray(np.hypot(along[:, 0], along[:, 1]) <= 1.0)
    assert isinstance(aim.rim, Corners)
    corners = np.array(aim.rim.corners_px)
    inside = np.ones(len(pixels), np.bool_)
    along, across = corners[1] - corners[0], corners[3] - corners[0]
    way = np.sign(along[0] * across[1] - along[1] * across[0])  # a mirrored camera sees them go round the other way
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside &= way * ((b[0] - a[0]) * (pixels[:, 1] - a[1]) - (b[1] - a[1]) * (pixels[:, 0] - a[0])) >= 0
    return inside


__all__ = ["Rectifier", "step_for"]
