"""From outlines found in a small picture to poses of the whole tub: every candidate is tried as the rim, at every
distance a camera can have, and kept where the foot of the wall shows too."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.aim.finding.edges import Array, EdgeMap
from bedwatch.aim.finding.fit import FOOT, RIM, Fitted, beneath, look, settle
from bedwatch.aim.finding.quads import find_quads
from bedwatch.aim.finding.rounds import find_rounds
from bedwatch.aim.outline import homography_of_points
from bedwatch.aim.pose import LN_SCALE, Vector, View, bed_outline_mm
from bedwatch.bed.model import Points

FOCAL_SHARES = 0.42 * 1.33 ** np.arange(10)  # of the longer picture side: 0.42 to 5.5, a phone or a zoomed-in camera
FINE_SHARES = 0.42 * 1.105 ** np.arange(27)  # for rectangles, whose edges lie closer to one another
MOST_SETTLED = 24
# With so good a one among so many, further starts only find it again.
ENOUGH_SETTLED, EXCELLENT = 16, 0.9
MOST_BENT = 4
APART_PX = 1.0  # starts nearer to one another than this settle on the same outlines
MOST_QUADS = 20
CORNERS = np.array([[-1.0, 0.0], [0.0, 1.0], [1.0, 0.0], [0.0, -1.0]])
REACHES = (5.0, 4.0, 3.0, 2.5, 2.0, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A settled pose in the small picture and what speaks for it (0 to about 1)."""

    fitted: Fitted
    score: float


def one_outline(view: View) -> bool:
    """Whether rim and surface outlines fall together because the bed is full to the brim."""
    return view.bed.surface_below_rim_mm < 0.004 * min(view.bed.width_mm, view.bed.length_mm)


Start = tuple[float, str, list[Vector]]


def starts(view: View, picture: Array, edges: EdgeMap) -> list[Start]:
    """Per outline found, its support, the outline yet to be seen, and poses in which this one would be the other."""
    bed, longer = view.bed, max(view.size_px)
    height = bed.surface_below_rim_mm
    groups: list[Start] = []
    if bed.shape == "round":
        rounds = find_rounds(picture, edges)
        if height > 0.0:
            groups += [(a.support, FOOT, view.of_pair(a.ellipse, b.ellipse)) for a in rounds for b in rounds]
        for one in rounds:
            # an outline may be the rim, or the foot of a wall whose rim shows less
            for up, other in {height: FOOT, 0.0: FOOT if height == 0.0 else RIM}.items():
                poses = [p for share in FOCAL_SHARES for p in view.of_circle(one.ellipse, share * longer, up)]
                groups.append((one.support, other, poses))
        return groups
    mm = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * np.array([bed.width_mm, bed.length_mm]) / 2
    ranked: list[Start] = []
    for quad in find_quads(edges, view.size_px, bed.width_mm / bed.length_mm):
        homography = homography_of_points(mm, quad.corners)
        # a quad may be the rim, or the foot of a wall whose rim shows less
        for up, other in {height: FOOT, 0.0: RIM}.items():
            tried = [view.of_homography(homography, share * longer, up) for share in FINE_SHARES]
            least = min(misfit for _, misfit in tried)
            poses = [pose for pose, misfit in tried if misfit < least + 0.04]
            ranked.append((quad.support - 4.0 * least, other, poses))
    ranked.sort(key=lambda one: -one[0])
    return ranked[: 2 * MOST_QUADS]


def plausible(view: View, pose: Vector) -> bool:
    """A camera 0.25 to 3 m away that leans no more than 33 degrees, its lens anything from wide to zoomed in."""
    distance = float(np.linalg.norm(view.axes(pose)[0])) - view.bed.surface_below_rim_mm
    share = view.focal_px(pose) / max(view.size_px)
    return 250 < distance < 3000 and view.lean_deg(pose) < 33 and 0.3 < share < 8.0


def foot_score(view: View, picture: Array, pose: Vector, kind: str) -> float:
    """How much of the foot of the wall (or the rim) shows where this pose would have it, 0 to 1."""
    line = look(view, picture, pose, kind, 3.0, 60)
    shows = float(np.minimum(line.clear[line.seen], 0.6).mean()) / 0.6 if line.seen.sum() > 20 else 0.0
    return shows * usual(view, pose) if view.bed.shape == "round" else shows


def usual(view: View, pose: Vector) -> float:
    """How usual a focal length is, 0 to 1, with a long tail towards zoomed-in cameras."""
    odd = float(np.log(view.focal_px(pose) / (0.85 * max(view.size_px))))
    return 1.0 / (1.0 + 0.1 * (odd / 0.5) ** 2)


