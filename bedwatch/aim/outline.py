"""Outlines and homographies: circles and rectangles of the bed plane, seen in the picture.

Picture coordinates: u right, v down, pixel centres at whole numbers. Bed coordinates: millimetres, y to 12 o'clock.
A circle seen through a homography H is the conic H^-T C H^-1 (Hartley & Zisserman, Multiple View Geometry, 2nd
ed. 2004, result 2.13); four points fix H by the direct linear transform (ibid., algorithm 4.2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.types import Corners, Ellipse, Homography, Outline
from bedwatch.bed.model import Bed, Points


def to_picture(homography: Homography, places_mm: Points) -> Points:
    """Pixels (n, 2) of bed places (n, 2) in mm. Places behind the camera become NaN."""
    uvw = np.column_stack([places_mm, np.ones(len(places_mm))]) @ homography.T
    depth = np.where(uvw[:, 2:] > 0, uvw[:, 2:], np.nan)
    return np.asarray(uvw[:, :2] / depth, np.float64)


def to_bed(homography: Homography, pixels: Points) -> Points:
    """Bed places (n, 2) in mm of pixels (n, 2); the inverse of `to_picture`."""
    xyw = np.column_stack([pixels, np.ones(len(pixels))]) @ np.linalg.inv(homography).T
    return np.asarray(xyw[:, :2] / xyw[:, 2:], np.float64)


def mm_per_px(homography: Homography) -> float:
    """Millimetres per pixel at the bed's centre: the square root of the area one pixel covers there.

    Raises ValueError when the homography is not finite there.
    """
    if not np.all(np.isfinite(homography)) or homography[2, 2] == 0:
        raise ValueError("the bed's centre lies nowhere in the picture")
    h = homography / homography[2, 2]
    jacobian = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])
    return float(1.0 / np.sqrt(abs(np.linalg.det(jacobian))))


def ellipse_of_conic(conic: NDArray[np.float64]) -> Ellipse:
    """The ellipse of a symmetric 3x3 conic matrix. Raises ValueError when it is not an ellipse."""
    quadratic = conic[:2, :2]
    if not np.all(np.isfinite(conic)) or np.linalg.det(quadratic) <= 0:
        raise ValueError("the outline is not an ellipse: part of it lies behind the camera")
    centre = np.linalg.solve(quadratic, -conic[:2, 2])
    level = float(centre @ quadratic @ centre - conic[2, 2])
    values, vectors = np.linalg.eigh(quadratic / level)
    if values[0] <= 0:
        raise ValueError("the outline is not an ellipse")
    along = vectors[:, 0]
    angle = float(np.degrees(np.arctan2(along[1], along[0])))
    angle = (angle + 90.0) % 180.0 - 90.0
    return Ellipse(
        centre_px=(float(centre[0]), float(centre[1])),
        axes_px=(float(values[0] ** -0.5), float(values[1] ** -0.5)),
        angle_deg=angle,
    )


def conic_of_ellipse(ellipse: Ellipse) -> NDArray[np.float64]:
    """The symmetric 3x3 conic of an ellipse; zero on the outline, negative inside."""
    angle = np.radians(ellipse.angle_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    quadratic = turn.T @ np.diag(np.array(ellipse.axes_px) ** -2.0) @ turn
    centre = np.array(ellipse.centre_px)
    conic = np.empty((3, 3))
    conic[:2, :2] = quadratic
    conic[:2, 2] = conic[2, :2] = -quadratic @ centre
    conic[2, 2] = centre @ quadratic @ centre - 1.0
    return conic


def ellipse_of_circle(homography: Homography, radius_mm: float) -> Ellipse:
    """The picture of the circle of this radius about the bed's axis. Raises ValueError when it is no ellipse."""
    back = np.linalg.inv(homography)
    circle = np.diag([radius_mm**-2.0, radius_mm**-2.0, -1.0])
    return ellipse_of_conic(back.T @ circle @ back)


def corners_of_rectangle(homography: Homography, width_mm: float, length_mm: float) -> Corners:
    """The picture of the rectangle, clockwise from the corner at -x, +y."""
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    pixels = to_picture(homography, signs * np.array([width_mm, length_mm]) / 2)
    return Corners(corners_px=tuple((float(u), float(v)) for u, v in pixels))


