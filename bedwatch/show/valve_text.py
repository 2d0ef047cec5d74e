"""Which valve is which, in words: what to turn next, what answered, the table at the end, and what to mend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TextIO

from bedwatch.judge.line_test import Ask
from bedwatch.judge.lines import Finding, LineFault, Lines
from bedwatch.judge.whose import Owner
from bedwatch.show.setting_text import SettingPage
from bedwatch.show.words import CANT_TELL, travel

_MOST_NEIGHBOURS = 2
_WORTH_TELLING = 0.15  # share of a zone's answer that another one shows


def ask_words(ask: Ask) -> str:
    """One move in a sentence, as the marks of the valve have it."""
    if ask.back:
        return f"Valve {ask.valve}: bring it back to where it stood."
    if ask.by <= -1.0:
        return f"Valve {ask.valve}: shut it."
    way = "open" if ask.by > 0 else "close"
    again = {0: "", 1: " What was seen lay within the noise, so once more and farther."}.get(ask.attempt, "")
    return f"Valve {ask.valve}: {way} it by {travel(abs(ask.by))}, by its marks.{again}"


def answer_words(owner: Owner | None, zones: Sequence[str]) -> str:
    """What is known of a valve after a look."""
    if owner is None:
        return "Nothing was turned yet."
    if owner.none:
        return f"Valve {owner.valve}: no zone answers."
    if owner.all:
        return f"Valve {owner.valve}: all zones answer alike."
    named = _names(owner.zones or owner.likely, zones)
    if not owner.known:
        return f"Valve {owner.valve}: {CANT_TELL} yet" + (f", perhaps {named}." if named else ".")
    way = "" if owner.opens > 0 else ", the other way round than its marks say"
    return f"Valve {owner.valve}: {named} answer{'s' if len(owner.zones) == 1 else ''}{way}."


def print_lines(
    lines: Lines, owners: Sequence[Owner], untried: Sequence[str], zones: Sequence[str], out: TextIO
) -> None:
    """The table, then what is not as it should be and how to mend it. zones: names. untried: valves that were not moved."""
    page = SettingPage(out)
    page.heading("Which valve is which")
    rows = [_row(lines, owner, zones) for owner in owners]
    rows += [(valve, CANT_TELL, "", "not moved", "") for valve in untried]
    page.table(
        ("valve", "feeds", "turns", "air, for so much travel", "its neighbours get"), rows, words=(0, 1, 2, 3, 4)
    )
    for finding in lines.findings:
        page.line(finding_words(finding, zones))
    told = {zone for finding in lines.findings for zone in finding.zones}
    for zone in lines.without:
        if zone not in told:
            page.line(f"Zone {zones[zone]} has no valve of its own among these.")
    if lines.healthy and not untried:
        page.line("Every valve feeds one zone, and opens as it is marked.")


def _row(lines: Lines, owner: Owner, zones: Sequence[str]) -> tuple[str, str, str, str, str]:
    feeds = lines.feeds.get(owner.valve)
    if feeds is not None:
        goes = f"zone {zones[feeds]}"
        rest = [zone for zone in owner.zones if zone != feeds]
        goes += f" (and {_names(rest, zones)})" if rest and not owner.all else ""
    elif owner.none:
        goes = "nothing"
    elif owner.all:
        goes = "all zones"
    else:
        goes = _names(owner.zones, zones) or CANT_TELL
    turns = {1: "as marked", -1: "the other way", 0: CANT_TELL}[owner.opens] if not owner.none else "-"
    return owner.valve, goes, turns, _strength(owner), _neighbours(owner, zones)


def _strength(owner: Owner) -> str:
    """Air with the valve opened by so much of its travel over the air without, and its standard error."""
    log, error = owner.strength
    if not owner.zones or not math.isfinite(log):
        return "-"
    times = math.exp(log)
    return f"x {times:.1f} ± {max(times * error, 0.05):.1f} for {100 * owner.strength_travel:.0f} %"


def _neighbours(owner: Owner, zones: Sequence[str]) -> str:
    """What other zones get of the answer, the most first."""
    if len(owner.zones) != 1:
        return "-"
    found = []
    for zone in sorted(range(len(zones)), key=lambda zone: -_or_zero(float(owner.bleeds[zone]))):
        share, error = _or_zero(float(owner.bleeds[zone])), float(owner.bleeds_error[zone])
        if zone not in owner.zones and share > _WORTH_TELLING and share > 2 * error:
            found.append(f"zone {zones[zone]} {100 * share:.0f} ± {100 * error:.0f} %")
    return ", ".join(found[:_MOST_NEIGHBOURS]) or "little"


def _or_zero(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def finding_words(finding: Finding, zones: Sequence[str]) -> str:
    """What is not as it should be, and what to do about it."""
    valves, named = _and(finding.valves), _names(finding.zones, zones)
    plural = len(finding.valves) > 1
    head = f"Valve{'s' if plural else ''} {valves}"
    match finding.kind:
        case LineFault.SWAPPED:
            feeds = _and([f"{v} feeds zone {zones[z]}" for v, z in zip(finding.valves, finding.zones, strict=True)])
            return f"SWAPPED: valve {feeds}. Change the hoses or the labels; kept in the bed file it is right as it stands."
        case LineFault.DEAD:
            whose = f" ({named} should answer)" if named else ""
            return (
                f"DEAD: valve {valves} moves nothing{whose}. Look along its line: shut, kinked, off, plugged, holes glued over; "
                "then test it again."
            )
        case LineFault.JOINED:
            return (
                f"JOINED: {head} and {named} hang on one line. Part them where the lines meet; until then they "
                "can only be set together."
            )
        case LineFault.LEAKING:
            return (
                f"LEAKING: {head} each move{'' if plural else 's'} {named}. Air passes underneath, so no valve sets them "
                "apart: fasten the membrane to the plate between them, seal the wall between their chambers; then test again."
            )
        case LineFault.REVERSED:
            return f"REVERSED: valve {valves} closes where its marks say open. Turn its knob, or keep that in the bed file."
        case LineFault.AS_SUPPLY:
            return (
                f"SUPPLY: valve {valves} moves all zones alike: it feeds all, or all chambers are open to each other."
            )
        case LineFault.UNSURE:
            maybe = f" (perhaps {named})" if named else ""
            return f"NOT SURE: valve {valves}: {CANT_TELL}{maybe}. Turn it farther, with the other zones at a gentle simmer."


def _names(numbers: Sequence[int], zones: Sequence[str]) -> str:
    if not numbers:
        return ""
    return f"zone{'s' if len(numbers) > 1 else ''} {_and([zones[number] for number in numbers])}"


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
