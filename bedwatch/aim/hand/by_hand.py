"""Aim by places that a person named in the picture: on the outlines of powder and rim, and at 12 o'clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bedwatch.aim.hand.error import Belief, believe
from bedwatch.aim.hand.fit import (
    HandFit,
    Sighting,
    fit_by_hand,
    level_spread_mm,
    misses_px,
    without,
)
from bedwatch.aim.hand.points import HandPoints, Pixel, check_points, inside_mistakes
from bedwatch.aim.hand.poses import pose_of, settle_places, sightings_of, twelve_deg
from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.pose import DEEPER, LN_SCALE, Vector, View
from bedwatch.aim.turned import turned
from bedwatch.aim.types import Aim
from bedwatch.bed.model import Bed
from bedwatch.errors import UserError

NAMING_PX = 1.5  # standard error of a place clicked with care
OFF_PX, OFF_SHARE = 8.0, 0.006  # a place farther off (or that share of the picture's longer side) is a slip
MOST_ERROR_MM = 8.0  # an aim less sure than this helps nobody
MOST_ALONE_MM = 5.0  # by one round outline, whose lean is a matter of a pixel
MOST_DEEPER = 3.5  # times what the level of the powder usually differs by
MOST_TILT_DEG = 42.0


def aim_by_points(points: HandPoints, bed: Bed, size_px: tuple[int, int]) -> Aim:
    """Where the bed is, by named pixels of a picture of this size (width, height).

    The x axis is the line through the bed's centre that lies level in the picture, unless a place at 12 o'clock is named.
    error_mm: from the naming error (1.5 px, or more when the places say so), and from what they leave open.
    Raises UserError, a line per mistake: too few places, on one line, outside the picture; places that do not fit a bed of
    this size; places that do not fix it.
    """
    check_points(points, bed, size_px)
    view = View(bed=bed, size_px=size_px)
    error_px = NAMING_PX
    found, sightings = settle_places(view, sightings_of(points, bed), error_px, points.twelve)
    named = sum(len(one.pixels) * (1 if one.places_mm is None else 2) for one in sightings)
    spare = named - (5 if len(sightings) == 1 else 6) - (bed.shape == "rectangular")
    _check_misses(view, found[0], sightings, spare)
    if spare > 0:
        spread = float(np.sqrt((found[0].misses_px ** 2).sum() / spare))
        if spread > NAMING_PX:
            error_px = spread
            found, sightings = settle_places(view, sightings, error_px, points.twelve)
    belief = believe(view, found, sightings, error_px)
    _check_belief(view, belief, points)
    aim = _aim(view, belief)
    if points.twelve is None:
        return aim
    angle, slack = _twelve(view, belief.pose, points.twelve)
    if bed.shape == "rectangular":
        return aim  # its sides were told apart in settling
    return replace(turned(aim, bed, angle), error_mm=float(np.hypot(belief.error_mm, slack * bed.width_mm / 2)))


def twelve_of(aim: Aim, bed: Bed, pixel: Pixel) -> Aim:
    """An aim found without help, turned so that 12 o'clock is at this pixel of the real picture.

    Raises UserError for a place outside the picture or too near the bed's centre.
    """
    assert aim.size_px is not None
    if mistakes := inside_mistakes(HandPoints(twelve=pixel), aim.size_px):
        raise UserError(*mistakes)
    view = View(bed=bed, size_px=aim.size_px)
    straight = np.array([pixel])
    if aim.lens is not None:
        straight = aim.lens.straighten(straight)
    pose = pose_of(view, aim.bed_to_picture)
    angle, _ = _twelve(view, pose, (float(straight[0, 0]), float(straight[0, 1])))
    if bed.shape == "rectangular":
        step = 90.0 if abs(bed.width_mm - bed.length_mm) < 0.01 * bed.width_mm else 180.0
        angle = step * round(angle / step)
    return turned(aim, bed, angle)


def _twelve(view: View, pose: Vector, pixel: Pixel) -> tuple[float, float]:
    """Degrees clockwise, and the error of that direction in radians."""
    angle, distance = twelve_deg(view, pose, view.depth_mm(pose), pixel)
    if distance < 0.2 * view.bed.width_mm / 2:
        raise UserError(
            f"12 o'clock: found a place {distance:.0f} mm from the bed's centre, expected one near the wall: it only gives a "
            "direction there"
        )
    px_per_mm = float(np.exp(pose[LN_SCALE]))
    return angle, NAMING_PX / px_per_mm / distance


def _check_misses(view: View, fit: HandFit, sightings: Sequence[Sighting], spare: int) -> None:
    """Raises UserError when a place lies too far off, naming the one without which the others agree best."""
    limit = max(OFF_PX, OFF_SHARE * max(view.size_px))
    tilt = view.tilt_deg(fit.pose)
    if fit.misses_px.max() > limit:
        number, off = int(np.argmax(fit.misses_px)), float(fit.misses_px.max())
        if spare > 1:
            left = [fit_by_hand(view, fit.pose, without(sightings, i), NAMING_PX) for i in range(len(fit.misses_px))]
            costs = [np.inf if one is None else one.cost for one in left]
            number = int(np.argmin(costs))
            best = left[number]
            off = off if best is None else float(misses_px(view, best.pose, sightings)[number])
        raise UserError(
            f"the places do not fit a bed of this size: {_name(sightings, number)} is {off:.0f} px off; name it again"
        )
    below = view.bed.surface_below_rim_mm
    if abs(fit.pose[DEEPER]) > MOST_DEEPER * level_spread_mm(below):
        raise UserError(
            f"the places put the powder {view.depth_mm(fit.pose):.0f} mm below the rim, the bed file {below:g} mm; measure it "
            "again, or look at each place again"
        )
    if tilt > MOST_TILT_DEG:
        raise UserError(
            f"the places make the camera look from the side, tilted by {tilt:.0f} degrees; expected less than 35; "
            "look at each place again, or put the camera more above the bed"
        )


def _name(sightings: Sequence[Sighting], number: int) -> str:
    for one in sightings:
        if number < len(one.pixels):
            if one.places_mm is not None:
                u, v = one.pixels[number]
                return f"the {'rim ' if one.on_rim else ''}corner at {u:g},{v:g}"
            return f"{'rim' if one.on_rim else 'wall'} place {number + 1}"
        number -= len(one.pixels)
    raise AssertionError("a miss belongs to a named place")


def _check_belief(view: View, belief: Belief, points: HandPoints) -> None:
    """Raises UserError when a position would be too uncertain to be of use."""
    alone = view.bed.shape == "round" and not (points.wall and points.rim)
    most = MOST_ALONE_MM if alone else MOST_ERROR_MM
    if belief.error_mm <= most:
        return
    if alone and view.bed.surface_below_rim_mm > 0 and belief.sides_mm > 0.4 * belief.error_mm:
        other = "rim, along its inner top edge" if points.wall else "wall, where the powder meets it"
        raise UserError(
            "the places fit a camera that leans one way as well as one that leans another, "
            f"{2 * belief.sides_mm:.0f} mm apart; name three or more places of the {other}, too"
        )
    raise UserError(
        f"the places fix the bed to {belief.error_mm:.0f} mm only, expected {most:.0f} mm or better; name more of them, "
        "all round, or put the camera straight above the bed"
    )


def _aim(view: View, belief: Belief) -> Aim:
    surface = view.homography(belief.pose)
    level = view.depth_mm(belief.pose)
    rim = view.homography(belief.pose, level)
    slack = float(belief.spread[DEEPER])
    measured = 0.0 < slack < 0.7 * level_spread_mm(view.bed.surface_below_rim_mm)
    return Aim(
        surface=outline_of(surface, view.bed),
        rim=outline_of(rim, view.bed),
        bed_to_picture=surface,
        mm_per_px=mm_per_px(surface),
        size_px=view.size_px,
        error_mm=belief.error_mm,
        level_mm=(level, slack) if measured else None,
    )


__all__ = ["HandPoints", "aim_by_points", "twelve_of"]
