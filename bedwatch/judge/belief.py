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

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.signs import LIFT_FROM, VIOLENT_FROM, Seen, misses

__all__ = ["VIOLENT_FROM", "Belief", "Seen", "first_belief"]

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
_RESTLESS_SLOPES, _RESTLESS_WITHIN, _RESTLESS_SHARES = (1.1, 2.4, 3.6), 0.22, (0.08, 0.4, 0.52)
_ASLEEP_GAIN = 2.0  # powder at rest resists the air in proportion to it, and gives way when it lifts
_CROSS = (
    0.45,
    0.3,
)  # share of what a zone loses that the others gain: 0 for a supply that holds its pressure, 1 its flow
_START = (math.log(2.2), 0.65, 0.5)  # air at the start: common spread, spread of each zone
# What one zone shows beside the others at the same air, however often it is looked at: wall, light, lens, powder depth.
_OWN_SPEED, _OWN_RESTLESS = 0.04, 0.12
_BEGINS = 0.04  # minima: eruptions begin so much before or after the powder just lifts, in all zones of a bed alike
_TOGETHER = 0.03  # error of one look that all its speeds share
_STEP_OWN, _STEP_OTHERS, _DRIFT = 0.12, 0.5, 0.03  # errors of one move, of each zone: shares of what it does; ln air
_SETTLED = 2e-3  # ln air, and whatever else is believed: steps that are smaller are none
_TRUST = 0.5  # looks at one bed share their errors, so that many of them are worth fewer
_WILD = (0.1, 1.0)  # chance that a turn does what nothing before it told, off a cliff of its valve; by how much, ln air
_SURPRISE = 3.0  # mean square of what a look is off, in its own error: more, and something else has changed


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """means (m, d), covs (m, d, d), weights (m,) of m kinds of surface; d: ln air of each of n zones, how the surface answers
    (4), crossing, what the last turn changed, where eruptions begin, what one look does to all speeds together, what each zone
    adds to the logarithm of its speed and to its restlessness. All else is read off the one normal distribution that is
    nearest. turn: what the last turn was meant to change, ln air, and its error, as long as no look has shown what it did; swing:
    (n,) which way it moves the zones."""

    zones: int
    means: Array
    covs: Array
    weights: Array
    turn: tuple[float, float] | None = None
    swing: Array | None = None

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

    def answer(self) -> tuple[float, float] | None:
        """What the looks since the last turn say it changed, ln air, and the error; None where they say nothing."""
        if self.turn is None:
            return None
        at = self.zones + 5
        (before, wide), after, narrow = self.turn, float(self.mean[at]), float(self.cov[at, at])
        told = 1 / narrow - 1 / wide**2
        if told <= 0.05 / wide**2:
            return None
        return (after / narrow - before / wide**2) / told, math.sqrt(1 / told)

    def moved(self, valve: int | None, change: float, error: float) -> Belief:
        """After a turn of a zone's valve, or of the supply (None), that was meant to change its ln air by so much +- error."""
        n, (kinds, size) = self.zones, self.means.shape
        at = n + 5
        own = np.ones(n, np.bool_) if valve is None else np.arange(n) == valve
        cross = np.clip(self.means[:, n + 4], 0.0, 1.0) / max(n - 1, 1)
        part = np.where(own, 1.0, -cross[:, None])
        part *= np.where(self.means[:, :n] < LIFT_FROM + 0.03, _ASLEEP_GAIN, 1.0)
        step = np.tile(np.eye(size), (kinds, 1, 1))
        step[:, at, at] = 0.0
        step[:, :n, n + 4] += np.where(own, 0.0, -change / max(n - 1, 1))
        noise = np.zeros((kinds, size))
        noise[:, :n] = (np.where(own, _STEP_OWN, _STEP_OTHERS) * part * change) ** 2 + _DRIFT**2
        hit = np.zeros((kinds, size))
        hit[:, :n], hit[:, at] = part * error, error
        covs = step @ self.covs @ np.swapaxes(step, 1, 2) + noise[:, :, None] * np.eye(size)
        means = self.means.copy()
        means[:, :n] += part * change
        means[:, at] = change
        swing = np.where(own, 1.0, -float(self.weights @ cross))
        covs = covs + hit[:, :, None] * hit[:, None, :]
        return _afresh(replace(self, means=means, covs=covs, turn=(change, error), swing=swing))

    def loosened(self, by: float, zone: int | None = None) -> Belief:
        """After something that may have changed the air of every zone, or of one, by so much."""
        covs = self.covs.copy()
        which = np.arange(self.zones) if zone is None else np.array([zone])
        covs[:, which, which] += by**2
        return _afresh(replace(self, covs=covs))

    def seen(self, look: Sequence[Seen]) -> Belief:
        """After a look. When it is far off what was expected, more than was told must have changed: the air is loosened first."""
        found, off = _settle(self, look)
        if off > _SURPRISE:
            found, _ = _settle(self.loosened(0.15 * math.sqrt(off)), look)
        return found

    def swung(self) -> Belief:
        """Had the last turn moved its zones by anything."""
        if self.swing is None:
            return self
        hit = np.zeros(self.means.shape[1])
        hit[: self.zones], hit[self.zones + 5] = _WILD[1] * self.swing, _WILD[1]
        return replace(self, covs=self.covs + np.outer(hit, hit))

    def draws(self, count: int = 600) -> Array:
        """(count, n) ln air, drawn from the belief; the same draws for the same belief."""
        rng = np.random.default_rng(7)
        n = self.zones
        kinds = np.searchsorted(np.cumsum(self.weights), (np.arange(count) + 0.5) / count * (1 - 1e-9))
        value, vector = np.linalg.eigh(self.covs[:, :n, :n])
        roots = vector * np.sqrt(np.maximum(value, 0.0))[:, None, :]
        free = rng.standard_normal((count, n))
        return np.asarray(self.means[kinds, :n] + np.einsum("kij,kj->ki", roots[kinds], free))


