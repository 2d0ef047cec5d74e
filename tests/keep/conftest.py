"""Settings and runs of readings made by hand; every figure is invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed, ring_zones
from bedwatch.judge.setting import BedSetting, Circumstances, Measured, Setting, ZoneSetting
from bedwatch.judge.types import (
    BedReading,
    Fault,
    FaultKind,
    HintWord,
    Outcome,
    Reading,
    State,
    Verdict,
    ZoneReading,
)

MakeSetting = Callable[..., Setting]
Run = Callable[..., list[Reading]]
SPEEDS = (80.0, 90.0, 91.0, 89.0, 92.0, 90.0, 88.0)


@pytest.fixture
def bed() -> Bed:
    return Bed(
        name="Gate-latch bed",
        shape="round",
        width_mm=420.0,
        length_mm=420.0,
        surface_below_rim_mm=80.0,
        zones=ring_zones((1, 6), 210.0),
    )


def speed(value: float, error: float = 0.35, repeat: float = 0.02) -> Measured:
    return Measured(value=value, error=round(error * value, 3), repeat=round(repeat * value, 3))


def share(value: float) -> Measured:
    return Measured(value=value, error=0.01, repeat=0.01)


@pytest.fixture
def make_setting() -> MakeSetting:
    """Makes a setting with something of everything in it; speeds one a zone; keywords replace its parts."""

    def make(speeds: Sequence[float] = SPEEDS, **changes: Any) -> Setting:
        setting = Setting(
            name="grey epoxy, winter",
            saved=datetime(2026, 1, 31, 14, 5, tzinfo=UTC),
            version="0.1.0",
            source="clip.mp4",
            seen_s=40.0,
            bed=BedSetting(
                name="Gate-latch bed",
                shape="round",
                width_mm=420.0,
                length_mm=420.0,
                live=share(0.99),
                speed_mm_s=speed(89.0),
                evenness=share(0.93),
                verdict=Verdict.EVEN,
            ),
            zones=tuple(
                ZoneSetting(
                    zone=str(number),
                    live=share(1.0),
                    speed_mm_s=speed(value),
                    evenness=share(0.92),
                    hint=HintWord.HOLD,
                    because="Small eruptions come and go.",
                    valve="a quarter open" if number == 3 else None,
                )
                for number, value in enumerate(speeds, 1)
            ),
            around=Circumstances(
                supply="dial at 4", powder="grey epoxy", note='Äpfel & "Birnen" <b>', level_mm=80.0, humidity=0.45
            ),
            faults=(Fault(kind=FaultKind.SPOUT, zone="4", x_mm=62.0, y_mm=-88.5, area_mm2=910.0, since_s=4.0),),
            problems=(Problem(kind=ProblemKind.BLURRED, advice="Edges are 4.1 px wide; focus again."),),
            aim={
                "surface": {"centre_px": [1.0, 2.0]},
                "mm_per_px": 0.7,
                "error_mm": 0.5,
                "size_px": [1280, 720],
                "problems": [],
            },
        )
        return replace(setting, **changes)

    return make


@pytest.fixture
def run() -> Run:
    """Makes readings 0.8 s apart: speed of every zone by a function of time, `state` by a function of time."""

    def make(
        seconds: float,
        pace: Callable[[float], float | None],
        state: Callable[[float], State] = lambda _: State.READING,
        zones: int = 3,
        error: float = 0.35,
    ) -> list[Reading]:
        found = []
        for step in range(1, int(seconds / 0.8) + 1):
            time_s = 0.8 * step
            value = pace(time_s) if state(time_s) is State.READING else None
            give = None if value is None else error * value
            live = None if value is None else 0.9
            found.append(
                Reading(
                    time_s=time_s,
                    state=state(time_s),
                    bed=BedReading(
                        evenness=live, live=live, speed_mm_s=value, speed_error_mm_s=give, verdict=Verdict.EVEN
                    ),
                    zones=tuple(
                        ZoneReading(
                            zone=str(number + 1),
                            live=live,
                            speed_mm_s=value,
                            speed_error_mm_s=give,
                            hint=HintWord.HOLD,
                            because="",
                        )
                        for number in range(zones)
                    ),
                    outcome=Outcome.EVEN,
                )
            )
        return found

    return make
