"""From outlines found in a small picture to poses of the whole tub: every outline is tried as the rim and as the foot of
the wall, at every distance a camera can have, and all of them walk uphill together on the picture's edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, EdgeMap, edge_map
from bedwatch.aim.finding.field import WIDE, Field, field_of
from bedwatch.aim.finding.quads import find_quads
from bedwatch.aim.finding.rounds import find_rounds
from bedwatch.aim.finding.sides import onto_sides
from bedwatch.aim.finding.swarm import apart, climb
from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import fit_ellipse, homography_of_points
from bedwatch.aim.pose import K1, LN_DISTANCE, NUMBERS, Vector, View, bed_outline_mm
from bedwatch.aim.types import Ellipse

FOCAL_SHARES = 0.42 * 1.33 ** np.arange(10.0)  # of the longer picture side: 0.42 to 5.5, a phone or a zoomed-in camera
ALIKE = 0.06  # how much worse than at the best focal length a guessed rectangle may fit
# How far (px) a rectangle's sides may lie off the lines that it was made of: more than at the best focal length, at any, at all.
ALIKE_PX, SURE_PX, MOST_PX = 1.0, 1.5, 8.0
OUTWARD_MM = (0.0, 12.0, 24.0)  # how far outside the wall an outline is tried: rims are 2 to 30 mm wide
BEND = -0.2  # k1 of a lens that bends; most lie between this and none
BENDING = FOCAL_SHARES < 3.0  # beyond, it moves nothing by 2 px


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A pose in the small picture and what speaks for it (0 to about 1)."""

    pose: Vector
    score: float


def one_outline(view: View) -> bool:
    """Whether rim and surface outlines fall together because the bed is full to the brim."""
    return view.bed.surface_below_rim_mm < 0.004 * min(view.bed.width_mm, view.bed.length_mm)


def plausible(view: View, pose: Vector) -> bool:
    """A camera 0.25 to 3 m away that leans no more than 33 degrees, its lens anything from wide to zoomed in."""
    distance = float(np.linalg.norm(view.axes(pose)[0])) - view.bed.surface_below_rim_mm
    share = view.focal_px(pose) / max(view.size_px)
    return 250 < distance < 3000 and view.lean_deg(pose) < 33 and 0.3 < share < 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """A small picture's edges, far and near, and the poses (n, 10) that its outlines may mean."""

    view: View
    wide: Field
    sharp: Field
    poses: NDArray[np.float64]


def starts_of(view: View, picture: Array) -> Starts:
    """Where to start in a small picture."""
    edges = edge_map(picture)
    wide, sharp = field_of(edges, view.size_px, WIDE), field_of(edges, view.size_px)
    square = view.bed.shape == "rectangular"
    begun = _square_starts(view, picture, edges, sharp) if square else _round_starts(view, picture, edges)
    poses = np.array(begun).reshape(-1, NUMBERS)
    poses[:, LN_DISTANCE] = np.clip(poses[:, LN_DISTANCE], 5.0, 8.5)
    return Starts(view=view, wide=wide, sharp=sharp, poses=poses)


def guesses(starts: Starts, times: int = 1) -> list[Guess]:
    """The best poses in a small picture, best first. times: so many more are followed."""
    if not len(starts.poses):
        return []
    poses, scores = climb(starts.view, starts.wide, starts.sharp, starts.poses, times)
    return [Guess(pose=pose, score=float(score)) for pose, score in zip(poses, scores, strict=True)]


def others(starts: Starts, found: Sequence[Guess], known: Sequence[Guess]) -> list[Guess]:
    """Those of some guesses that draw other outlines than all the known ones."""
    new = apart(starts.view, *(np.array([one.pose for one in some]).reshape(-1, NUMBERS) for some in (found, known)))
    return [one for one, apart in zip(found, new, strict=True) if apart]


