"""What one valve may feed, by what the zones answered to it: how well each role foretells that.

In a role some zones are held to follow the valve; the others share what the supply makes of it (it loses what the moved zones
gain) and their own wandering. How strongly the valve works is not known and averaged over, at every place it was moved to, since
valves are not straight. Roles are compared by their likelihoods (Bayes); `lines` says how likely they are beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.answers import Answer

Array = NDArray[np.float64]

# ln air per full travel of a valve, as `belief` takes it; some valves stand on a flat part of theirs.
_GAIN, _GAIN_SPREAD = 1.2, 0.75
_FLAT, _FLAT_GAIN, _FLAT_SPREAD = 0.2, 0.25, 1.1
# One that is shut takes nearly all of its zone's air, which shows as a surface that falls still, or nearly.
_SHUT, _SHUT_SPREAD, _HALF_SHUT = 1.0, 0.7, 0.03
_SHUT_LEAK, _SHUT_LEAK_SPREAD = 0.4, 0.9  # its zone is fed from the next chamber then
_STRENGTHS = np.geomspace(0.003, 4.0, 56)
_AS_MARKED = 0.95
_ALONG = 0.3  # how unlike zones on one line answer, as a share
_BLEEDS = 0.1  # what of a zone's answer its neighbours show, since air crosses in the powder
_LEAKS = (0.35, 0.5, 0.65, 0.8, 0.95, 1.1)  # what of it a zone gets through a leak between chambers
_LOST = 0.12  # what the others lose by it all together, over the zones moved: a supply that gives way; and how far that goes
_LOST_SPREAD = 0.2
# A zone that lies still goes on to with exp(-this * travel) though its valve is opened so far; and one that shares its line.
_STAYS, _STAYS_SHARED = 5.5, 1.5


@dataclass(frozen=True, slots=True)
class Role:
    """What a valve feeds: zones by number, the main one first; none, one, two, or all. leak: the second gets a share of the first
    one's air, underneath."""

    zones: tuple[int, ...]
    leak: bool = False


NOTHING = Role(())


class Evidence:
    """All answers of one valve, none at first."""

    def __init__(self, answers: Sequence[Answer]) -> None:
        self.answers = tuple(answers)
        self._logs: dict[tuple[Role, int], float] = {}

    def travel(self, opened: bool) -> float:
        """The most it was opened by its marks, or closed; 1 as far as it goes."""
        return max((1.0 if one.end else one.travel for one in self.answers if one.opened is opened), default=0.0)

    def log(self, role: Role) -> float:
        """Logarithm of the likelihood of all answers in this role, whichever way it turns."""
        return _sum_of_logs([math.log(chance) + self._log(role, sign) for sign, chance in _WAYS])

    def opens(self, role: Role) -> float:
        """How likely it is that it turns as marked, in this role."""
        return math.exp(math.log(_AS_MARKED) + self._log(role, 1) - self.log(role))

    def _log(self, role: Role, sign: int) -> float:
        if not role.zones:
            sign = 1
        if (role, sign) not in self._logs:
            self._logs[role, sign] = sum(_log_likely(answer, role, sign) for answer in self.answers)
        return self._logs[role, sign]


_WAYS = ((1, _AS_MARKED), (-1, 1 - _AS_MARKED))


def _sum_of_logs(logs: Iterable[float]) -> float:
    some = list(logs)
    top = max(some)
    return top + math.log(sum(math.exp(log - top) for log in some))


def _log_likely(answer: Answer, role: Role, sign: int) -> float:
    """Logarithm of the likelihood of an answer; a leak of whatever share."""
    if not role.leak:
        return _log_of(answer, role.zones, None, sign) + _log_asleep(answer, role, sign)
    logs = [_log_of(answer, role.zones, share, sign) for share in _LEAKS]
    return _sum_of_logs(logs) - math.log(len(_LEAKS)) + _log_asleep(answer, role, sign)


def _log_asleep(answer: Answer, role: Role, sign: int) -> float:
    """Of zones it should have woken."""
    if (sign > 0) is not answer.opened:
        return 0.0
    asleep = any(answer.asleep[zone] for zone in role.zones)
    stays = _STAYS if len(role.zones) < 2 else _STAYS_SHARED
    return -stays * (1.0 if answer.end else answer.travel) * asleep


def _log_of(answer: Answer, zones: tuple[int, ...], leak: float | None, sign: int) -> float:
    """leak: what the second zone gets of the first one's answer underneath; None for zones on one line."""
    known = np.flatnonzero(np.isfinite(answer.change))
    if not len(known):
        return 0.0
    change, error = answer.change[known], answer.error[known]
    share = np.zeros(len(answer.change))
    share[list(zones)] = 1.0
    if leak is not None:
        share[zones[1]] = leak
    share = share[known]
    n, moved = len(known), float(share.sum())
    g = _STRENGTHS if moved else np.zeros(1)
    weight = _strength_chance(answer, sign, leak is not None) if moved else np.ones(1)
    others = share == 0
    lost = _LOST * g * moved / max(int(others.sum()), 1)
    mean = sign * (g[:, None] * share - lost[:, None] * others)
    along = _ALONG if leak is None else _BLEEDS
    unlike = others * _BLEEDS**2 + ~others * (len(zones) > 1) * along**2
    own = error**2 + g[:, None] ** 2 * unlike
    common = answer.common**2 + (_LOST_SPREAD * g * moved / n) ** 2 * bool(others.any())
    off = change - mean
    # of a diagonal and a common part (Sherman & Morrison 1950)
    inverse = off / own
    inner = 1 + common * (1 / own).sum(axis=1)
    square = (off * inverse).sum(axis=1) - common * inverse.sum(axis=1) ** 2 / inner
    logs = np.log(weight) - 0.5 * (square + np.log(own).sum(axis=1) + np.log(inner))
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).sum()))


def _strength_chance(answer: Answer, sign: int, leaks: bool) -> Array:
    """Of each of the strengths that are tried, for this turn."""
    x = np.log(_STRENGTHS)

    def bump(middle: float, spread: float) -> Array:
        one = np.exp(-0.5 * ((x - math.log(middle)) / spread) ** 2)
        return np.asarray(one / one.sum())

    travel = max(answer.travel, 0.01)
    usual = (1 - _FLAT) * bump(_GAIN * travel, _GAIN_SPREAD) + _FLAT * bump(_FLAT_GAIN * travel, _FLAT_SPREAD)
    if answer.end and (sign > 0) is not answer.opened:
        shut = bump(_SHUT_LEAK, _SHUT_LEAK_SPREAD) if leaks else bump(_SHUT, _SHUT_SPREAD)
        return np.asarray((1 - _HALF_SHUT) * shut + _HALF_SHUT * usual)
    return np.asarray(usual)


__all__ = ["NOTHING", "Evidence", "Role"]
