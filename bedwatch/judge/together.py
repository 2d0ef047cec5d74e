"""How much livelier all zones are than they were, told together: another light moves what every zone shows alike, air does not.

One sign does not tell a lamp from air. Several do in part, since each answers to a lamp otherwise than to air: restlessness,
which weighs change against contrast, goes with the lamp's height more than how far a dome reaches, a length. So the signs are
weighed as generalised least squares has it (Aitken 1935, Proc. R. Soc. Edinb. 55, 42), with errors that all zones share.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.apart import (
    ALIKE,
    LENGTH_SAYS,
    RESTLESS_SAYS,
    SAYS_SPREAD,
    SPEED_SAYS,
    Apart,
    Common,
    Livelier,
    Zone,
    apart,
    check_same,
    is_still,
)
from bedwatch.judge.setting import Measured, Setting

Array = NDArray[np.float64]

# Of the powder over the plate, where nothing is said of it: what the rules for hints are made for too. Below it a porous plate
# gives bubbles a start worth so much height (Darton et al. 1977, Trans. IChemE 55, 274).
DEPTH_MM, _PLATE_MM = 150.0, 30.0
# How far a bed that is filled up to its mark may lie off it, as a share of its depth.
_LEVEL_SPREAD = 0.05
_LEVEL_LEAST_MM = 3.0  # powder clings to the wall, and the surface heaves
_LEVEL_SHARE = 0.3  # of a level's effect, since the depth is hardly ever known


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sign:
    """says: change by that of the logarithm of what moves. domes: change by that of the logarithm of the domes' width, the air
    left as it is. lamp, scale, each: what another lamp and another place of the camera do to it in all zones alike, and both in
    each zone by itself; one standard deviation.
    """

    of: Callable[[Zone], Measured]
    ratio: bool
    says: float
    domes: float
    lamp: float
    scale: float
    each: float


# The width of domes goes with 0.4 of the logarithm of the air beyond the minimum, which near twice the minimum is 0.8 of that
# of the air (Darton): by that `length_mm` answers to 0.56 of the width, and in pictures of a make-believe bed at another level to
# 0.43. Light and shadow run over domes as fast as these rise, which goes with the root of their width (Davidson & Harrison 1963).
_WIDE = 0.5
_SIGNS = (
    _Sign(
        of=lambda one: one.speed_mm_s, ratio=True, says=SPEED_SAYS, domes=_WIDE / 2, lamp=0.01, scale=0.008, each=0.02
    ),
    _Sign(of=lambda one: one.restless, ratio=False, says=RESTLESS_SAYS, domes=0.0, lamp=0.16, scale=0.0, each=0.08),
    _Sign(of=lambda one: one.length_mm, ratio=True, says=LENGTH_SAYS, domes=_WIDE, lamp=0.006, scale=0.008, each=0.012),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """log: (n,) how much more of each zone moves, as a logarithm; NaN when it cannot be told or one of the looks saw it still.
    again, fixed: (n, n) covariances, as in `Livelier`; 0 where NaN.
    """

    log: Array
    again: Array
    fixed: Array

    def of(self, zone: int) -> Livelier:
        """One zone by itself."""
        return Livelier(
            log=float(self.log[zone]),
            again=_sd(self.again[zone, zone], self.log[zone]),
            fixed=_sd(self.fixed[zone, zone], self.log[zone]),
        )


def _sd(variance: float, beside: float) -> float:
    return math.sqrt(variance) if math.isfinite(beside) else math.nan


def _erupts(*looks: Zone) -> bool:
    """Whether it shows signs of eruptions in all looks; else what is seen to move is the powder itself."""
    return all(one.restless.value is not None for one in looks)


def deeper_by(
    then_mm: tuple[float, float | None] | None, now_mm: tuple[float, float | None] | None
) -> tuple[float, float]:
    """Share by which the powder is deeper now than then, and its standard error, from levels below the rim with their errors."""
    if then_mm is None or now_mm is None:
        return 0.0, _LEVEL_SPREAD
    deeper = min(max((then_mm[0] - now_mm[0]) / DEPTH_MM, -0.5), 0.5)
    error = math.hypot(then_mm[1] or 0.0, now_mm[1] or 0.0, _LEVEL_LEAST_MM) / DEPTH_MM
    return deeper, math.hypot(error, _LEVEL_SHARE * deeper)


def together(
    now: Sequence[Zone],
    then: Sequence[Zone],
    deeper: tuple[float, float] = (0.0, _LEVEL_SPREAD),
    *,
    looks: int = 1,
) -> Together:
    """Now against then, zones in the same order. deeper: as `deeper_by` gives it; the domes of a lower bed are smaller.

    looks: of how many such looks the mean will be taken, which decides how much a sign's chance counts beside what stays.
    """
    count = len(now)
    rows: list[tuple[int, int]] = []  # of each sign seen: its zone and its kind
    said, says, again, own = [], [], [], []
    height = DEPTH_MM / (DEPTH_MM + _PLATE_MM)
    wider = 0.8 * math.log1p(height * deeper[0])
    wider_error = 0.8 * height * deeper[1]
    for number, (one, other) in enumerate(zip(now, then, strict=True)):
        for kind, sign in enumerate(_SIGNS):
            seen = _change(sign, one, other)
            if seen is not None:
                value, scatter, before = seen
                rows.append((number, kind))
                says.append(sign.says if _erupts(one, other) else 1.0)
                said.append(value - sign.domes * wider)
                again.append(scatter)
                own.append(math.hypot(before, sign.each))
    log, spread, stays = np.full(count, math.nan), np.zeros((count, count)), np.zeros((count, count))
    if not rows:
        return Together(log=log, again=spread, fixed=stays)
    zones, kinds = np.array(rows).T
    answers = np.zeros((len(rows), count))
    answers[np.arange(len(rows)), zones] = says
    alike = np.array([(sign.lamp, sign.scale, sign.domes * wider_error) for sign in _SIGNS])[kinds]
    fixed = np.diag(np.square(own)) + alike @ alike.T
    chance = np.diag(np.square(again))
    known = np.unique(zones)
    some = answers[:, known]
    weighed = np.linalg.solve(fixed + chance / looks, some)
    weights = np.linalg.solve(some.T @ weighed, weighed.T)
    log[known] = weights @ np.array(said)
    at = np.ix_(known, known)
    spread[at] = weights @ chance @ weights.T
    stays[at] = weights @ fixed @ weights.T
    return Together(log=log, again=spread, fixed=stays)


def _change(sign: _Sign, now: Zone, then: Zone) -> tuple[float, float, float] | None:
    """Of one sign: its change, and how well the looks now and then repeat. None: it cannot be told, or a look saw it still."""
    if is_still(now.speed_mm_s) or is_still(then.speed_mm_s):
        return None
    if now.speed_mm_s.value is None or then.speed_mm_s.value is None:
        return None
    one, other = sign.of(now), sign.of(then)
    if one.value is None or other.value is None:
        return None
    if not sign.ratio:
        return one.value - other.value, one.repeat or 0.0, other.repeat or 0.0
    if one.value <= 0 or other.value <= 0:
        return None
    again, before = (each.relative if math.isfinite(each.relative) else ALIKE for each in (one, other))
    return math.log(one.value / other.value), again, before


def compared(now: Sequence[Zone], then: Sequence[Zone], deeper: tuple[float, float] = (0.0, _LEVEL_SPREAD)) -> Apart:
    """Two looks at one bed, from these alone. Raises ValueError when they are not of the same zones in the same order."""
    check_same(now, then)
    told = together(now, then, deeper)
    return apart(
        now, then, [told.of(number) for number in range(len(now))], common_of(told.log, told.again + told.fixed)
    )


def settings_compared(now: Setting, then: Setting) -> Apart:
    """Two settings of one bed, with what is known of their levels. Raises ValueError when they are not of the same zones."""
    return compared(now.zones, then.zones, deeper_by(level_of(then), level_of(now)))


def level_of(setting: Setting) -> tuple[float, float | None] | None:
    """The powder's level below the rim and its standard error."""
    around = setting.around
    return None if around.level_mm is None else (around.level_mm, around.level_error_mm)


