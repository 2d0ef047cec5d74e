"""Beds and readings made by hand; every figure is invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed, Zone, grid_zones, ring_zones
from bedwatch.judge.types import (
    BedReading,
    Fault,
    FaultKind,
    HintWord,
    Move,
    Outcome,
    Reading,
    State,
    Verdict,
    ZoneReading,
)

MakeBed = Callable[..., Bed]
MakeReading = Callable[..., Reading]

_HINTS = (HintWord.HOLD, HintWord.MORE_AIR, HintWord.LESS_AIR, HintWord.STIR, HintWord.CHECK_PLATE)
_LIVE = (0.99, 0.31, 1.0, 0.93, 0.02)
_SPEED = (66.1, 12.3, 180.0, 55.0, 0.4)


@pytest.fixture(scope="session")
def round_bed() -> MakeBed:
    """Makes a round bed of 420 mm; `names` renames its zones."""

    def make(*rings: int, names: tuple[str, ...] = (), name: str = "Gate-latch bed") -> Bed:
        zones = ring_zones(rings or (1, 6), 210.0)
        if names:
            zones = tuple(
                Zone(name=new, polygon_mm=zone.polygon_mm, area_mm2=zone.area_mm2, sector=zone.sector)
                for new, zone in zip(names, zones, strict=True)
            )
        return Bed(
            name=name,
            shape="round",
            width_mm=420.0,
            length_mm=420.0,
            surface_below_rim_mm=80.0,
            zones=zones,
        )

    return make


@pytest.fixture(scope="session")
def trough() -> MakeBed:
    """Makes a rectangular bed of rows by columns."""

    def make(rows: int, columns: int, width_mm: float = 600.0, length_mm: float = 300.0) -> Bed:
        return Bed(
            name="Hinge trough",
            shape="rectangular",
            width_mm=width_mm,
            length_mm=length_mm,
            surface_below_rim_mm=60.0,
            zones=grid_zones(rows, columns, width_mm, length_mm),
        )

    return make


@pytest.fixture(scope="session")
def make_reading() -> MakeReading:
    """Makes a reading of a bed with something of everything in it; keywords replace its parts."""

    def make(bed: Bed, **changes: Any) -> Reading:
        zones = tuple(
            ZoneReading(
                zone=zone.name,
                live=_LIVE[i % 5],
                speed_mm_s=_SPEED[i % 5],
                speed_error_mm_s=0.04 * _SPEED[i % 5],
                hint=_HINTS[i % 5],
                because=f"Evidence of zone number {i}.",
            )
            for i, zone in enumerate(bed.zones)
        )
        parts: dict[str, Any] = {
            "time_s": 12.4,
            "state": State.READING,
            "bed": BedReading(evenness=0.71, live=0.86, speed_mm_s=63.0, speed_error_mm_s=1.9, verdict=Verdict.UNEVEN),
            "zones": zones,
            "faults": (
                Fault(
                    kind=FaultKind.SPOUT,
                    zone=bed.zones[0].name,
                    x_mm=62.0,
                    y_mm=-88.5,
                    area_mm2=910.0,
                    since_s=4.0,
                ),
            ),
            "next": Move(zone=bed.zones[-1].name, do=HintWord.LESS_AIR, amount=0.5, because="It is the richest."),
            "outcome": Outcome.MOVING,
            "problems": (Problem(kind=ProblemKind.BLURRED, advice="Edges are 4.1 px wide; focus again."),),
        }
        return Reading(**(parts | changes))

    return make


@pytest.fixture(scope="session")
def know_nothing() -> MakeReading:
    """Makes a reading of a bed in which nothing at all is known."""

    def make(bed: Bed, **changes: Any) -> Reading:
        zones = tuple(
            ZoneReading(
                zone=zone.name,
                live=None,
                speed_mm_s=None,
                speed_error_mm_s=None,
                hint=HintWord.WAIT,
                because="",
            )
            for zone in bed.zones
        )
        nothing = BedReading(evenness=None, live=None, speed_mm_s=None, speed_error_mm_s=None, verdict=None)
        parts: dict[str, Any] = {"time_s": 0.0, "state": State.NO_PICTURE, "bed": nothing, "zones": zones}
        return Reading(**(parts | changes))

    return make
