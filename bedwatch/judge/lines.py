"""How valves and zones hang together, from what every valve feeds: lines that are swapped, dead, joined or reversed, and zones
that no valve sets apart, since air passes underneath."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from bedwatch.judge.whose import Owner

LEAKS_FROM = 0.5  # of a zone's answer that the next one gets: more, and they are hardly set apart
_FEW_ZONES = 3  # fewer that all move alike are a pair, not the supply


class LineFault(StrEnum):
    SWAPPED = "swapped"
    DEAD = "dead"
    JOINED = "joined"
    LEAKING = "leaking"
    REVERSED = "reversed"
    AS_SUPPLY = "as_supply"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that is not as it should be. valves: labels; zones: numbers from 0, of a dead line the zone it should feed,
    if that is known. sure: chance of it."""

    kind: LineFault
    valves: tuple[str, ...]
    zones: tuple[int, ...]
    sure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """feeds: zone of every valve of which that is known. reversed: labels of valves that turn the other way.
    without: zones that none of the valves tried feeds, where all of them are known."""

    feeds: dict[str, int]
    reversed: tuple[str, ...]
    findings: tuple[Finding, ...]
    without: tuple[int, ...]

    @property
    def healthy(self) -> bool:
        return not self.findings


def lines_of(
    owners: Sequence[Owner], zones: int, marked: Mapping[str, int], touching: Collection[tuple[int, int]]
) -> Lines:
    """How it all hangs together. zones: how many. marked: the zone a valve's mark says it feeds, where it says so.
    touching: pairs of zones that touch, the lower number first."""
    findings: list[Finding] = []
    spoken: set[str] = set()  # valves that are part of a finding about several zones
    findings += _supplies(owners, spoken)
    findings += _several(owners, touching, spoken)
    feeds = {one.valve: one.zones[0] for one in owners if one.valve not in spoken and len(one.zones) == 1}
    _by_leave(owners, marked, spoken, feeds)
    findings += _joined_alone(owners, marked, feeds, spoken)
    findings += _swapped(owners, feeds, marked)
    free = [zone for zone in range(zones) if zone not in feeds.values() and not _taken(zone, findings)]
    findings += _dead(owners, marked, free, spoken)
    findings += [
        Finding(kind=LineFault.REVERSED, valves=(one.valve,), zones=one.zones, sure=one.sure)
        for one in owners
        if one.opens < 0
    ]
    unsure = [one for one in owners if not one.known]
    findings += [Finding(kind=LineFault.UNSURE, valves=(one.valve,), zones=one.likely, sure=one.sure) for one in unsure]
    return Lines(
        feeds=feeds,
        reversed=tuple(one.valve for one in owners if one.opens < 0),
        findings=tuple(findings),
        without=() if unsure else tuple(free),
    )


def _taken(zone: int, findings: Sequence[Finding]) -> bool:
    """Whether a zone is fed, though not by a valve of its own."""
    return any(zone in one.zones for one in findings if one.kind in (LineFault.JOINED, LineFault.LEAKING))


def _supplies(owners: Sequence[Owner], spoken: set[str]) -> list[Finding]:
    found = []
    for one in owners:
        if one.all and len(one.zones) >= _FEW_ZONES:
            spoken.add(one.valve)
            found.append(Finding(kind=LineFault.AS_SUPPLY, valves=(one.valve,), zones=one.zones, sure=one.sure))
    if len(found) < 2:
        return found
    # Not all of them can be the supply.
    valves = tuple(label for one in found for label in one.valves)
    return [
        Finding(
            kind=LineFault.LEAKING, valves=valves, zones=tuple(sorted(found[0].zones)), sure=min(f.sure for f in found)
        )
    ]


