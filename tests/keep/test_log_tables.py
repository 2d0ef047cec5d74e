"""Sums and tables of logs."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest

from bedwatch.bed import Bed, ring_zones
from bedwatch.judge.types import Did, Done, Reading, State
from bedwatch.keep.lines import Entry
from bedwatch.keep.log_csv import log_csv
from bedwatch.keep.log_sums import sums_of

Run = Callable[..., list[Reading]]
START = datetime(2026, 1, 31, 8, 0, tzinfo=UTC)


@pytest.fixture
def three() -> Bed:
    return Bed(
        name="b",
        shape="round",
        width_mm=420.0,
        length_mm=420.0,
        surface_below_rim_mm=0.0,
        zones=ring_zones((1, 2), 210.0),
    )


@pytest.fixture
def entries(run: Run) -> list[Entry]:
    """A look of 20 s, a move, a look of 12 s an hour later."""
    first = run(20.0, lambda _: 50.0, lambda t: State.SETTLING if t < 6 else State.READING)
    second = run(12.0, lambda _: 90.0, lambda t: State.SETTLING if t < 6 else State.READING)
    move = Did(do=Done.MORE_AIR, zone="2", amount=0.15)
    what: list[Reading | Did] = [*first, move, *second]
    return [
        Entry(number=number, what=one, at=START + timedelta(seconds=number, hours=int(number > len(first))))
        for number, one in enumerate(what, 1)
    ]


def test_sums(entries: list[Entry]) -> None:
    found = sums_of(entries)
    assert (found.runs, found.readings) == (2, 25 + 15)
    assert found.first == START + timedelta(seconds=1)
    assert found.last == START + timedelta(hours=1, seconds=41)
    # 5.6 s of settling in each look, the rest reading; in all as long as the looks were.
    assert found.seconds[State.SETTLING] == pytest.approx(2 * 5.6)
    assert sum(found.seconds.values()) == pytest.approx(32.0)
    assert found.begin is not None
    assert found.end is not None
    assert (found.begin.speed_mm_s.value, found.end.speed_mm_s.value) == (pytest.approx(50), pytest.approx(90))
    assert [(move.number, move.did.zone) for move in found.moves] == [(25, "2")]


def test_nothing_comes_to_nothing() -> None:
    found = sums_of([])
    assert found.readings == found.runs == 0
    assert found.begin is None
    assert found.first is None


def test_the_table_has_a_row_a_line_and_leaves_unknown_empty(entries: list[Entry], three: Bed) -> None:
    rows = list(csv.DictReader(StringIO(log_csv([("a.jsonl", entries)], three))))
    assert len(rows) == len(entries)
    assert rows[0]["state"] == "settling"
    assert rows[0]["speed_mm_s"] == rows[0]["zone_3_live"] == ""
    assert rows[24]["zone_3_speed_mm_s"] == "50"
    assert (rows[25]["did_zone"], rows[25]["did_do"], rows[25]["did_amount"]) == ("2", "more_air", "0.15")
    assert rows[25]["state"] == ""
    assert float(rows[-1]["time_s"]) == pytest.approx(12.0)


def test_no_name_becomes_a_formula(entries: list[Entry], three: Bed) -> None:
    rows = list(csv.DictReader(StringIO(log_csv([("=1+1.jsonl", entries[:1])], three))))
    assert rows[0]["log"].startswith("'=")