def outline_of(homography: Homography, bed: Bed) -> Outline:
    """The bed's whole outline in the plane of the homography, exactly as that homography draws it."""
    if bed.shape == "round":
        return ellipse_of_circle(homography, bed.width_mm / 2)
    return corners_of_rectangle(homography, bed.width_mm, bed.length_mm)


def outline_points(outline: Outline, count: int = 180) -> Points:
    """Pixels (n, 2) along an outline, for drawing and comparing; a rectangle gives its four corners."""
    if isinstance(outline, Corners):
        return np.asarray(outline.corners_px, np.float64)
    turn = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    angle = np.radians(outline.angle_deg)
    a, b = outline.axes_px[0] * np.cos(turn), outline.axes_px[1] * np.sin(turn)
    u = outline.centre_px[0] + a * np.cos(angle) - b * np.sin(angle)
    v = outline.centre_px[1] + a * np.sin(angle) + b * np.cos(angle)
    return np.column_stack([u, v])


def fit_ellipse(pixels: Points) -> Ellipse:
    """Least-squares ellipse through five or more pixels (Halir & Flusser 1998, a stable form of the direct fit).

    Raises ValueError when the points fix no ellipse.
    """
    if len(pixels) < 5:
        raise ValueError(f"an ellipse needs 5 points, not {len(pixels)}")
    middle = pixels.mean(axis=0)
    scale = float(np.abs(pixels - middle).max()) or 1.0
    x, y = ((pixels - middle) / scale).T
    quadratic = np.column_stack([x * x, x * y, y * y])
    linear = np.column_stack([x, y, np.ones_like(x)])
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    try:
        rest = -np.linalg.solve(s3, s2.T)
        reduced = np.array([[0, 0, 0.5], [0, -1, 0], [0.5, 0, 0]]) @ (s1 + s2 @ rest)
        _, vectors = np.linalg.eig(reduced)
    except np.linalg.LinAlgError as error:
        raise ValueError("the points fix no ellipse") from error
    vectors = np.real(vectors)
    good = np.flatnonzero(4 * vectors[0] * vectors[2] - vectors[1] ** 2 > 0)
    if len(good) == 0:
        raise ValueError("the points fix no ellipse")
    a, b, c = vectors[:, good[0]]
    d, e, f = rest @ vectors[:, good[0]]
    conic = np.array([[a, b / 2, d / 2], [b / 2, c, e / 2], [d / 2, e / 2, f]]) * np.sign(a + c)
    move = np.array([[1 / scale, 0, -middle[0] / scale], [0, 1 / scale, -middle[1] / scale], [0, 0, 1.0]])
    return ellipse_of_conic(move.T @ conic @ move)


def homography_of_points(places_mm: Points, pixels: Points) -> Homography:
    """The homography that takes four or more places (n, 2) to pixels (n, 2). Raises ValueError when singular."""

    def normaliser(points: Points) -> Homography:
        middle = points.mean(axis=0)
        scale = float(np.sqrt(2) / (np.hypot(*(points - middle).T).mean() or 1.0))
        return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])

    first, second = normaliser(places_mm), normaliser(pixels)
    ones = np.ones(len(places_mm))
    p = np.column_stack([places_mm, ones]) @ first.T
    u, v, _ = (np.column_stack([pixels, ones]) @ second.T).T
    zero = np.zeros_like(p)
    rows = np.vstack(
        [np.hstack([p, zero, -u[:, None] * p]), np.hstack([zero, p, -v[:, None] * p])],
    )
    _, values, vectors = np.linalg.svd(rows)
    if len(places_mm) < 4 or values[7] < 1e-9 * values[0]:
        raise ValueError("the points fix no homography: three of them lie on one line")
    h = np.linalg.inv(second) @ vectors[-1].reshape(3, 3) @ first
    return np.asarray(h / h[2, 2], np.float64)


__all__ = [
    "conic_of_ellipse",
    "corners_of_rectangle",
    "ellipse_of_circle",
    "ellipse_of_conic",
    "fit_ellipse",
    "homography_of_points",
    "mm_per_px",
    "outline_of",
    "outline_points",
    "to_bed",
    "to_picture",
]
