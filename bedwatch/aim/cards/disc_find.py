"""Where a disc lies that turns before a still ground: the place where the picture keeps changing is a filled ellipse."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bedwatch.aim.types import Aim, Ellipse, NotFound
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

LEAST_PICTURES = 8
_LEAST_PX = 40.0  # radius: fewer pixels tell no speed
_ROUND = 0.80  # short over long axis: about 37 degrees of tilt, beyond which one ellipse is too little
_FILLED = 0.97  # area of what changes, holes closed, over that of the ellipse
_CLEAR = 3.0  # how many times more than round it the disc changes
_ADVICE = (
    "Film it from nearly straight above with nothing else moving in the picture, all of the disc in view, sharp and well lit; "
    "or aim by hand with a bed file of its size and give --aim"
)


def find_turning(pictures: Sequence[Picture], diameter_mm: float) -> Aim | NotFound:
    """The aim of a turning disc, its axis the origin, from pictures spread over some seconds; or why it was not found.

    One outline leaves the way the camera leans open, so that bed_to_picture is affine: over a disc of 180 mm seen from 1 m at
    10 degrees this is good to 1.5 % of a length at the edge. error_mm tells of the outline only.
    """
    shape = pictures[-1].shape[:2] if pictures else (0, 0)
    grey = [
        cv2.cvtColor(one, cv2.COLOR_BGR2GRAY) if one.ndim == 3 else one for one in pictures if one.shape[:2] == shape
    ]
    if len(grey) < LEAST_PICTURES:
        return NotFound(reason=f"only {len(grey)} pictures of one size were there to find it in", advice=_ADVICE)
    change = np.std(np.stack(grey).astype(np.float32), axis=0)
    change = cv2.GaussianBlur(change, (0, 0), 1.0)
    top = float(np.percentile(change, 99))
    if top < _CLEAR * max(float(np.median(change[change < 0.5 * top])) if (change < 0.5 * top).any() else top, 0.5):
        return NotFound(reason="nothing turns before a still ground in the picture", advice=_ADVICE)
    found = _largest(np.asarray(change > 0.35 * top, np.uint8))
    if found is None:
        return NotFound(reason="what moves in the picture is no disc", advice=_ADVICE)
    hull, area = found
    (u, v), sides, angle = cv2.fitEllipse(hull)
    axes = np.array(sides) / 2
    if axes[1] < axes[0]:
        axes, angle = axes[::-1], angle + 90.0
    if axes[0] < _LEAST_PX:
        return NotFound(reason=f"it is only {2 * axes[0]:.0f} pixels across", advice=_ADVICE)
    if axes[0] / axes[1] < _ROUND or area / (np.pi * axes[0] * axes[1]) < _FILLED:
        return NotFound(reason="what moves in the picture is no round disc", advice=_ADVICE)
    if not _inside(u, v, float(axes[1]), shape):
        return NotFound(reason="part of it is outside the picture", advice=_ADVICE)
    return _aim((u, v), axes, angle, hull, diameter_mm, (shape[1], shape[0]))


def _largest(mask: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> tuple[Picture, float] | None:
    """The hull (n, 1, 2) of the largest place, and the area it fills once its holes are closed."""
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    closed = cv2.morphologyEx(closed, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)))
    outlines, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return None
    largest = max(outlines, key=cv2.contourArea)
    hull = cv2.convexHull(largest)
    return None if len(hull) < 12 else (np.asarray(hull), float(cv2.contourArea(largest)))


def _inside(u: float, v: float, radius: float, shape: tuple[int, ...]) -> bool:
    return radius <= u + 1 and u + radius <= shape[1] and radius <= v + 1 and v + radius <= shape[0]


def _aim(
    centre: tuple[float, float],
    axes: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    angle_deg: float,
    hull: Picture,
    diameter_mm: float,
    size_px: tuple[int, int],
) -> Aim:
    """The long axis is not foreshortened; `angle_deg` is that of the short one, from x towards y."""
    turn = np.radians(angle_deg)
    along = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    stretch = along @ np.diag(axes / (diameter_mm / 2)) @ along.T @ np.diag([1.0, -1.0])
    homography = np.eye(3)
    homography[:2, :2], homography[:2, 2] = stretch, centre
    mm_per_px = diameter_mm / 2 / float(axes.mean())
    off = np.hypot(*(((hull.reshape(-1, 2) - np.array(centre)) @ along) / axes).T) - 1
    error_px = float(np.hypot(np.std(off) * axes.mean(), 0.5))
    long = (float(axes[1]), float(axes[0]))
    surface = Ellipse(centre_px=(float(centre[0]), float(centre[1])), axes_px=long, angle_deg=(angle_deg + 90.0) % 180)
    return Aim(
        surface=surface,
        rim=None,
        bed_to_picture=homography,
        mm_per_px=mm_per_px,
        size_px=size_px,
        error_mm=error_px * mm_per_px,
    )


__all__ = ["find_turning"]