def score(view: View, fitted: Fitted) -> float:
    """Joint evidence of a pose: support of each outline, and the common sense of its focal length and lean."""
    tolerance = 1.0 + 0.004 * float(np.exp(fitted.pose[LN_SCALE])) * view.bed.width_mm / 2
    total = 1.0
    for line in fitted.lines:
        total *= line.support(tolerance) ** (1.0 if line.kind == RIM else 1.5)
    lean = view.lean_deg(fitted.pose) / 30.0
    return total * float(np.exp(-0.3 * lean * lean)) * usual(view, fitted.pose)


def guesses(view: View, picture: Array, edges: EdgeMap, most: int = 8) -> list[Guess]:
    """The best poses in a small picture, best first."""
    found: list[Guess] = []
    kinds: Sequence[str] = (FOOT,) if one_outline(view) else (RIM, FOOT)
    heights = (0.0,) if one_outline(view) else (0.0, view.bed.surface_below_rim_mm)
    half = np.array([view.bed.width_mm, view.bed.length_mm]) / 2
    marked: list[tuple[float, Vector]] = []
    paired: list[tuple[float, Vector]] = []
    for support, other, group in starts(view, picture, edges):
        poses = [pose for pose in group if plausible(view, pose)]
        if one_outline(view):
            marked += [(1.0, pose) for pose in poses[len(poses) // 2 : len(poses) // 2 + 2]]
        else:
            marks = [(support * foot_score(view, picture, pose, other), pose) for pose in poses]
            (paired if len(group) == 1 else marked).extend(sorted(marks, key=lambda one: -one[0])[:4])
    best = [sorted(some, key=lambda one: -one[0]) for some in (marked, paired)]
    turns = itertools.chain.from_iterable(itertools.zip_longest(*best))
    begun: list[Points] = []
    tried: list[tuple[float, Vector]] = []
    for _, pose in (one for one in turns if one is not None):
        drawn = np.vstack([view.project(pose, CORNERS * half, height) for height in heights])
        if any(np.hypot(*(drawn - other).T).mean() < APART_PX for other in begun):
            continue
        begun.append(drawn)
        if len(begun) > MOST_SETTLED or (
            len(begun) > ENOUGH_SETTLED and max((one.score for one in found), default=0.0) > EXCELLENT
        ):
            break
        straight = _guess(view, picture, pose, kinds, bend=False)
        if straight is not None:
            found.append(straight)
        tried.append((0.0 if straight is None else straight.score, pose))
    # a lens that bends is thought of where a straight one leaves much unexplained
    tried.sort(key=lambda one: -one[0])
    for reached, pose in tried[:MOST_BENT]:
        bent = _guess(view, picture, pose, kinds, bend=True) if reached < EXCELLENT else None
        if bent is not None and bent.score > 1.15 * reached:
            found.append(bent)
    found.sort(key=lambda guess: -guess.score)
    kept: list[Guess] = []
    for guess in found:
        if len(kept) < most and all(_apart(guess, other) > 1.0 for other in kept):
            kept.append(guess)
    return kept


def _guess(view: View, picture: Array, pose: Vector, kinds: Sequence[str], *, bend: bool) -> Guess | None:
    most = max(1.5, 0.7 * gap_px(view, pose))  # or one outline would be taken for the other
    reaches = tuple(min(reach, most) for reach in REACHES)
    fitted = settle(view, picture, pose, kinds, reaches, rim_reach_px=2.0, bend=bend)
    if fitted is None or not plausible(view, fitted.pose):
        return None
    inside = beneath(view, picture, fitted.pose, 72)[0]
    return Guess(fitted=fitted, score=score(view, fitted) * (1.0 - 0.5 * max(0.0, inside - 0.3)))


def gap_px(view: View, pose: Vector) -> float:
    """Mean distance of the rim's outline from the surface's in the picture; large when they are one and the same."""
    if one_outline(view):
        return 1e9
    places = bed_outline_mm(view.bed, 36)
    foot, rim = (view.project(pose, places, height) for height in (0.0, view.depth_mm(pose)))
    return float(np.hypot(*(foot - rim).T).mean())


def _apart(a: Guess, b: Guess) -> float:
    """Mean distance of two guesses' outlines, px of the small picture."""
    lines = zip(a.fitted.lines, b.fitted.lines, strict=True)
    return float(np.mean([np.hypot(*(p.pixels - q.pixels).T).mean() for p, q in lines]))
