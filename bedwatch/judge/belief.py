"""What is believed of every zone's air, and of how valves change it: learned from looks and moves, with its uncertainty.

Air is counted in times the minimum at which the powder just lifts, r, and kept as x = ln r, since what a valve does and how far
one can be off are both shares. How the surface answers to air differs between powders and cameras by more than one normal
distribution holds: a bank of them is carried along, one per kind of surface, each weighed by how well it foretold every look
(Alspach & Sorenson 1972, IEEE Trans. Autom. Control 17, 439-448). A look is taken in by a few Gauss-Newton steps (Bell & Cathey
1993, IEEE Trans. Autom. Control 38, 294-297).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# How the surface answers to air, as priors: mean and standard deviation. The speed of a bubbling surface grows as the air beyond
# the minimum to a power of 0.2 to 0.9, and what it is at twice the minimum differs between powders, lamps and cameras
# by a factor of five (fits to pictures of three renderers that share no code); within one bed it is steady to a few per cent.
_LIVELY = (math.log(55.0), 0.75)  # ln of the speed at twice the minimum, mm/s
_LIVELY_KINDS = tuple(math.log(55.0) + 0.45 * step for step in range(-4, 5))
_LIVELY_WITHIN = 0.23
_POWER_KINDS, _POWER_WITHIN = (0.3, 0.5, 0.75), 0.09
_RESTLESS_AT = (0.0, 0.45)  # restlessness at the air from which a bed counts as violent
# Per ln of the air beyond the minimum: kinds, spread of the logarithm within each, chance of each.
_RESTLESS_SLOPES, _RESTLESS_WITHIN, _RESTLESS_SHARES = (1.1, 2.2, 3.3), 0.22, (0.08, 0.3, 0.62)
_CALMEST, _WILDEST = -8.0, 3.0  # beyond, restlessness tells no more
VIOLENT_FROM = 3.3
# ln of air per full travel of a valve. Catalogue and installed curves differ (valve makers' pages agree on that much).
_GAIN = (math.log(1.4), 0.5)
_GAIN_EACH = 0.6
_SUPPLY_GAIN = (math.log(1.8), 0.75)
_THROTTLED = -0.7  # correlation of a gain with the air
_ASLEEP_GAIN = 1.5  # powder at rest resists the air in proportion to it, and gives way when it lifts
_CROSS = (
    0.45,
    0.3,
)  # share of what a zone loses that the others gain: 0 for a supply that holds its pressure, 1 its flow
_GLIDES = (
    0.5  # share of a zone: it glides without bubbles at any air that lifts it, so what little erupts tells nothing
)
_START = (math.log(2.2), 0.65, 0.42)  # air at the start: common spread, spread of each zone
# Errors of one look.
_SPEED_ERROR, _RESTLESS_ERROR, _RESTLESS_SHARE = 0.08, 0.32, 0.06
_LIFT_FROM, _LIFT_FULL, _LIFT_ERROR = math.log(1.03), math.log(1.2), 0.09
_BEGINS = 0.08  # minima: eruptions begin so much before or after the powder just lifts
_AT_REST = (math.log(0.75), 0.25)  # where a zone at rest may be
_SOFT = 0.06  # the speed's law is rounded off so far above the minimum
# Errors of one move: share of the step, and what backlash and reading a scale leave open, in travel.
_STEP_SHARE, _STEP_OWN, _STEP_TRAVEL, _DRIFT = 0.5, 0.12, 0.02, 0.03
_GAIN_DRIFT = 0.12  # a valve's gain is another one elsewhere on its travel
_SETTLED = 2e-3  # ln air, and whatever else is believed: steps that are smaller are none
_TRUST = 0.5  # looks at one bed share their errors, so that many of them are worth fewer
_SURPRISE = 3.0  # mean square of what a look is off, in its own error: more, and something else has changed


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """means (m, d), covs (m, d, d), weights (m,) of m kinds of surface; d: ln air of each of n zones, how the surface answers
    (4), crossing, ln gain of each valve, of the supply. All else is read off the one normal distribution that is nearest."""

    zones: int
    means: Array
    covs: Array
    weights: Array

    @property
    def mean(self) -> Array:
        """(d,)"""
        return np.asarray(self.weights @ self.means)

    @property
    def cov(self) -> Array:
        """(d, d)"""
        off = self.means - self.mean
        return np.asarray(
            np.einsum("m,mij->ij", self.weights, self.covs) + np.einsum("m,mi,mj->ij", self.weights, off, off)
        )

    @property
    def air(self) -> Array:
        """(n,) ln of the air of each zone over the minimum."""
        return self.mean[: self.zones]

    @property
    def spread(self) -> Array:
        """(n,) standard errors of `air`."""
        return np.sqrt(np.diag(self.cov)[: self.zones])

    @property
    def cross(self) -> float:
        """Share of what one zone loses that the others gain together, 0 to 1."""
        return float(np.clip(self.mean[self.zones + 4], 0.0, 1.0))

    def gain(self, valve: int | None) -> float:
        """Change of ln air per full travel of a zone's valve, or of the supply (None)."""
        return math.exp(float(self.mean[self._gain(valve)]))

    def gain_spread(self, valve: int | None) -> float:
        """Standard error of its logarithm."""
        at = self._gain(valve)
        return math.sqrt(float(self.cov[at, at]))

    def _gain(self, valve: int | None) -> int:
        return self.zones + 5 + (self.zones if valve is None else valve)

    def moved(self, valve: int | None, travel: float, error: float) -> Belief:
        """After a valve was opened by `travel` (less than 0: closed), known to +- error; None: the supply."""
        n, (kinds, size) = self.zones, self.means.shape
        at = self._gain(valve)
        gain = np.exp(self.means[:, at])
        change = travel * gain
        own = np.ones(n, np.bool_) if valve is None else np.arange(n) == valve
        cross = np.clip(self.means[:, n + 4], 0.0, 1.0) / max(n - 1, 1)
        shift = np.where(own, change[:, None], -(cross * change)[:, None])
        shift *= np.where(self.means[:, :n] < _LIFT_FROM + 0.03, _ASLEEP_GAIN, 1.0)
        step = np.tile(np.eye(size), (kinds, 1, 1))
        step[:, :n, at] += shift
        step[:, :n, n + 4] += np.where(own, 0.0, -change[:, None] / max(n - 1, 1))
        noise = np.zeros((kinds, size))
        share = np.where(own, _STEP_OWN, 0.5)
        noise[:, :n] = (share * shift) ** 2 + _DRIFT**2
        noise[:, at] = _GAIN_DRIFT**2
        hit = np.zeros((kinds, size))
        off = np.hypot(math.hypot(error, _STEP_TRAVEL) * gain, _STEP_SHARE * change)
        hit[:, :n] = np.where(own, off[:, None], 0.0)
        covs = step @ self.covs @ np.swapaxes(step, 1, 2) + noise[:, :, None] * np.eye(size)
        means = self.means.copy()
        means[:, :n] += shift
        return replace(self, means=means, covs=covs + hit[:, :, None] * hit[:, None, :])

    def loosened(self, by: float) -> Belief:
        """After something that may have changed the air of every zone by so much."""
        covs = self.covs.copy()
        covs[:, : self.zones, : self.zones] += np.eye(self.zones) * by**2
        return replace(self, covs=covs)

    def seen(self, look: Sequence[Seen]) -> Belief:
        """After a look. When it is far off what was expected, more than was told must have changed: the air is loosened first."""
        found, off = _settle(self, look)
        if off > _SURPRISE:
            found, _ = _settle(self.loosened(0.15 * math.sqrt(off)), look)
        return found

    def draws(self, count: int = 600) -> Array:
        """(count, n) ln air, drawn from the belief; the same draws for the same belief."""
        rng = np.random.default_rng(7)
        n = self.zones
        kinds = np.searchsorted(np.cumsum(self.weights), (np.arange(count) + 0.5) / count * (1 - 1e-9))
        value, vector = np.linalg.eigh(self.covs[:, :n, :n])
        roots = vector * np.sqrt(np.maximum(value, 0.0))[:, None, :]
        free = rng.standard_normal((count, n))
        return np.asarray(self.means[kinds, :n] + np.einsum("kij,kj->ki", roots[kinds], free))


