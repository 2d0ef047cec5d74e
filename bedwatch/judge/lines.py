"""How valves and zones hang together, from all answers: lines that are swapped, dead, joined or reversed, and zones that no valve
sets apart, since air passes underneath."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from bedwatch.judge.answers import Answer
from bedwatch.judge.findings import Finding, LineFault, Lines
from bedwatch.judge.owners import Owner, owner
from bedwatch.judge.plumbing import Fault, Solved, solve
from bedwatch.judge.whose import Evidence

SURE = 0.99
DEAD_TRAVEL = 0.45  # so much travel either way without an answer, before a valve is said to feed nothing


def owners_and_lines(
    answers: Sequence[Answer],
    valves: Sequence[str],
    zones: int,
    marked: Mapping[str, int],
    touching: Collection[tuple[int, int]],
    still: Collection[int],
) -> tuple[dict[str, Owner], Lines]:
    """What is known of every valve that was moved, and how it all hangs together.

    zones: how many. marked: the zone a valve's mark says it feeds, where it says so. touching: pairs of zones that touch, the
    lower number first. still: zones that lay still in the first look.
    """
    evidence = [Evidence([one for one in answers if one.valve == valve]) for valve in valves]
    solved = solve(evidence, zones, [marked.get(valve) for valve in valves], touching, still)
    owners = {
        valve: _owner(valve, number, evidence[number], solved, zones)
        for number, valve in enumerate(valves)
        if evidence[number].answers
    }
    return owners, _lines(owners, valves, zones, marked, solved)


def _owner(valve: str, number: int, evidence: Evidence, solved: Solved, zones: int) -> Owner:
    role = solved.role(number)
    marked = evidence.opens(role) if role.zones else 1.0
    opens = 0 if not role.zones else 1 if marked >= 0.5 else -1
    sure = solved.chances[number] * max(marked, 1 - marked)
    # A valve that stood nearly shut does nothing when it is closed, one that stood open nothing when it is opened.
    tried = min(evidence.travel(opened) for opened in (True, False))
    known = sure >= SURE and (bool(role.zones) or tried >= DEAD_TRAVEL)
    return owner(valve, evidence, role, sure, opens, known=known, zones=zones)


def _lines(
    owners: Mapping[str, Owner], valves: Sequence[str], zones: int, marked: Mapping[str, int], solved: Solved
) -> Lines:
    known = {valve for valve, one in owners.items() if one.known}
    findings = [
        _finding(fault, valves, owners)
        for fault in solved.faults
        if all(valves[number] in known for number in fault.valves) and _worth_telling(fault, valves, marked)
    ]
    supplies = [one for one in findings if one.kind is LineFault.AS_SUPPLY]
    if len(supplies) > 1:  # not all of them can be the supply
        labels = tuple(label for one in supplies for label in one.valves)
        sure = min(one.sure for one in supplies)
        findings = [one for one in findings if one not in supplies]
        findings.append(Finding(kind=LineFault.LEAKING, valves=labels, zones=tuple(range(zones)), sure=sure))
    turned = tuple(valve for valve in valves if valve in known and owners[valve].opens < 0)
    findings += [
        Finding(kind=LineFault.REVERSED, valves=(valve,), zones=owners[valve].zones, sure=owners[valve].sure)
        for valve in turned
    ]
    unsure = [valve for valve in owners if valve not in known]
    findings += [
        Finding(kind=LineFault.UNSURE, valves=(valve,), zones=owners[valve].likely, sure=owners[valve].sure)
        for valve in unsure
    ]
    feeds = {valve: owners[valve].zones[0] for valve in valves if valve in known and _feeds_one(owners[valve])}
    return Lines(
        feeds=feeds,
        reversed=turned,
        findings=tuple(findings),
        without=() if len(known) < len(valves) else tuple(zone for zone in range(zones) if not _is_fed(zone, owners)),
    )


def _worth_telling(fault: Fault, valves: Sequence[str], marked: Mapping[str, int]) -> bool:
    """Valves whose marks tell nothing cannot be swapped."""
    return fault.kind is not LineFault.SWAPPED or any(valves[number] in marked for number in fault.valves)


def _finding(fault: Fault, valves: Sequence[str], owners: Mapping[str, Owner]) -> Finding:
    labels = tuple(valves[number] for number in fault.valves)
    return Finding(kind=fault.kind, valves=labels, zones=fault.zones, sure=min(owners[label].sure for label in labels))


def _feeds_one(one: Owner) -> bool:
    """Whether there is a zone to call it after: of two on a line, its main one."""
    return bool(one.zones) and not one.all


def _is_fed(zone: int, owners: Mapping[str, Owner]) -> bool:
    return any(zone in one.zones and not one.all for one in owners.values())


__all__ = ["SURE", "Finding", "LineFault", "Lines", "owners_and_lines"]
