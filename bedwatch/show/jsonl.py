"""A reading as one JSON object on one line, for other programs. Unknown is null; NaN and infinity never appear."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from bedwatch.aim.types import Problem
from bedwatch.judge.types import BedReading, Fault, Move, Reading, Signs, ZoneReading
from bedwatch.show.words import known

_TIME, _SHARE, _SPEED, _MM, _SIGN = 3, 3, 2, 1, 4


def reading_dict(reading: Reading) -> dict[str, Any]:
    """The reading in plain Python types, keys in a fixed order, numbers rounded to what they can mean.

    Seconds and shares to 3 decimals, mm/s to 2, mm and mm² to 1. Raises ValueError when `time_s` is not finite.
    """
    if known(reading.time_s) is None:
        raise ValueError(f"found time_s {reading.time_s} in a reading, expected a finite number of seconds")
    return {
        "time_s": _number(reading.time_s, _TIME),
        "state": reading.state.value,
        "bed": _bed(reading.bed),
        "zones": [_zone(zone) for zone in reading.zones],
        "faults": [_fault(fault) for fault in reading.faults],
        "next": None if reading.next is None else _move(reading.next),
        "outcome": reading.outcome.value,
        "problems": problem_dicts(reading.problems),
    }


def reading_line(reading: Reading) -> str:
    """The reading as one line of JSON without its line end; ASCII only, so that any pipe carries it."""
    return json_line(reading_dict(reading))


def json_line(values: Mapping[str, Any]) -> str:
    """Any of our objects as one compact line of JSON; raises ValueError rather than write NaN or infinity."""
    return json.dumps(values, allow_nan=False, separators=(",", ":"))


def problem_dicts(problems: tuple[Problem, ...]) -> list[dict[str, str]]:
    """The list `problems` as readings and aims have it."""
    return [{"problem": problem.kind.value, "advice": problem.advice} for problem in problems]


def _bed(bed: BedReading) -> dict[str, Any]:
    return {
        "evenness": _number(bed.evenness, _SHARE),
        "live": _number(bed.live, _SHARE),
        "speed_mm_s": _number(bed.speed_mm_s, _SPEED),
        "speed_error_mm_s": _number(bed.speed_error_mm_s, _SPEED),
        "verdict": None if bed.verdict is None else bed.verdict.value,
    }


def _zone(zone: ZoneReading) -> dict[str, Any]:
    return {
        "zone": zone.zone,
        "live": _number(zone.live, _SHARE),
        "speed_mm_s": _number(zone.speed_mm_s, _SPEED),
        "speed_error_mm_s": _number(zone.speed_error_mm_s, _SPEED),
        "evenness": _number(zone.evenness, _SHARE),
        "hint": zone.hint.value,
        "because": zone.because,
        **({} if zone.signs is None else {"signs": _signs(zone.signs)}),
    }


def _signs(signs: Signs) -> dict[str, Any]:
    return {
        "live": _number(signs.live, _SHARE),
        "duty": _number(signs.duty, _SIGN),
        "restless": _number(signs.restless, _SIGN),
        "glides": _number(signs.glides, _SHARE),
        "length_mm": _number(signs.length_mm, _SIGN),
        "speed_mm_s": _number(signs.speed_mm_s, _SIGN),
    }


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "kind": fault.kind.value,
        "zone": fault.zone,
        "x_mm": _number(fault.x_mm, _MM),
        "y_mm": _number(fault.y_mm, _MM),
        "area_mm2": _number(fault.area_mm2, _MM),
        "since_s": _number(fault.since_s, _TIME),
    }


def _move(move: Move) -> dict[str, Any]:
    return {
        "zone": move.zone,
        "do": move.do.value,
        "amount": _number(move.amount, _SHARE),
        "because": move.because,
    }


def _number(value: float | None, places: int) -> float | None:
    figure = known(value)
    return None if figure is None else round(figure, places) + 0.0  # -0.0 becomes 0.0
