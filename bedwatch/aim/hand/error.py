"""What named places leave open: all the poses that they allow, and the error of a position with it.

One round outline looks the same to a camera that leans as far to the other side, and a slight lean hardly shows at all,
so the settled pose and its covariance alone would claim too much. Poses are drawn round the settled ones and weighed by
how well they fit (importance sampling, Kahn & Marshall 1953).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.hand.fit import HandFit, Sighting, apart_mm, cost_of, marks_mm
from bedwatch.aim.outline import to_bed
from bedwatch.aim.pose import Vector, View

DRAWN = 240  # in each of two rounds
WIDER = 1.5  # drawn from a wider spread than the covariance, for valleys that bend
ONE_SIDE_MM = 1.0
Spread = tuple[Vector, NDArray[np.float64]]  # middle and root of the covariance, of the free numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """pose: the best, or the mean of several as good. spread: (n,) standard error of its numbers.

    error_mm: of a position, root mean square over the centre and eight places at the wall.
    sides_mm: how much of it comes of separate poses that lean different ways.
    """

    pose: Vector
    spread: Vector
    error_mm: float
    sides_mm: float


def believe(view: View, found: Sequence[HandFit], sightings: Sequence[Sighting], error_px: float) -> Belief:
    """Weigh the poses round the settled ones, the best of which stands first."""
    free = np.flatnonzero(np.diag(found[0].covariance) > 0)
    spreads: list[Spread] = [(fit.pose[free], _root(fit.covariance[np.ix_(free, free)]) * WIDER) for fit in found]
    rng = np.random.default_rng(1)
    drawn, costs = np.empty((0, len(found[0].pose))), np.empty(0)
    for again in (False, True):
        if again:  # the first round shows how wide the valley is: a slight lean hardly changes an outline
            weight = _weights(drawn[:, free], costs, spreads)
            middle = weight @ drawn[:, free]
            away = drawn[:, free] - middle
            spreads.append((middle, _root((away.T * weight) @ away) * WIDER))
        for middle, root in spreads[-1:] if again else spreads:
            count = DRAWN if again else DRAWN // len(found)
            poses = np.tile(found[0].pose, (count, 1))
            poses[:, free] = middle + rng.standard_normal((count, len(free))) @ root.T
            drawn = np.vstack([drawn, poses])
            costs = np.append(costs, [cost_of(view, pose, sightings, error_px) for pose in poses])
    weight = _weights(drawn[:, free], costs, spreads)
    likely = np.exp([(found[0].cost - fit.cost) / 2 for fit in found])
    apart = np.array([apart_mm(view, found[0], fit) for fit in found])
    sides = float(np.sqrt(likely @ apart**2 / likely.sum() / 2))
    # the best pose lies on the named places; between two as good ones stands the mean
    chosen = found[0].pose if sides < ONE_SIDE_MM else np.asarray(weight @ drawn, np.float64)
    spread = np.sqrt(weight @ (drawn - chosen) ** 2)
    used = weight > 1e-6 * weight.max()
    places = _places(view, chosen, drawn[used])
    error = float(np.sqrt(weight[used] @ ((places - marks_mm(view.bed)) ** 2).sum(axis=2).mean(axis=1)))
    return Belief(pose=chosen, spread=spread, error_mm=error, sides_mm=sides)


def _weights(drawn: NDArray[np.float64], costs: Vector, spreads: Sequence[Spread]) -> Vector:
    """(n,) how likely each pose is over how often it is drawn; they add up to 1."""
    often = np.zeros(len(drawn))
    for middle, root in spreads:
        away = np.linalg.solve(root, (drawn - middle).T)
        often += np.exp(-0.5 * (away * away).sum(axis=0)) / abs(np.linalg.det(root))
    weight = np.exp((costs.min() - costs) / 2) / np.maximum(often, 1e-300)
    return np.asarray(weight / weight.sum(), np.float64)


def _root(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 1e-14 * values.max())), np.float64)


def _places(view: View, mean: Vector, drawn: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 9, 2) where in the mean pose's plane the other poses see the nine marks."""
    home = view.homography(mean)
    return np.stack([to_bed(home, view.project(pose, marks_mm(view.bed), 0.0)) for pose in drawn])


__all__ = ["Belief", "believe"]
