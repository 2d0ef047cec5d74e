"""From named places to the poses they allow: where to start from, and which of the settled poses differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from bedwatch.aim.hand.fit import FOCAL_SHARE, HandFit, Sighting, apart_mm, fit_by_hand
from bedwatch.aim.hand.points import HandPoints, Pixel
from bedwatch.aim.outline import fit_ellipse, homography_of_points, to_bed
from bedwatch.aim.pose import LN_DISTANCE, LN_SCALE, NUMBERS, TX, TY, Vector, View
from bedwatch.aim.types import Homography
from bedwatch.bed.model import Bed, Points
from bedwatch.errors import UserError

UNLIKELY = 12.0  # of cost above the best: a pose that need not be thought of


def sightings_of(points: HandPoints, bed: Bed) -> list[Sighting]:
    if bed.shape == "round":
        pairs = ((False, points.wall), (True, points.rim))
        return [Sighting(on_rim=rim, pixels=np.array(named, float)) for rim, named in pairs if named]
    half = np.array([bed.width_mm, bed.length_mm]) / 2
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    pairs = ((False, points.corners), (True, points.rim_corners))
    return [Sighting(on_rim=rim, pixels=_in_turn(named), places_mm=corners) for rim, named in pairs if named]


def _in_turn(named: Sequence[tuple[float, float]]) -> Points:
    """Corners clockwise as seen, from the upper left one."""
    pixels = np.array(named, float)
    u, v = (pixels - pixels.mean(axis=0)).T
    order = np.argsort(np.arctan2(v, u))
    pixels = pixels[order]
    return np.asarray(np.roll(pixels, -int(np.argmin(pixels.sum(axis=1))), axis=0))


def settle_places(
    view: View, sightings: Sequence[Sighting], error_px: float, twelve: Pixel | None
) -> tuple[list[HandFit], Sequence[Sighting]]:
    """All poses that the places allow, the best first, and the sightings, corners in the bed's order.

    Raises UserError when there is none.
    """
    if view.bed.shape == "rectangular":
        return _settled_corners(view, sightings, error_px, twelve)
    found = _distinct(view, (fit_by_hand(view, start, sightings, error_px) for start in _starts(view, sightings)))
    if not found:
        raise UserError(
            f"the places do not look like a round bed of {view.bed.width_mm:g} mm from any camera; name them again"
        )
    return found, sightings


def _settled_corners(
    view: View, sightings: Sequence[Sighting], error_px: float, twelve: Pixel | None
) -> tuple[list[HandFit], Sequence[Sighting]]:
    """The four ways round a rectangle; of those that fit, the one whose 12 o'clock is named, or points up."""
    ways: list[tuple[HandFit, list[Sighting]]] = []
    for quarter in range(4):
        shifted = [replace(one, pixels=np.roll(one.pixels, -quarter, axis=0)) for one in sightings]
        fits = (fit_by_hand(view, start, shifted, error_px) for start in _corner_starts(view, shifted))
        ways += [(fit, shifted) for fit in _distinct(view, fits)[:1]]
    if not ways:
        raise UserError("the corners do not look like a rectangular bed from any camera; name them again")
    least = min(fit.cost for fit, _ in ways)

    def off(way: tuple[HandFit, list[Sighting]]) -> float:
        pose = way[0].pose
        if twelve is not None:
            return abs(twelve_deg(view, pose, view.depth_mm(pose), twelve)[0])
        centre, up = view.project(pose, np.array([[0.0, 0.0], [0.0, view.bed.length_mm / 4]]), 0.0)
        return float(up[1] - centre[1])

    fit, shifted = min((way for way in ways if way[0].cost < 2 * least + 40), key=off)
    return [fit], shifted


def _distinct(view: View, fits: Iterator[HandFit | None]) -> list[HandFit]:
    ranked = sorted((fit for fit in fits if fit is not None), key=lambda fit: fit.cost)
    found: list[HandFit] = []
    for fit in ranked:
        if fit.cost < ranked[0].cost + UNLIKELY and all(apart_mm(view, fit, one) > 0.3 for one in found):
            found.append(fit)
    return found


def _starts(view: View, sightings: Sequence[Sighting]) -> Iterator[Vector]:
    """Poses to settle from: by the ellipses, and plain ones in case they are badly fixed."""
    focal = FOCAL_SHARE * max(view.size_px)
    leans = [(0.0, 0.0), (0.25, 0.0), (-0.25, 0.0), (0.0, 0.25), (0.0, -0.25)]
    for one in sightings:
        if len(one.pixels) < 5:
            continue
        try:
            yield from view.of_circle(fit_ellipse(one.pixels), focal, view.bed.surface_below_rim_mm * one.on_rim)
            leans = leans[:1]
        except (ValueError, np.linalg.LinAlgError):
            continue
    widest = max(sightings, key=lambda one: len(one.pixels))
    middle = (widest.pixels.min(axis=0) + widest.pixels.max(axis=0)) / 2
    radius_px = float(np.ptp(widest.pixels, axis=0).max()) / 2
    for lean in leans:
        pose = np.zeros(NUMBERS)
        pose[:2], pose[[TX, TY]] = middle, lean
        pose[LN_SCALE] = np.log(radius_px / (view.bed.width_mm / 2))
        pose[LN_DISTANCE] = np.log(focal) - pose[LN_SCALE]
        yield pose


def _corner_starts(view: View, sightings: Sequence[Sighting]) -> Iterator[Vector]:
    one, below = sightings[0], view.bed.surface_below_rim_mm
    assert one.places_mm is not None
    try:
        h = homography_of_points(one.places_mm, one.pixels)
    except (ValueError, np.linalg.LinAlgError):
        return
    for share in (FOCAL_SHARE, 2 * FOCAL_SHARE):
        pose, _ = view.of_homography(h, share * max(view.size_px), below * one.on_rim)
        if np.isfinite(pose).all():
            yield pose


def pose_of(view: View, homography: Homography) -> Vector:
    """The pose behind a homography of the surface: of the focal lengths that fit it, the most usual."""
    best, least = np.zeros(NUMBERS), np.inf
    for spread in np.linspace(-1.2, 1.9, 94):
        focal = FOCAL_SHARE * max(view.size_px) * float(np.exp(spread))
        pose, misfit = view.of_homography(homography, focal, 0.0)
        if misfit + 1e-4 * spread * spread < least:
            best, least = pose, misfit + 1e-4 * spread * spread
    return best


def twelve_deg(view: View, pose: Vector, level_mm: float, pixel: Pixel) -> tuple[float, float]:
    """Where a pixel lies round the bed: degrees clockwise from +y, and distance from the axis in mm.

    The line of sight is followed to the first of rim, wall and powder that it meets.
    """
    one = np.array([pixel])
    low = to_bed(view.homography(pose), one)[0]
    high = to_bed(view.homography(pose, level_mm), one)[0]
    half = np.array([view.bed.width_mm, view.bed.length_mm]) / 2

    def reach(place: Points) -> float:
        round_ = view.bed.shape == "round"
        return float(np.hypot(*(place / half)) if round_ else np.abs(place / half).max())

    place = low
    if reach(high) >= 1.0:
        place = high
    elif reach(low) > 1.0:
        share = np.linspace(0.0, 1.0, 201)[:, None]
        path = high + share * (low - high)
        place = path[int(np.argmax([reach(step) >= 1.0 for step in path]))]
    return float(np.degrees(np.arctan2(place[0], place[1]))), float(np.hypot(*place))


__all__ = ["pose_of", "settle_places", "sightings_of", "twelve_deg"]
