"""From outlines found in a small picture to poses of the whole tub: every candidate is tried as the rim, at every
distance a camera can have, and kept where the foot of the wall shows too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.aim.edges import Array, EdgeMap
from bedwatch.aim.fit import FOOT, RIM, Fitted, look, settle
from bedwatch.aim.outline import homography_of_points
from bedwatch.aim.pose import LN_SCALE, Vector, View
from bedwatch.aim.quads import find_quads
from bedwatch.aim.rounds import find_rounds

FOCAL_SHARES = 0.42 * 1.16 ** np.arange(11)  # of the longer picture side: 0.42 to 1.85
MOST_SETTLED = 24
REACHES = (8.0, 6.0, 4.0, 3.0, 2.0, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A settled pose in the small picture and what speaks for it (0 to about 1)."""

    fitted: Fitted
    score: float


def one_outline(view: View) -> bool:
    """Whether rim and surface outlines fall together because the bed is full to the brim."""
    return view.bed.surface_below_rim_mm < 0.004 * min(view.bed.width_mm, view.bed.length_mm)


def starts(view: View, picture: Array, edges: EdgeMap) -> list[list[Vector]]:
    """Per outline found, the poses in which it would be the rim (or the brim of a full bed)."""
    bed, longer = view.bed, max(view.size_px)
    height = bed.surface_below_rim_mm
    groups: list[list[Vector]] = []
    if bed.shape == "round":
        for one in find_rounds(picture, edges):
            groups.append(
                [p for share in FOCAL_SHARES for p in view.of_circle(one.ellipse, share * longer, height)],
            )
        return groups
    mm = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * np.array([bed.width_mm, bed.length_mm]) / 2
    for quad in find_quads(edges, view.size_px, bed.width_mm / bed.length_mm):
        homography = homography_of_points(mm, quad.corners)
        tried = [view.of_homography(homography, share * longer, height) for share in FOCAL_SHARES]
        groups.append([pose for pose, misfit in tried if misfit < 0.12])
    return groups


def plausible(view: View, pose: Vector) -> bool:
    """A camera 0.25 to 2.2 m away that leans no more than 33 degrees, its focal length that of a webcam or phone."""
    distance = float(np.linalg.norm(view.axes(pose)[0])) - view.bed.surface_below_rim_mm
    share = view.focal_px(pose) / max(view.size_px)
    return 250 < distance < 2200 and view.lean_deg(pose) < 33 and 0.3 < share < 2.6


def foot_score(view: View, picture: Array, pose: Vector) -> float:
    """How clearly the foot of the wall shows where this pose would have it, 0 to 1."""
    line = look(view, picture, pose, FOOT, 3.0, 72)
    return float(line.clear[line.seen].mean()) if line.seen.sum() > 20 else 0.0


def score(view: View, fitted: Fitted) -> float:
    """Joint evidence of a pose: support of each outline, and the common sense of its focal length and lean."""
    tolerance = 1.0 + 0.004 * float(np.exp(fitted.pose[LN_SCALE])) * view.bed.width_mm / 2
    total = 1.0
    for line in fitted.lines:
        total *= line.support(tolerance) ** (1.0 if line.kind == RIM else 1.5)
    odd = np.log(view.focal_px(fitted.pose) / (0.85 * max(view.size_px)))
    lean = view.lean_deg(fitted.pose) / 30.0
    return total * float(np.exp(-0.25 * (odd / 0.5) ** 2 - 0.3 * lean * lean))


def guesses(view: View, picture: Array, edges: EdgeMap, most: int = 8) -> list[Guess]:
    """The best poses in a small picture, best first."""
    found: list[Guess] = []
    kinds: Sequence[str] = (FOOT,) if one_outline(view) else (RIM, FOOT)
    marked: list[tuple[float, Vector]] = []
    for group in starts(view, picture, edges):
        poses = [pose for pose in group if plausible(view, pose)]
        if one_outline(view):
            marked += [(1.0, pose) for pose in poses[len(poses) // 2 : len(poses) // 2 + 2]]
        else:
            marks = [(foot_score(view, picture, pose), pose) for pose in poses]
            marked += sorted(marks, key=lambda one: -one[0])[:4]
    marked.sort(key=lambda one: -one[0])
    for _, pose in marked[:MOST_SETTLED]:
        fitted = settle(view, picture, pose, kinds, REACHES, rim_reach_px=2.0)
        if fitted is not None and plausible(view, fitted.pose):
            found.append(Guess(fitted=fitted, score=score(view, fitted)))
    found.sort(key=lambda guess: -guess.score)
    kept: list[Guess] = []
    for guess in found:
        if len(kept) < most and all(_apart(guess, other) > 1.0 for other in kept):
            kept.append(guess)
    return kept


def _apart(a: Guess, b: Guess) -> float:
    """Mean distance of two guesses' outlines, px of the small picture."""
    lines = zip(a.fitted.lines, b.fitted.lines, strict=True)
    return float(np.mean([np.hypot(*(p.pixels - q.pixels).T).mean() for p, q in lines]))
