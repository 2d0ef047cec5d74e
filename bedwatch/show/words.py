"""Plain words for what a reading says, numbers with unit and error. Unknown is "can't tell", never 0."""

from __future__ import annotations

import math

from bedwatch.aim.types import ProblemKind
from bedwatch.bed import Bed, Valves, Zone, clock_position
from bedwatch.judge.types import ALL_ZONES, Did, Done, Fault, FaultKind, HintWord, Move, Outcome, State, Verdict

CANT_TELL = "can't tell"

HINTS = {
    HintWord.MORE_AIR: "more air",
    HintWord.LESS_AIR: "less air",
    HintWord.HOLD: "hold",
    HintWord.STIR: "stir",
    HintWord.CHECK_PLATE: "check plate",
    HintWord.WAIT: "wait",
}
STATES = {
    State.SETTLING: "settling",
    State.READING: "reading",
    State.BLOCKED: "view blocked",
    State.NO_PICTURE: "no picture",
}
VERDICTS = {
    Verdict.EVEN: "even",
    Verdict.UNEVEN: "uneven",
    Verdict.VIOLENT: "violent",
    Verdict.STILL: "still",
}
OUTCOMES = {
    Outcome.LOOKING: "nothing to say yet",
    Outcome.MOVING: "a move to make",
    Outcome.EVEN: "even, done",
    Outcome.SUPPLY_TOO_SMALL: "supply too small",
    Outcome.NOT_VALVES: "not a matter of valves",
}
FAULTS = {
    FaultKind.SPOUT: "spout",
    FaultKind.DEAD_SPOT: "dead spot",
    FaultKind.RIM_LEAK: "rim leak",
}
PROBLEMS = {
    ProblemKind.BLURRED: "blurred",
    ProblemKind.DARK: "too dark",
    ProblemKind.OVEREXPOSED: "too bright",
    ProblemKind.LOW_CONTRAST: "low contrast",
    ProblemKind.FLICKER: "lamp flicker",
    ProblemKind.SHAKING: "camera shakes",
    ProblemKind.LOW_FRAME_RATE: "few frames",
    ProblemKind.DROPPED_FRAMES: "frames lost",
    ProblemKind.EXPOSURE_HUNTING: "exposure hunts",
    ProblemKind.DUSTY_LENS: "dusty lens",
    ProblemKind.DUST_CLOUD: "dust cloud",
    ProblemKind.BED_LOST: "bed lost",
    ProblemKind.BED_NOT_FOUND: "bed not found",
}
_SHARES = {
    0.1: "a tenth",
    0.2: "a fifth",
    0.25: "a quarter",
    1 / 3: "a third",
    0.5: "half",
    2 / 3: "two thirds",
    0.75: "three quarters",
}
_SHARE_SLACK = 0.02
_FULL = 0.97
_WHOLE = "the whole travel"
_ABOUT_FROM_MM_S = 10.0
ABOUT = "about"
ABOUT_KEY = "about: over range, error more than a third"
ROD = "with an earthed metal rod, mask on, no hot part near"
NEEDED_S = 8  # of undisturbed picture for a first reading


def known(value: float | None) -> float | None:
    """The value as a plain float, None when it is None, NaN or infinite."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def share(value: float | None, *, space: str = " ") -> str | None:
    """A share 0 to 1 in percent; never rounded into "none" or "all". None when unknown."""
    figure = known(value)
    if figure is None:
        return None
    percent = round(100.0 * figure)
    if percent == 0 and figure > 0.0:
        return f"<1{space}%"
    if percent == 100 and figure < 1.0:
        return f">99{space}%"
    return f"{percent}{space}%"


def speed(value: float | None, error: float | None) -> str | None:
    """A speed with its standard error, without the unit: "66.1 ± 2.4", "66.1 ± ?". None when unknown.

    "about 114" where the error is more than a third of it: over range, no figure for the error would mean much.
    A slow surface keeps its error, which is what tells it from a still one.
    """
    figure, give = known(value), known(error)
    if figure is None:
        return None
    if give is None:
        return f"{figure:.1f} ± ?"
    if figure >= _ABOUT_FROM_MM_S and give > figure / 3:
        return f"{ABOUT} {figure:.0f}"
    places = 0 if give >= 5.0 else 1 if give >= 0.1 else 2
    return f"{figure:.{places}f} ± {give:.{places}f}"


def speed_with_unit(value: float | None, error: float | None) -> str:
    """As `speed`, with the unit, or "can't tell"."""
    figures = speed(value, error)
    return CANT_TELL if figures is None else f"{figures} mm/s"


def seconds(value: float | None) -> str:
    """A time: "12.4 s", from ten minutes on "12 min 05 s"."""
    figure = known(value)
    if figure is None:
        return CANT_TELL
    if figure < 600.0:
        return f"{figure:.1f} s"
    minutes, rest = divmod(int(figure), 60)
    return f"{minutes} min {rest:02d} s"


def travel(amount: float | None) -> str | None:
    """How far to turn a valve: "about half of its travel". None when no amount is given."""
    short = travel_in_short(amount)
    if short is None:
        return None
    return "its whole travel" if short == _WHOLE else f"about {short} of its travel"


def travel_in_short(amount: float | None) -> str | None:
    """The same in a word or two: "half", "12 %", "the whole travel"."""
    figure = known(amount)
    if figure is None:
        return None
    if figure >= _FULL:
        return _WHOLE
    for part, name in _SHARES.items():
        if abs(figure - part) <= _SHARE_SLACK:
            return name
    return f"{max(1, round(100.0 * figure))} %"


NO_MARKS = Valves()


def valve(zone: str, valves: Valves = NO_MARKS) -> str:
    """Whose air: "zone 4", or "the supply" that feeds every zone; with what the zone's valve is called: "zone 4 (valve C)"."""
    if zone == ALL_ZONES:
        return "the supply"
    label = _label(zone, valves)
    return f"zone {zone}" if label is None else f"zone {zone} (valve {label})"


