"""How lines may hang together: all that may be wrong with them, how likely it is beforehand, and the likeliest of it together.

A fault is a few valves with other roles than that each feeds its own zone. Faults of different valves go together; what the
answers say of one valve so tells about the others too: a valve that moves two zones beside one that moves none is a joined line.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations, permutations

import numpy as np
from scipy.optimize import linear_sum_assignment

from bedwatch.judge.findings import LineFault
from bedwatch.judge.whose import NOTHING, Evidence, Role

# How often, before anything was seen: per valve that it is in such a fault. Hoses are mixed up more often than forgotten.
_DEAD, _SWAPPED, _TURNED, _STRAY = 0.04, 0.10, 0.03, 0.01
_JOINED, _LEAKING, _SUPPLY, _CROSSED = 0.03, 0.06, 0.01, 0.003
# A zone that lies still while others live, with a line that is dead against one that is not.
_STILL_DEAD, _STILL_FED = 0.95, 0.08
# Two zones that share their air, of which only one lies still; and two that do since a line for one is not enough for both.
_ONE_STILL = 0.1
_BOTH_STILL = 0.3 / _STILL_FED**2
_MOST_TURNED = 12  # valves up to which three lines that were turned round are looked for


@dataclass(frozen=True, slots=True)
class Fault:
    """Valves by number, and the role of each. zones: those it is about. log: of its chance beforehand, against none."""

    kind: LineFault
    valves: tuple[int, ...]
    roles: tuple[Role, ...]
    zones: tuple[int, ...]
    log: float

    @property
    def told(self) -> tuple[LineFault, frozenset[int], frozenset[int]]:
        """What is said of it, which two faults may have in common."""
        return self.kind, frozenset(self.valves), frozenset(self.zones)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """own: zone of every valve, by its mark or else by what it answered; None: there is none for it. faults: the likeliest.
    chances: of every valve, that what is told of it is true."""

    own: tuple[int | None, ...]
    faults: tuple[Fault, ...]
    chances: tuple[float, ...]

    def role(self, valve: int) -> Role:
        for fault in self.faults:
            if valve in fault.valves:
                return fault.roles[fault.valves.index(valve)]
        zone = self.own[valve]
        return NOTHING if zone is None else Role((zone,))


def solve(
    evidence: Sequence[Evidence],
    zones: int,
    marks: Sequence[int | None],
    touching: Collection[tuple[int, int]],
    still: Collection[int],
) -> Solved:
    """evidence: one per valve, empty where it was not moved. marks: zone that each is marked for, None where its mark tells
    nothing. still: zones that lay still in the first look."""
    own = _own(evidence, zones, marks)
    return _Together(evidence, own, _faults(own, marks, zones, touching, still)).solved()


def _own(evidence: Sequence[Evidence], zones: int, marks: Sequence[int | None]) -> tuple[int | None, ...]:
    """Valves without a mark get the zones that are left, so that their answers fit best together (Kuhn 1955)."""
    own = list(marks)
    left = [zone for zone in range(zones) if zone not in own]
    free = [valve for valve, zone in enumerate(own) if zone is None]
    if not left or not free:
        return tuple(own)
    gain = np.array(
        [[evidence[valve].log(Role((zone,))) - evidence[valve].log(NOTHING) for zone in left] for valve in free]
    )
    for row, column in zip(*linear_sum_assignment(gain, maximize=True), strict=True):
        own[free[row]] = left[column]
    return tuple(own)


def _faults(
    own: Sequence[int | None],
    marks: Sequence[int | None],
    zones: int,
    touching: Collection[tuple[int, int]],
    still: Collection[int],
) -> list[Fault]:
    found: list[Fault] = []
    per = 1 / max(zones - 1, 1)
    owned = [(valve, zone) for valve, zone in enumerate(own) if zone is not None]
    for valve, zone in enumerate(own):
        every = tuple(sorted(range(zones), key=partial(_mine_first, zone)))
        if zones > 2:
            found.append(Fault(LineFault.AS_SUPPLY, (valve,), (Role(every),), every, math.log(_SUPPLY)))
        for other in range(zones):
            if other != zone:
                stray = math.log(_STRAY * per) if zone is not None else math.log(per)
                found.append(Fault(LineFault.SWAPPED, (valve,), (Role((other,)),), (other,), stray))
    for valve, zone in owned:
        odds = _STILL_DEAD / _STILL_FED if zone in still else (1 - _STILL_DEAD) / (1 - _STILL_FED)
        # A still zone that nothing moves is dead as it is; one that lives though its line is dead has another one.
        dead = _DEAD * odds if marks[valve] is not None or zone in still else _DEAD
        found.append(Fault(LineFault.DEAD, (valve,), (NOTHING,), (zone,), math.log(dead)))
    for (a, one), (b, other) in permutations(owned, 2):
        both = tuple(sorted((one, other)))
        lying = len({one, other} & set(still))
        log = math.log(_JOINED * per * (1.0, _ONE_STILL, _BOTH_STILL)[lying])
        found.append(Fault(LineFault.JOINED, (a, b), (Role((one, other)), NOTHING), both, log))
    for (a, one), (b, other) in combinations(owned, 2):
        both = tuple(sorted((one, other)))
        swapped = math.log(_SWAPPED * per) if marks[a] is not None or marks[b] is not None else 0.0
        found.append(Fault(LineFault.SWAPPED, (a, b), (Role((other,)), Role((one,))), (other, one), swapped))
        beside = both in touching
        leak = (Role((one, other), leak=True), Role((other, one), leak=True))
        kind = LineFault.LEAKING if beside else LineFault.JOINED
        shared = _ONE_STILL if len({one, other} & set(still)) == 1 else 1.0
        found.append(Fault(kind, (a, b), leak, both, math.log((_LEAKING if beside else _CROSSED) * per * shared)))
    if len(owned) <= _MOST_TURNED:
        for (a, one), (b, other), (c, third) in combinations(owned, 3):
            log = math.log(_TURNED * per**2)
            found.append(
                Fault(
                    LineFault.SWAPPED,
                    (a, b, c),
                    (Role((other,)), Role((third,)), Role((one,))),
                    (other, third, one),
                    log,
                )
            )
            found.append(
                Fault(
                    LineFault.SWAPPED,
                    (a, c, b),
                    (Role((third,)), Role((other,)), Role((one,))),
                    (third, other, one),
                    log,
                )
            )
    return found


def _mine_first(mine: int | None, zone: int) -> tuple[bool, int]:
    return zone != mine, zone


@dataclass(slots=True)
class _Together:
    """The search for the faults that explain all answers best. gains: of every fault, log odds against none.
    alone: of every valve, the most that a fault of it alone gains."""

    evidence: Sequence[Evidence]
    own: tuple[int | None, ...]
    faults: list[Fault]
    gains: list[float] = field(init=False)
    alone: dict[int, float] = field(init=False)

    def __post_init__(self) -> None:
        base = [
            one.log(NOTHING if zone is None else Role((zone,)))
            for one, zone in zip(self.evidence, self.own, strict=True)
        ]
        self.gains = [
            fault.log
            + sum(self.evidence[v].log(role) - base[v] for v, role in zip(fault.valves, fault.roles, strict=True))
            for fault in self.faults
        ]
        self.alone = dict.fromkeys(range(len(self.evidence)), 0.0)
        for fault, gain in zip(self.faults, self.gains, strict=True):
            if len(fault.valves) == 1:
                self.alone[fault.valves[0]] = max(self.alone[fault.valves[0]], gain)

    def solved(self) -> Solved:
        chosen = self._best()
        return Solved(
            own=self.own,
            faults=tuple(self.faults[one] for one in sorted(chosen, key=lambda one: self.faults[one].valves)),
            chances=tuple(self._chance(valve, chosen) for valve in range(len(self.evidence))),
        )

    def _best(self) -> set[int]:
        """Each fault in turn takes the place of those it does not go with, as long as that makes all likelier."""
        chosen: set[int] = set()
        order = sorted(
            (one for one in range(len(self.faults)) if self.gains[one] > 0), key=lambda one: -self.gains[one]
        )
        better = True
        while better:
            better = False
            for one in order:
                if (
                    one not in chosen
                    and self.gains[one] > sum(self.gains[other] for other in self._against(one, chosen)) + 1e-9
                ):
                    chosen = (chosen - self._against(one, chosen)) | {one}
                    better = True
        return chosen

    def _against(self, one: int, chosen: Collection[int]) -> set[int]:
        mine = set(self.faults[one].valves)
        return {other for other in chosen if mine & set(self.faults[other].valves)}

    def _chance(self, valve: int, chosen: set[int]) -> float:
        """Of what is told of a valve by what is chosen, against everything else that might be."""
        mine = {one for one in chosen if valve in self.faults[one].valves}
        roles = [self._role(one, valve) for one in mine]
        told = [self.faults[one].told for one in mine]
        odds = 0.0
        if mine:
            odds += math.exp(min(self._filled(mine, (valve,)) - sum(self.gains[one] for one in mine), 50.0))
        for one, fault in enumerate(self.faults):
            if (
                valve in fault.valves
                and one not in chosen
                and self._role(one, valve) not in roles
                and fault.told not in told
            ):
                gone = self._against(one, chosen)
                gain = self.gains[one] + self._filled(gone, fault.valves) - sum(self.gains[other] for other in gone)
                odds += math.exp(min(gain, 50.0))
        return 1 / (1 + odds)

    def _role(self, one: int, valve: int) -> Role:
        fault = self.faults[one]
        return fault.roles[fault.valves.index(valve)]

    def _filled(self, gone: Collection[int], taken: Collection[int]) -> float:
        """What valves of faults that are given up gain by faults of their own."""
        freed = {valve for one in gone for valve in self.faults[one].valves} - set(taken)
        return sum(self.alone[valve] for valve in freed)


__all__ = ["Fault", "Solved", "solve"]