def first_belief(zones: int) -> Belief:
    """Before anything was seen."""
    size = 2 * zones + 6
    base, spread = np.zeros(size), np.ones(size)
    base[:zones], spread[:zones] = _START[0], _START[2]
    base[zones + 2], spread[zones + 2] = _RESTLESS_AT
    base[zones + 4], spread[zones + 4] = _CROSS
    base[zones + 5 :], spread[zones + 5 :] = _GAIN[0], _GAIN_EACH
    base[-1], spread[-1] = _SUPPLY_GAIN
    means, spreads, weights = [], [], []
    for lively in _LIVELY_KINDS:
        for power in _POWER_KINDS:
            for slope, share in zip(_RESTLESS_SLOPES, _RESTLESS_SHARES, strict=True):
                mean, error = base.copy(), spread.copy()
                mean[zones], error[zones] = lively, _LIVELY_WITHIN
                mean[zones + 1], error[zones + 1] = power, _POWER_WITHIN
                mean[zones + 3], error[zones + 3] = math.log(slope), _RESTLESS_WITHIN
                means.append(mean)
                spreads.append(error)
                weights.append(share * math.exp(-0.5 * ((lively - _LIVELY[0]) / _LIVELY[1]) ** 2))
    covs = np.stack([np.diag(error**2) for error in spreads])
    covs[:, :zones, :zones] += _START[1] ** 2
    gains = slice(zones + 5, 2 * zones + 5)
    covs[:, gains, gains] += _GAIN[1] ** 2  # the valves of one bed are much alike
    # Who gets little is throttled more, and there a valve does more: the same turn is a larger share of what it lets through.
    each = np.arange(zones)
    for one, other in ((each, zones + 5 + each), (zones + 5 + each, each)):
        covs[:, one, other] += _THROTTLED * _START[2] * _GAIN_EACH
    covs[:, :zones, -1] += _THROTTLED * _START[1] * _SUPPLY_GAIN[1]
    covs[:, -1, :zones] += _THROTTLED * _START[1] * _SUPPLY_GAIN[1]
    return Belief(zones=zones, means=np.array(means), covs=covs, weights=np.array(weights) / sum(weights))