def _square_starts(view: View, picture: Array, edges: EdgeMap, field: Field) -> list[Vector]:
    bed, height = view.bed, view.bed.surface_below_rim_mm
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) / 2
    quads = find_quads(picture, edges, field, bed.width_mm / bed.length_mm)
    focal_px = FOCAL_SHARES * float(max(view.size_px))
    begun: list[Vector] = []
    for up, ring in _readings(height):
        mm = corners * (np.array([bed.width_mm, bed.length_mm]) + 2 * ring)
        rough = [view.of_homography_at(homography_of_points(mm, one.corners), focal_px, up) for one in quads]
        if not rough:
            break
        for one, (poses, misfit) in zip(quads, rough, strict=True):
            if one.hidden >= 0:  # the guessed side may be a good guess, and the lines not those of one outline
                begun += list(poses[misfit < misfit.min() + ALIKE])
        poses = np.array([np.concatenate([one, bent(one[BENDING])]) for one, _ in rough])
        each = poses.shape[1]
        there = np.repeat(np.array([one.corners for one in quads]), each, axis=0)
        hidden = np.repeat([one.hidden for one in quads], each)
        settled, miss = onto_sides(view, poses.reshape(-1, NUMBERS), there, hidden, up, ring)
        fits = miss.reshape(-1, each) < np.maximum(
            miss.reshape(-1, each).min(axis=1, keepdims=True) + ALIKE_PX, SURE_PX
        )
        begun += list(settled[(fits & (miss.reshape(-1, each) < MOST_PX)).ravel()])
    return begun


def bent(poses: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same with a lens that bends."""
    found = poses.copy()
    found[:, K1] = BEND
    return found


def _readings(height_mm: float) -> tuple[tuple[float, float], ...]:
    """What an outline may be: how far above the surface it lies and how far outside the wall."""
    if height_mm == 0.0:
        return tuple((0.0, outward) for outward in OUTWARD_MM)
    return (0.0, 0.0), *((height_mm, outward) for outward in OUTWARD_MM)


def _round_starts(view: View, picture: Array, edges: EdgeMap) -> list[Vector]:
    rounds = find_rounds(picture, edges)
    height, longer = view.bed.surface_below_rim_mm, max(view.size_px)
    begun: list[Vector] = []
    if height > 0.0:
        begun += [pose for a in rounds for b in rounds for pose in view.of_pair(a.ellipse, b.ellipse)]
    for one in rounds:
        straight = list(_straightened(view, one.ellipse, FOCAL_SHARES[BENDING][::2] * longer))
        # an outline may be the rim, or the foot of a wall whose rim shows less
        for up in {height, 0.0}:
            begun += list(view.of_circle_at(one.ellipse, FOCAL_SHARES * longer, up))
            if straight:
                focal, flat = zip(*straight, strict=True)
                begun += list(bent(view.of_circle_at(flat, np.array(focal), up)))
    return begun


def _straightened(view: View, ellipse: Ellipse, focal_px: NDArray[np.float64]) -> Iterator[tuple[float, Ellipse]]:
    """An outline as a lens without the usual bend would show it, for every focal length for which there is such a one."""
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    angle = np.radians(ellipse.angle_deg)
    along = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    places = (ellipse.axes_px * np.column_stack([np.cos(turn), np.sin(turn)])) @ along + ellipse.centre_px
    for focal in focal_px:
        lens = Lens(k1=BEND, focal_px=float(focal), centre_px=view.middle, straight_focal_px=float(focal))
        straight = lens.straighten(places)
        if not np.isfinite(straight).all():  # beyond where such a lens folds the picture over
            continue
        try:
            flat = fit_ellipse(straight)
        except ValueError:
            continue
        yield float(focal), flat


def gap_px(view: View, pose: NDArray[np.float64]) -> float:
    """Mean distance of the rim's outline from the surface's in the picture; large when they are one and the same."""
    if one_outline(view):
        return 1e9
    places = bed_outline_mm(view.bed, 36)
    foot, rim = (view.project(pose, places, height) for height in (0.0, view.depth_mm(pose)))
    return float(np.hypot(*(foot - rim).T).mean())
