"""What a surface shows of its air, held against what is believed of both: how far every sign is off, and what moves it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_CALMEST, _WILDEST = -8.0, 3.0  # beyond, restlessness tells no more
VIOLENT_FROM = 3.3
_GLIDES = (
    0.5  # share of a zone: it glides without bubbles at any air that lifts it, so what little erupts tells nothing
)
# Errors of one look, of each zone.
_SPEED_ERROR, _RESTLESS_ERROR, _RESTLESS_SHARE = 0.08, 0.3, 0.06
_BEGINS_EACH = 0.05  # minima: where eruptions begin, besides what a bed has in common
LIFT_FROM, _LIFT_FULL, _LIFT_ERROR = math.log(1.03), math.log(1.2), 0.09
_AT_REST = (math.log(0.7), 0.45)  # where a zone at rest may be
_SOFT = 0.06  # the speed's law is rounded off so far above the minimum


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One zone as a look shows it. known: false where it cannot be judged. live: share of its middle that is lifted.
    speed_mm_s: None where it is not known; restless: None where nothing erupts. glides: share of its
    middle that glides without bubbles; None where it is not known."""

    known: bool
    live: float = 0.0
    speed_mm_s: float | None = None
    restless: float | None = None
    glides: float | None = None


def misses(n: int, means: Array, look: Sequence[Seen]) -> tuple[Array, Array, Array]:
    """What each sign is off from what is expected, in units of its error (m, rows), its slopes by the state (m, rows, d), and the
    sum of the logarithms of the errors (m,)."""
    kinds = len(means)
    lively, power, restless_at = (means[:, n + at] for at in range(3))
    begins, together = n + 6, n + 7
    own, own_restless = n + 8, 2 * n + 8
    steep = np.exp(np.clip(means[:, n + 3], -3.0, 3.0))
    misses: list[Array] = []
    slopes: list[Array] = []
    width = np.zeros(kinds)

    def add(off: Array, error: Array | float, by: dict[int, NDArray[Any] | float]) -> None:
        # One sign that is far out must not overrule all others (Huber's weights).
        size = np.maximum(np.abs(off) / error, 1e-9)
        weight = np.where(size < 2.5, 1.0, np.sqrt(2.5 / size)) / error
        width[:] += np.log(error)
        row = np.zeros((kinds, means.shape[1]))
        for at, value in by.items():
            row[:, at] = value * weight
        misses.append(off * weight)
        slopes.append(row)

    for zone, seen in enumerate(look):
        if not seen.known:
            continue
        x = means[:, zone]
        off, held = _lift_off(x, seen.live)
        add(off, _LIFT_ERROR, {zone: held})
        if seen.live < 0.6:
            continue  # what moves there is the neighbours' air
        if seen.speed_mm_s is not None and seen.speed_mm_s > 0:
            beyond, by_x, by_begin = _beyond(x, means[:, begins])
            off = (
                math.log(seen.speed_mm_s) - lively - power * np.log(beyond) - means[:, together] - means[:, own + zone]
            )
            error = np.hypot(_SPEED_ERROR, power * _BEGINS_EACH / beyond)
            add(
                off,
                error,
                {
                    zone: power * by_x / beyond,
                    begins: power * by_begin / beyond,
                    n: 1.0,
                    n + 1: np.log(beyond),
                    together: 1.0,
                    own + zone: 1.0,
                },
            )
        if seen.restless is not None and (seen.glides or 0.0) <= _GLIDES:
            beyond, by_x, by_begin = _beyond(x, means[:, begins])
            above = np.log(beyond / (VIOLENT_FROM - 1.0))
            restless = min(max(seen.restless, _CALMEST), _WILDEST)
            error = np.hypot(math.hypot(_RESTLESS_ERROR, _RESTLESS_SHARE * restless), steep * _BEGINS_EACH / beyond)
            off = restless - restless_at - steep * above - means[:, own_restless + zone]
            if seen.restless <= _CALMEST:
                off = np.minimum(off, 0.0)  # no livelier than that, and perhaps far calmer
            add(
                off,
                error,
                {
                    zone: steep * by_x / beyond * (off != 0),
                    begins: steep * by_begin / beyond * (off != 0),
                    n + 2: off != 0,
                    n + 3: steep * above * (off != 0),
                    own_restless + zone: off != 0,
                },
            )
    return np.stack(misses, axis=1), np.stack(slopes, axis=1), width


def _lift_off(x: Array, live: float) -> tuple[Array, Array]:
    """What the share that is lifted says (at rest: below the minimum; all of it: beyond; in between: near it), and where."""
    if live < 0.05:
        part = _LIFT_ERROR / _AT_REST[1]
        over = x > LIFT_FROM  # at rest it is surely not far beyond the minimum
        return part * (_AT_REST[0] - np.minimum(x, LIFT_FROM)) + np.minimum(LIFT_FROM - x, 0.0), np.where(
            over, 1.0, part
        )
    if live > 0.9:
        off = np.maximum(0.0, _LIFT_FULL - x)
        return off, (off != 0).astype(np.float64)
    return LIFT_FROM + live * (_LIFT_FULL - LIFT_FROM) - x, np.ones(len(x))


def _beyond(x: Array, begins: Array) -> tuple[Array, Array, Array]:
    """Air beyond where eruptions begin (`begins` past the minimum), in minima, rounded off near it; its slopes by both."""
    r = np.exp(np.clip(x, -3.0, 4.0))
    over = np.clip((r - 1.0 - begins) / _SOFT, -30.0, 60.0)
    soft = np.where(over > 30, over, np.log1p(np.exp(np.minimum(over, 30.0))))
    slope = 1.0 / (1.0 + np.exp(-over))
    return np.maximum(soft, 1e-6) * _SOFT, r * slope, -slope