def _settle(prior: Belief, look: Sequence[Seen]) -> tuple[Belief, float]:
    """The belief after a look, and the mean square of what the look was off, in its own expected error."""
    start, covs = prior.means, prior.covs
    size = start.shape[1]
    means, count = start.copy(), sum(seen.known for seen in look)
    if not count:
        return prior, 0.0
    off = np.zeros(len(start))
    going = np.arange(len(start))
    for turn in range(8):
        now, cov = means[going], covs[going]
        miss, slope, _ = _misses(prior.zones, now, look)
        # Gauss-Newton about the present guess; errors are 1 by construction.
        shift = miss + (slope @ (now - start[going])[..., None])[..., 0]
        inner = slope @ cov @ np.swapaxes(slope, 1, 2) + np.eye(miss.shape[1])
        pull = np.linalg.solve(inner, shift[..., None])
        if turn == 0:
            off = np.asarray(np.einsum("mr,mr->m", shift, pull[..., 0]) / max(count, 1))
        aim = start[going] + (cov @ (np.swapaxes(slope, 1, 2) @ pull))[..., 0]
        step = np.clip(aim - now, -0.6, 0.6)
        means[going] = now + step
        going = going[np.abs(step).max(axis=1) > _SETTLED]
        if not len(going):
            break
    miss, slope, width = _misses(prior.zones, means, look)
    inner = slope @ covs @ np.swapaxes(slope, 1, 2) + np.eye(miss.shape[1])
    gain = np.swapaxes(np.linalg.solve(inner, slope @ covs), 1, 2)
    after = covs - gain @ slope @ covs
    # How well each kind foretold the look (Laplace's approximation about its best guess).
    apart = means - start
    away = np.einsum("mi,mi->m", apart, np.linalg.solve(covs + 1e-9 * np.eye(size), apart[..., None])[..., 0])
    fit = -0.5 * (np.einsum("mr,mr->m", miss, miss) + away + np.linalg.slogdet(inner)[1]) - width
    weights = prior.weights * np.exp(_TRUST * (fit - fit.max()))
    weights = weights / weights.sum()
    surprise = float(weights @ off)
    keep = weights > 1e-4
    found = Belief(
        zones=prior.zones,
        means=means[keep],
        covs=(after[keep] + np.swapaxes(after[keep], 1, 2)) / 2,
        weights=weights[keep] / weights[keep].sum(),
    )
    return found, surprise