def turn_words(do: HintWord, zone: str, valves: Valves = NO_MARKS) -> str:
    """Which way to turn, where the marks of a valve say it wrongly: ", by its marks the closing way"; else nothing."""
    if zone not in valves.reversed or do not in (HintWord.MORE_AIR, HintWord.LESS_AIR):
        return ""
    return f", by its marks the {'closing' if do is HintWord.MORE_AIR else 'opening'} way"


def _label(zone: str, valves: Valves) -> str | None:
    """What the valve is called, where that says more than the zone's name."""
    label = valves.label(zone)
    return None if label is None or label.casefold() == zone.casefold() else label


def instruction(move: Move, valves: Valves = NO_MARKS) -> str:
    """One sentence that says with hands what the move is."""
    label = _label(move.zone, valves)
    whose = "the supply's valve" if move.zone == ALL_ZONES else f"zone {move.zone}'s valve"
    if label is not None:
        whose += f" ({label})"
    place = "the whole bed" if move.zone == ALL_ZONES else f"zone {move.zone}"
    if move.do is HintWord.STIR:
        return f"Stir {place} by hand, down to the plate, {ROD}; take the rod out, look again after a minute."
    if move.do is HintWord.CHECK_PLATE:
        return f"Look at the plate under {place}: blocked holes, glue, a leak, a shut line."
    if move.do not in (HintWord.MORE_AIR, HintWord.LESS_AIR):
        return "Leave the valves as they are."
    turn = "Open" if move.do is HintWord.MORE_AIR else "Close"
    far, way = travel(move.amount), turn_words(move.do, move.zone, valves)
    if far is None:
        return f"{turn} {whose} a little{way}; by how much can't be told."
    return f"{turn} {whose} by {far}{way}, wait a minute, look again."


_DONE = {
    Done.MORE_AIR: "more air",
    Done.LESS_AIR: "less air",
    Done.STIRRED: "stirred",
    Done.TOPPED_UP: "topped up",
    Done.CHECKED_PLATE: "plate checked",
}


def did_words(did: Did) -> str:
    """What was done, in a few words."""
    where = "" if did.zone is None else f"{valve(did.zone)} "
    if did.do in (Done.MORE_AIR, Done.LESS_AIR):
        far = travel(did.amount)
        return f"{where}{_DONE[did.do]}" + (f", {far}" if far else "")
    return ("the whole bed " if did.zone == ALL_ZONES else where) + _DONE[did.do]


def fault_act(fault: Fault) -> str:
    """One sentence that names a fault, its place, and what hands can do about it (common practice, no source)."""
    kind = FAULTS[fault.kind].capitalize()
    return f"{kind} in zone {fault.zone}, {fault_place(fault.x_mm, fault.y_mm)}: {_FAULT_ACTS[fault.kind]}"


_FAULT_ACTS = {
    FaultKind.SPOUT: f"stir there {ROD}, then look again.",
    FaultKind.DEAD_SPOT: f"stir there {ROD}; if it stays, check the plate.",
    FaultKind.RIM_LEAK: "look for a gap between plate and wall, and seal it.",
}


def fault_place(x_mm: float, y_mm: float) -> str:
    """Where a fault is, by the clock."""
    if known(x_mm) is None or known(y_mm) is None:
        return "place " + CANT_TELL
    return clock_position(x_mm, y_mm)


def zone_place(zone: Zone, *, far: bool = False) -> str:
    """Where a zone lies, by the clock: "centre", "ring", "half past 4"; with `far` also how far out."""
    sector = zone.sector
    if sector is not None and sector.sweep_deg >= 360.0:
        return "ring" if sector.inner_mm > 0.0 else "centre"
    if sector is not None:
        turn = math.radians(sector.start_deg + sector.sweep_deg / 2)
        out = (sector.inner_mm + sector.outer_mm) / 2
        x, y = out * math.sin(turn), out * math.cos(turn)
    else:
        x, y = _centroid(zone)
    words = clock_position(x, y)
    if words == "at the centre":
        return "centre"
    return words if far else words.partition(",")[0]


def _centroid(zone: Zone) -> tuple[float, float]:
    x, y = zone.polygon_mm[:, 0].tolist(), zone.polygon_mm[:, 1].tolist()
    twice = cx = cy = 0.0
    for i in range(len(x)):
        cross = x[i - 1] * y[i] - x[i] * y[i - 1]
        twice += cross
        cx += (x[i - 1] + x[i]) * cross
        cy += (y[i - 1] + y[i]) * cross
    return (cx / (3 * twice), cy / (3 * twice)) if twice else (x[0], y[0])


def zone_tags(bed: Bed) -> tuple[str, ...]:
    """What each zone is called on the map: its name, or a letter where some name is too long for that."""
    names = [zone.name for zone in bed.zones]
    if all(len(name) <= 3 and name.isascii() and name.isalnum() for name in names):
        return tuple(names)
    return tuple(_letter(i) for i in range(len(names)))


def _letter(i: int) -> str:
    return chr(ord("a") + i) if i < 26 else chr(ord("a") + i // 26 - 1) + chr(ord("a") + i % 26)