def _afresh(belief: Belief) -> Belief:
    """Before another look, whose error that all speeds share is another one."""
    at = belief.zones + 7
    means, covs = belief.means.copy(), belief.covs.copy()
    means[:, at] = covs[:, at, :] = covs[:, :, at] = 0.0
    covs[:, at, at] = _TOGETHER**2
    return replace(belief, means=means, covs=covs)


def first_belief(zones: int) -> Belief:
    """Before anything was seen."""
    size = 3 * zones + 8
    base, spread = np.zeros(size), np.ones(size)
    base[:zones], spread[:zones] = _START[0], _START[2]
    base[zones + 2], spread[zones + 2] = _RESTLESS_AT
    base[zones + 4], spread[zones + 4] = _CROSS
    spread[zones + 5 : zones + 8] = _SETTLED, _BEGINS, _TOGETHER
    spread[zones + 8 : 2 * zones + 8], spread[2 * zones + 8 :] = _OWN_SPEED, _OWN_RESTLESS
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
    return Belief(zones=zones, means=np.array(means), covs=covs, weights=np.array(weights) / sum(weights))


def _settle(prior: Belief, look: Sequence[Seen]) -> tuple[Belief, float]:
    """The belief after a look, and the mean square of what the look was off, in its own expected error."""
    if not any(seen.known for seen in look):
        return prior, 0.0
    means, covs, fit, off = _fit(prior, look)
    if prior.swing is not None:
        # Each kind of surface takes the better of both stories of the turn.
        wild = _fit(prior.swung(), look)
        told, sprung = fit + math.log1p(-_WILD[0]), wild[2] + math.log(_WILD[0])
        better = sprung > told
        means, covs = np.where(better[:, None], wild[0], means), np.where(better[:, None, None], wild[1], covs)
        off = np.where(better, wild[3], off)
        fit = np.logaddexp(told, sprung)
    weights = prior.weights * np.exp(_TRUST * (fit - fit.max()))
    weights = weights / weights.sum()
    keep = weights > 1e-4
    found = replace(prior, means=means[keep], covs=covs[keep], weights=weights[keep] / weights[keep].sum(), swing=None)
    return found, float(weights @ off)


def _fit(prior: Belief, look: Sequence[Seen]) -> tuple[Array, Array, Array, Array]:
    """Per kind of surface: means and covariances after a look, how well it was foretold, ln, and the mean square of what it was
    off."""
    start, covs = prior.means, prior.covs
    means, count = start.copy(), sum(seen.known for seen in look)
    off = np.zeros(len(start))
    going = np.arange(len(start))
    for turn in range(8):
        now, cov = means[going], covs[going]
        miss, slope, _ = misses(prior.zones, now, look)
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
    miss, slope, width = misses(prior.zones, means, look)
    across = slope @ covs
    inner = across @ np.swapaxes(slope, 1, 2) + np.eye(miss.shape[1])
    after = covs - np.swapaxes(across, 1, 2) @ np.linalg.solve(inner, across)
    # How well each kind foretold the look (Laplace's approximation about its best guess).
    pull = np.linalg.solve(covs + 1e-9 * np.eye(start.shape[1]), (means - start)[..., None])[..., 0]
    away = np.einsum("md,md->m", means - start, pull)
    fit = -0.5 * (np.einsum("mr,mr->m", miss, miss) + away + np.linalg.slogdet(inner)[1]) - width
    return means, (after + np.swapaxes(after, 1, 2)) / 2, fit, off