def _misses(n: int, means: Array, look: Sequence[Seen]) -> tuple[Array, Array, Array]:
    """What each sign is off from what is expected, in units of its error (m, rows), its slopes by the state (m, rows, d), and the
    sum of the logarithms of the errors (m,)."""
    kinds = len(means)
    lively, power, restless_at = (means[:, n + at] for at in range(3))
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
            beyond, by_x = _beyond(x)
            off = math.log(seen.speed_mm_s) - lively - power * np.log(beyond)
            error = np.hypot(_SPEED_ERROR, power * _BEGINS / beyond)
            add(off, error, {zone: power * by_x / beyond, n: 1.0, n + 1: np.log(beyond)})
        if seen.restless is not None and (seen.glides or 0.0) <= _GLIDES:
            beyond, by_x = _beyond(x)
            above = np.log(beyond / (VIOLENT_FROM - 1.0))
            restless = min(max(seen.restless, _CALMEST), _WILDEST)
            error = np.hypot(math.hypot(_RESTLESS_ERROR, _RESTLESS_SHARE * restless), steep * _BEGINS / beyond)
            off = restless - restless_at - steep * above
            if seen.restless <= _CALMEST:
                off = np.minimum(off, 0.0)  # no livelier than that, and perhaps far calmer
            add(
                off,
                error,
                {zone: steep * by_x / beyond * (off != 0), n + 2: off != 0, n + 3: steep * above * (off != 0)},
            )
    return np.stack(misses, axis=1), np.stack(slopes, axis=1), width


def _lift_off(x: Array, live: float) -> tuple[Array, Array]:
    """What the share that is lifted says (at rest: below the minimum; all of it: beyond; in between: near it), and where."""
    if live < 0.05:
        part = _LIFT_ERROR / _AT_REST[1]
        over = x > _LIFT_FROM  # at rest it is surely not far beyond the minimum
        return part * (_AT_REST[0] - np.minimum(x, _LIFT_FROM)) + np.minimum(_LIFT_FROM - x, 0.0), np.where(
            over, 1.0, part
        )
    if live > 0.9:
        off = np.maximum(0.0, _LIFT_FULL - x)
        return off, (off != 0).astype(np.float64)
    return _LIFT_FROM + live * (_LIFT_FULL - _LIFT_FROM) - x, np.ones(len(x))


def _beyond(x: Array) -> tuple[Array, Array]:
    """Air beyond the minimum, in minima, rounded off near it, and its slope by ln r."""
    r = np.exp(np.clip(x, -3.0, 4.0))
    over = np.clip((r - 1.0) / _SOFT, -30.0, 60.0)
    soft = np.where(over > 30, over, np.log1p(np.exp(np.minimum(over, 30.0))))
    return np.maximum(soft, 1e-6) * _SOFT, r / (1.0 + np.exp(-over))
