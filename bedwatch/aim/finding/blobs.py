"""Regions of one even tone: powder in its tub is one, and its border is a start for an outline.

Pixels of little slope that hang together make a region, at several levels of slope since powder, light and camera differ.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, gradients
from bedwatch.aim.outline import fit_ellipse
from bedwatch.aim.types import Ellipse
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

LEVELS = (0.75, 0.85, 0.92)  # share of the picture that counts as even
LEAST, MOST = 0.02, 0.85  # of the picture's area
AT_ONCE = 6  # regions looked at per level
OFF = 0.06  # of its mean radius: how far a hull may lie from an ellipse on average


def hulls(picture: Array) -> list[Points]:
    """Convex outlines (n, 2) of the larger even regions of a search picture, each moved out to the edge round it."""
    size = cv2.GaussianBlur(gradients(picture)[2], (0, 0), 1.2)
    found: list[Points] = []
    area = size.size
    for share in LEVELS:
        even = (size < np.quantile(size[::3, ::3], share)).astype(np.uint8)
        even = np.asarray(cv2.erode(even, np.ones((3, 3), np.uint8)), np.uint8)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
        order = np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:AT_ONCE] + 1
        for index in order:
            if not LEAST * area < stats[index, cv2.CC_STAT_AREA] < MOST * area:
                continue
            x, y, w, h = (int(value) for value in stats[index, :4])
            part = (labels[y : y + h, x : x + w] == index).astype(np.uint8)
            contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
            outline = max(contours, key=len)
            hull = cv2.convexHull(outline).reshape(-1, 2).astype(np.float64) + np.array([x, y])
            if len(hull) >= 8 and stats[index, cv2.CC_STAT_AREA] > 0.6 * cv2.contourArea(hull.astype(np.float32)):
                found.append(hull)
    return found


def ellipses(picture: Array) -> list[Ellipse]:
    """Ellipses that even regions nearly fill. A region cut by the picture's edge is judged by what lies inside it."""
    h, w = picture.shape[:2]
    found: list[Ellipse] = []
    for hull in hulls(picture):
        dense = _along(hull)
        free = (dense > 4).all(axis=1) & (dense < np.array([w, h]) - 5).all(axis=1)
        if free.sum() < 0.6 * len(dense):
            continue
        try:
            ellipse = fit_ellipse(dense[free])
        except ValueError:
            continue
        mean = float(np.mean(ellipse.axes_px))
        if min(ellipse.axes_px) > 0.55 * max(ellipse.axes_px) and _off(ellipse, dense[free]) < OFF * mean:
            found.append(ellipse)
    return found


def _along(hull: Points) -> Points:
    """Places every 2 px or so along a closed polygon."""
    ahead = np.roll(hull, -1, axis=0)
    parts = [
        a + (b - a) * np.linspace(0, 1, max(1, int(np.hypot(*(b - a)) / 2)), endpoint=False)[:, None]
        for a, b in zip(hull, ahead, strict=True)
    ]
    return np.vstack(parts)


def _off(ellipse: Ellipse, places: Points) -> float:
    """Mean distance of places from an ellipse, to first order."""
    angle = np.radians(ellipse.angle_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    along: NDArray[np.float64] = ((places - ellipse.centre_px) @ turn.T) / ellipse.axes_px
    return float(np.abs(np.hypot(along[:, 0], along[:, 1]) - 1.0).mean() * np.mean(ellipse.axes_px))