def _several(owners: Sequence[Owner], touching: Collection[tuple[int, int]], spoken: set[str]) -> list[Finding]:
    """Valves that each move the same zones: air passes between them, underneath where they touch, in the lines where not."""
    found: list[Finding] = []
    for one in owners:
        if one.valve in spoken or len(one.zones) < 2:
            continue
        group = [
            one,
            *(other for other in owners if other is not one and _shares(one, other) and other.valve not in spoken),
        ]
        if len(group) < 2:
            continue
        zones = sorted({zone for member in group for zone in member.zones})
        beside = any((a, b) in touching for a in zones for b in zones)
        spoken |= {member.valve for member in group}
        found.append(
            Finding(
                kind=LineFault.LEAKING if beside else LineFault.JOINED,
                valves=tuple(member.valve for member in group),
                zones=tuple(zones),
                sure=min(member.sure for member in group),
            )
        )
    return found


def _shares(one: Owner, other: Owner) -> bool:
    """Whether two valves move the same two zones."""
    if len(set(one.zones) & set(other.zones)) >= 2:
        return True
    # The other one's second zone is not sure, but it gets about half of it or more.
    if len(other.zones) != 1 or other.zones[0] not in one.zones:
        return False
    rest = [zone for zone in one.zones if zone != other.zones[0]]
    return any(float(other.bleeds[zone]) > LEAKS_FROM for zone in rest)


def _by_leave(owners: Sequence[Owner], marked: Mapping[str, int], spoken: set[str], feeds: dict[str, int]) -> None:
    """Of valves that each move the same zones, the one that feeds each: what its mark says, else what answers most."""
    for one in owners:
        if one.valve not in spoken or one.all or len(one.zones) < 1:
            continue
        mine = marked.get(one.valve, one.zones[0])
        if mine in one.zones and mine not in feeds.values():
            feeds[one.valve] = mine


def _joined_alone(
    owners: Sequence[Owner], marked: Mapping[str, int], feeds: Mapping[str, int], spoken: set[str]
) -> list[Finding]:
    """One valve that moves several zones which no other one moves."""
    found = []
    for one in owners:
        if one.valve in spoken or len(one.zones) < 2:
            continue
        own = {feeds[label] for label in feeds if feeds[label] in one.zones}
        if len(own) == len(one.zones):
            continue
        spoken.add(one.valve)
        idle = [other for other in owners if other.none and other.valve not in spoken]
        # The valve that should feed the other zone, if it is told by its mark or there is only one that feeds nothing.
        due = [other for other in idle if marked.get(other.valve) in one.zones] or (idle if len(idle) == 1 else [])
        spoken |= {other.valve for other in due}
        found.append(
            Finding(
                kind=LineFault.JOINED,
                valves=(one.valve, *(other.valve for other in due)),
                zones=tuple(sorted(one.zones)),
                sure=one.sure,
            )
        )
    return found


def _swapped(owners: Sequence[Owner], feeds: Mapping[str, int], marked: Mapping[str, int]) -> list[Finding]:
    """Valves that feed another zone than their mark says, those that belong together in one finding."""
    sure = {one.valve: one.sure for one in owners}
    wrong = {label: zone for label, zone in feeds.items() if label in marked and marked[label] != zone}
    found, seen = [], set()
    for label in wrong:
        if label in seen:
            continue
        chain = [label]
        while True:
            following = next((other for other in wrong if marked[other] == wrong[chain[-1]]), None)
            if following is None or following in chain or following in seen:
                break
            chain.append(following)
        seen |= set(chain)
        found.append(
            Finding(
                kind=LineFault.SWAPPED,
                valves=tuple(chain),
                zones=tuple(wrong[one] for one in chain),
                sure=min(sure[one] for one in chain),
            )
        )
    return found


def _dead(owners: Sequence[Owner], marked: Mapping[str, int], free: Sequence[int], spoken: set[str]) -> list[Finding]:
    dead = [one for one in owners if one.none and one.valve not in spoken]
    found = []
    for one in dead:
        mine = marked.get(one.valve)
        zones = (mine,) if mine in free and mine is not None else tuple(free) if len(dead) == len(free) == 1 else ()
        found.append(Finding(kind=LineFault.DEAD, valves=(one.valve,), zones=zones, sure=one.sure))
    return found
