"""The words of a reading: exactly those of the JSON lines."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bedwatch.aim.types import Problem as Problem
from bedwatch.aim.types import ProblemKind as ProblemKind  # for rooms that know finished values only


class State(StrEnum):
    SETTLING = "settling"
    READING = "reading"
    BLOCKED = "blocked"
    NO_PICTURE = "no_picture"


class HintWord(StrEnum):
    MORE_AIR = "more_air"
    LESS_AIR = "less_air"
    HOLD = "hold"
    STIR = "stir"
    CHECK_PLATE = "check_plate"
    WAIT = "wait"


class Verdict(StrEnum):
    EVEN = "even"
    UNEVEN = "uneven"
    VIOLENT = "violent"
    STILL = "still"


class Outcome(StrEnum):
    LOOKING = "looking"
    MOVING = "moving"
    EVEN = "even"
    SUPPLY_TOO_SMALL = "supply_too_small"
    NOT_VALVES = "not_valves"


class FaultKind(StrEnum):
    SPOUT = "spout"
    DEAD_SPOT = "dead_spot"
    RIM_LEAK = "rim_leak"


class Done(StrEnum):
    """What an operator did."""

    MORE_AIR = "more_air"
    LESS_AIR = "less_air"
    STIRRED = "stirred"
    TOPPED_UP = "topped_up"
    CHECKED_PLATE = "checked_plate"


ALL_ZONES = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Did:
    """A move that was made, whatever was advised.

    zone: a zone's name or "all" for the supply; None where it was not told (only of `stirred` and `checked_plate`).
    amount: share of that valve's full travel it was turned by, 0 to 1; None where it was not told.
    """

    do: Done
    zone: str | None = None
    amount: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What the middle of a zone shows of its air, as it was judged; the plan of moves is made from it, also days later.

    live: share of the middle that is lifted, 0 to 1. duty: share of the time a spot of it is disturbed, 0 to 1. restless: how
    lively the eruptions are, 0 at the border between good and violent. glides: share of it that glides without bubbles.
    length_mm: change over the pattern's own slope, of which light takes nothing away. speed_mm_s: of the zone without what lies
    in or beside a fault. None: not known, or nothing erupts.
    """

    live: float
    duty: float | None
    restless: float | None
    glides: float | None
    length_mm: float | None = None
    speed_mm_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BedReading:
    """The bed as a whole, over its zones together. None: cannot be known honestly.

    evenness: uniformity index 0..1 (Weltens et al. 1993); live: share of area 0..1.
    """

    evenness: float | None
    live: float | None
    speed_mm_s: float | None
    speed_error_mm_s: float | None
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneReading:
    """One zone. `because` is one sentence that names the evidence of the hint; signs: None where it cannot be judged;
    evenness: the index over its cells."""

    zone: str
    live: float | None
    speed_mm_s: float | None
    speed_error_mm_s: float | None
    hint: HintWord
    because: str
    evenness: float | None = None
    signs: Signs | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A place where the bed misbehaves, in bed coordinates (mm, x right, y to 12 o'clock)."""

    kind: FaultKind
    zone: str
    x_mm: float
    y_mm: float
    area_mm2: float
    since_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """The one move to make now.

    zone: a zone's name or "all" for the supply. amount: share of that valve's travel, 0 to 1, a magnitude;
    None for stir and check_plate.
    """

    zone: str
    do: HintWord
    amount: float | None
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the instrument says at one moment. time_s: source time of the newest frame in it."""

    time_s: float
    state: State
    bed: BedReading
    zones: tuple[ZoneReading, ...]
    faults: tuple[Fault, ...] = ()
    next: Move | None = None
    outcome: Outcome = Outcome.LOOKING
    problems: tuple[Problem, ...] = ()