def common_of(log: Array, cov: Array) -> Common:
    """What all zones are together. log: (n,), NaN where it is not known, cov: (n, n)."""
    known = np.flatnonzero(np.isfinite(log))
    if not len(known):
        return Common(log=math.nan, error=math.nan, alike=1.0)
    error = math.sqrt(float(cov[np.ix_(known, known)].sum())) / len(known)
    return Common(log=float(log[known].mean()), error=error, alike=chance_alike(log, cov))


def chance_alike(log: Array, cov: Array) -> float:
    """How likely it is that every zone is within ALIKE, errors taken as normal; by draws that are always the same ones.

    log: (n,), cov: (n, n) of how much livelier each zone is, as a logarithm. Where it is NaN nothing is asked.
    """
    known = np.flatnonzero(np.isfinite(log))
    log, cov = log[known], cov[np.ix_(known, known)] + np.diag((SAYS_SPREAD * log[known]) ** 2)
    values, vectors = np.linalg.eigh(cov)
    drawn = log + _draws(len(log)) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
    return float((np.abs(np.expm1(drawn)) <= ALIKE).all(axis=1).mean())


@lru_cache(maxsize=8)
def _draws(zones: int) -> Array:
    return np.random.default_rng(1).standard_normal((2000, zones))


__all__ = [
    "DEPTH_MM",
    "Together",
    "chance_alike",
    "common_of",
    "compared",
    "deeper_by",
    "level_of",
    "settings_compared",
    "together",
]
