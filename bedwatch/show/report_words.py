"""The sentences of a report: the verdict, what was not known, how to get back."""

from __future__ import annotations

from collections.abc import Sequence

from bedwatch.judge.setting import Setting
from bedwatch.judge.types import HintWord, Verdict
from bedwatch.show.words import FAULTS, HINTS, ROD, fault_place, known, share, speed

_STANDS = {
    Verdict.EVEN: "Even: every zone is gently alive, and they are alike",
    Verdict.UNEVEN: "Uneven",
    Verdict.VIOLENT: "Violent: too lively everywhere",
    Verdict.STILL: "Still: nothing moves",
    None: "No verdict: too little could be told",
}
_QUIET = (HintWord.HOLD, HintWord.WAIT)
LONG_ENOUGH_S = 60.0
CANNOT_SEE = (
    "No camera sees the air's flow and pressure, the powder's moisture and temperature, the plate under it, or how much "
    "dust is in the air."
)


def verdict_sentence(setting: Setting) -> str:
    """The bed in one sentence, and what each zone that wants something wants."""
    told = []
    for hint in HintWord:
        zones = [zone.zone for zone in setting.zones if zone.hint is hint]
        if zones and hint not in _QUIET:
            told.append(f"{_zones(zones)} {'wants' if len(zones) == 1 else 'want'} {_wish(hint)}")
    waiting = [zone.zone for zone in setting.zones if zone.hint is HintWord.WAIT]
    if waiting:
        told.append(f"{_zones(waiting)} cannot be told")
    seen = [f"{FAULTS[fault.kind]} in zone {fault.zone}" for fault in setting.faults]
    wishes = "; ".join(_listed(parts) for parts in (told, seen) if parts)
    stands = _STANDS[setting.bed.verdict]
    return f"{stands}: {wishes}." if wishes else f"{stands}."


def figures_sentence(setting: Setting) -> str:
    bed = setting.bed
    live, even = share(bed.live.value), known(bed.evenness.value)
    pace = speed(bed.speed_mm_s.value, bed.speed_mm_s.error)
    return (
        f"{'Live share not known' if live is None else f'{live} of the surface is live'}, "
        f"{'speed not known' if pace is None else f'{pace} mm/s'}, "
        f"{'evenness not known' if even is None else f'evenness {even:.2f}'} (1 is even)."
    )


def _wish(hint: HintWord) -> str:
    return {HintWord.STIR: "stirring", HintWord.CHECK_PLATE: "its plate looked at"}.get(hint, HINTS[hint])


def _zones(names: Sequence[str]) -> str:
    return f"{'zone' if len(names) == 1 else 'zones'} {_listed(names)}"


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def faults_sentences(setting: Setting) -> list[str]:
    found = []
    for fault in setting.faults:
        area = known(fault.area_mm2)
        size = "size not known" if area is None else f"about {area:.0f} mm²"
        place = fault_place(fault.x_mm, fault.y_mm)
        found.append(f"{FAULTS[fault.kind].capitalize()} in zone {fault.zone}: {place}, {size}.")
    return found


def not_known(setting: Setting, *, picture: bool, error_mm: float | None) -> list[str]:
    """What this sheet leaves open, in sentences, the weightiest first."""
    told = []
    lost = [zone.zone for zone in setting.zones if known(zone.speed_mm_s.value) is None]
    if lost:
        told.append(f"Nothing could be told of {_zones(lost)}.")
    over = [zone.zone for zone in setting.zones if _over_range(zone.speed_mm_s.value, zone.speed_mm_s.error)]
    if over:
        which = "every zone" if len(over) == len(setting.zones) else _zones(over)
        told.append(
            f"The speed of {which} is an apparent one with an error of more than a third: good for comparing with the same "
            "powder, not as a figure of its own."
        )
    if setting.seen_s < LONG_ENOUGH_S:
        told.append(
            f"Only {setting.seen_s:.0f} s were seen. Powder takes a minute or two to turn over once: look longer before "
            "you rely on it."
        )
    bare = [zone.zone for zone in setting.zones if zone.valve is None]
    if bare:
        which = "No valve's" if len(bare) == len(setting.zones) else f"The valve's (of {_zones(bare)})"
        told.append(f"{which} place was written down.")
    around = setting.around
    missing = [
        name
        for name, value in (
            ("the supply's place", around.supply),
            ("the powder", around.powder),
            ("its level", around.level_mm),
            ("the room's humidity", around.humidity),
        )
        if value is None
    ]
    if missing:
        told.append(f"Not written down: {_listed(missing)}.")
    if not picture:
        told.append("There is no picture: this was made from a log, or the picture was lost.")
    elif error_mm is None:
        told.append("How far places may be off is not known: the aim does not say.")
    return [*told, CANNOT_SEE]


def _over_range(value: float | None, error: float | None) -> bool:
    figure, give = known(value), known(error)
    return figure is not None and (give is None or (figure > 10 and give > figure / 3))


def way_back(setting: Setting, *, saved: bool) -> list[str]:
    """The steps to get this bed again, in order (common practice, no source)."""
    marked = [zone for zone in setting.zones if zone.valve is not None]
    around = setting.around
    level = "to the mark" if around.level_mm is None else f"to {around.level_mm:.0f} mm below the rim, air on"
    supply = "the supply" if around.supply is None else f"the supply to “{around.supply}”"
    valves = "every valve to its mark in the table" if marked else "the valves as near as you remember"
    look = f'bedwatch watch SOURCE --bed BED.toml --against "{setting.name}"' if saved else ""
    return [
        f"Air dry and free of oil, powder sieved if it has lumps, filled up {level}.",
        f"Set {valves}, {supply} a little short of its place.",
        f"Stir down to the plate {ROD}, while the air comes up slowly.",
        "Go a little over the setting, half a minute, then come down to it: from below the same marks stop at another bed.",
        "Wait two minutes from rest or after topping up, one after a move, then look"
        + (f": {look}" if look else "; save a setting to have it compared for you."),
        "If all zones are duller than before at the same marks, look for the cause first: level, damp powder, "
        "a membrane blinded by oil or fines. A supply that must go up week by week is the alarm.",
    ]


__all__ = ["CANNOT_SEE", "faults_sentences", "figures_sentence", "not_known", "verdict_sentence", "way_back"]
