"""The words of a reading: exactly those of the JSON lines."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bedwatch.aim.types import Problem


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


ALL_ZONES = "all"


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
    """One zone. `because` is one sentence that names the evidence of the hint; evenness is the index over its cells."""

    zone: str
    live: float | None
    speed_mm_s: float | None
    speed_error_mm_s: float | None
    hint: HintWord
    because: str
    evenness: float | None = None


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
