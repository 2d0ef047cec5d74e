"""From the corners of marks to the numbers of camera and cards: least squares with expectations, and its errors.

Levenberg and Marquardt's method with Huber's weights; the expectations of `marks_model` enter as further measurements, so
what the picture does not fix stays where it is expected and widens the error instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bedwatch.aim.cards.marks import laid
from bedwatch.aim.cards.marks_model import (
    CARDS,
    INSET,
    LEVEL,
    LN_FOCAL,
    LN_SCALE,
    SHIFT_U,
    SHIFT_V,
    STAND,
    TURN,
    Expected,
    Laid,
    Vector,
)
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

CORNER_PX = 0.15  # standard error of a sharpened corner, at best
_HUBER = 2.5
_FOCALS = (0.55, 0.8, 1.2, 1.8)  # of the picture's width, to start from


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """numbers, their covariance, and what is left over between seen and drawn corners: root mean square, px.

    misfit: how far print and cards are from where they are expected, as a sum of squares of standard deviations.
    """

    numbers: Vector
    covariance: Vector
    rms_px: float
    misfit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    there: Laid
    corners_px: Points
    expected: Expected
    corner_px: float = CORNER_PX

    @property
    def data(self) -> int:
        return self.corners_px.size

    def errors(self, numbers: Vector) -> Vector:
        """(n,) misses in standard errors: of the corners, then of the expectations."""
        seen = (self.there.pixels(numbers) - self.corners_px).ravel() / self.corner_px
        return np.concatenate([seen, (numbers - self.expected.at) / self.expected.spread])

    def slopes(self, numbers: Vector, errors: Vector) -> Vector:
        """(n, numbers) of the errors, by differences."""
        steps = np.full(self.there.count, 1e-5)
        steps[[SHIFT_U, SHIFT_V, INSET, LEVEL]] = 1e-3
        steps[STAND] = 1e-3
        return np.stack(
            [(self.errors(numbers + step) - errors) / step.sum() for step in np.diag(steps)],
            axis=1,
        )

    def weights(self, errors: Vector) -> Vector:
        """Huber's weights by how far a corner misses; 1 for expectations."""
        miss = np.repeat(np.hypot(errors[: self.data : 2], errors[1 : self.data : 2]), 2)
        reach = _HUBER * max(1.0, float(np.median(miss)))
        return np.concatenate([np.minimum(1.0, reach / np.maximum(miss, 1e-9)), np.ones(len(errors) - self.data)])

    def cost(self, errors: Vector) -> float:
        return float((self.weights(errors) * errors**2).sum())


def fit(there: Laid, corners_px: Points, expected: Expected, start: Vector | None = None) -> Fitted | None:
    """The numbers that draw the corners (m, 4, 2) where they are seen; None when no camera above the bed could.

    start: numbers known to be near, which saves time.
    """
    task = _Task(there=there, corners_px=corners_px, expected=expected)
    starts = _starts(task) if start is None else [start]
    tries = [end for one in starts if (end := _improved(task, one, 8)) is not None]
    tries.sort(key=lambda numbers: task.cost(task.errors(numbers)))
    ends = [end for one in tries[:2] if (end := _improved(task, one, 40)) is not None]
    if not ends:
        return None
    numbers = min(ends, key=lambda numbers: task.cost(task.errors(numbers)))
    # blurred or small marks have worse corners: then the expectations must weigh more
    task = replace(task, corner_px=CORNER_PX * _noise(task, numbers))
    again = _improved(task, numbers, 20)
    numbers = numbers if again is None else again
    errors = task.errors(numbers)
    slopes = task.slopes(numbers, errors)
    try:
        covariance = np.linalg.inv(slopes.T @ (task.weights(errors)[:, None] * slopes))
    except np.linalg.LinAlgError:
        return None
    miss_px = errors[: task.data] * task.corner_px
    return Fitted(
        numbers=numbers,
        covariance=np.asarray(covariance, np.float64),
        rms_px=float(np.sqrt(2 * np.mean(miss_px**2))),
        misfit=float((errors[task.data + LN_SCALE :] ** 2).sum()),
    )


def _noise(task: _Task, numbers: Vector) -> float:
    """How many times worse the corners are than at best."""
    errors = task.errors(numbers)[: task.data]
    free = max(8, task.data - CARDS - 2 * len(task.there.cards))
    return max(1.0, float(np.sqrt((task.weights(errors)[: task.data] * errors**2).sum() / free)))


def _starts(task: _Task) -> list[Vector]:
    """Poses of the flat, exactly laid cards, by OpenCV's planar solver, for several focal lengths."""
    there = task.there
    flat = np.concatenate([laid(there.cards[c], there.bed)[k] for c, k in there.seen.tolist()])
    places = np.column_stack([flat, np.zeros(len(flat))])
    found = []
    for share in _FOCALS:
        focal = share * there.size_px[0]
        camera = np.array([[focal, 0, there.middle_px[0]], [0, focal, there.middle_px[1]], [0, 0, 1.0]])
        solved = cv2.solvePnPGeneric(
            places, task.corners_px.reshape(-1, 1, 2), camera, np.zeros(4), flags=cv2.SOLVEPNP_IPPE
        )
        for turn, stand in zip(solved[1], solved[2], strict=True):
            start = task.expected.at.copy()
            start[LN_FOCAL], start[TURN], start[STAND] = np.log(focal), np.ravel(turn), np.ravel(stand)
            if np.isfinite(start).all() and start[STAND][2] > 0:
                found.append(start)
    return found


def _improved(task: _Task, start: Vector, rounds: int) -> Vector | None:
    numbers, damping = start, 1e-3
    errors = task.errors(numbers)
    cost = task.cost(errors)
    slopes: Vector | None = None
    for _ in range(rounds):
        if slopes is None:
            slopes = task.slopes(numbers, errors)
        weighted = slopes.T * task.weights(errors)
        normal = weighted @ slopes
        try:
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -(weighted @ errors))
        except np.linalg.LinAlgError:
            return None
        tried = task.errors(numbers + step)
        tried_cost = task.cost(tried) if np.isfinite(tried).all() else np.inf
        if tried_cost < cost:
            done = cost - tried_cost < 1e-4 + 1e-7 * cost
            numbers, errors, cost, damping, slopes = numbers + step, tried, tried_cost, damping / 5, None
            if done:
                break
        else:
            damping *= 6
            if damping > 1e7:
                break
    return numbers


__all__ = ["CORNER_PX", "Fitted", "fit"]
