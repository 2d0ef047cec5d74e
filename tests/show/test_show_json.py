"""The JSON lines against the contract's table of fields, written out by hand here, and the way back."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.errors import UserError
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
from bedwatch.show.json_read import parse_reading_line
from bedwatch.show.jsonl import reading_dict, reading_line

Make = Callable[..., Any]

HINTS = {"more_air", "less_air", "hold", "stir", "check_plate", "wait"}
PROBLEMS = {
    "blurred",
    "dark",
    "overexposed",
    "low_contrast",
    "flicker",
    "shaking",
    "low_frame_rate",
    "dropped_frames",
    "exposure_hunting",
    "dusty_lens",
    "dust_cloud",
    "bed_lost",
    "bed_not_found",
}
TOP = {"time_s", "state", "bed", "zones", "faults", "next", "outcome", "problems"}


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def maybe_number(value: object) -> bool:
    return value is None or is_number(value)


def check_against_contract(line: str) -> dict[str, Any]:
    """Every name and type of the contract's reading, nothing left out."""
    assert "\n" not in line
    assert "\r" not in line
    raw: dict[str, Any] = json.loads(line, parse_constant=lambda word: pytest.fail(f"{word} in {line}"))
    assert raw.keys() == TOP
    assert is_number(raw["time_s"])
    assert raw["state"] in {"settling", "reading", "blocked", "no_picture"}
    assert raw["bed"].keys() == {"evenness", "live", "speed_mm_s", "speed_error_mm_s", "verdict"}
    assert all(maybe_number(raw["bed"][key]) for key in raw["bed"].keys() - {"verdict"})
    assert raw["bed"]["verdict"] in {"even", "uneven", "violent", "still", None}
    for zone in raw["zones"]:
        assert zone.keys() == {"zone", "live", "speed_mm_s", "speed_error_mm_s", "evenness", "hint", "because"}
        assert all(maybe_number(zone[key]) for key in ("live", "speed_mm_s", "speed_error_mm_s"))
        assert isinstance(zone["zone"], str)
        assert isinstance(zone["because"], str)
        assert zone["hint"] in HINTS
    for fault in raw["faults"]:
        assert fault.keys() == {"kind", "zone", "x_mm", "y_mm", "area_mm2", "since_s"}
        assert fault["kind"] in {"spout", "dead_spot", "rim_leak"}
        assert isinstance(fault["zone"], str)
        assert all(maybe_number(fault[key]) for key in ("x_mm", "y_mm", "area_mm2", "since_s"))
    if raw["next"] is not None:
        assert raw["next"].keys() == {"zone", "do", "amount", "because"}
        assert raw["next"]["do"] in HINTS
        assert maybe_number(raw["next"]["amount"])
    assert raw["outcome"] in {"looking", "moving", "even", "supply_too_small", "not_valves"}
    assert all(p.keys() == {"problem", "advice"} and p["problem"] in PROBLEMS for p in raw["problems"])
    return raw


shares = st.none() | st.floats(0.0, 1.0)
speeds = st.none() | st.floats(0.0, 5000.0)
anything = st.floats() | st.none()
texts = st.text(max_size=12)


def readings(share: st.SearchStrategy[Any], speed: st.SearchStrategy[Any], place: Any) -> Any:
    bed = st.builds(
        BedReading,
        evenness=share,
        live=share,
        speed_mm_s=speed,
        speed_error_mm_s=speed,
        verdict=st.none() | st.sampled_from(Verdict),
    )
    zone = st.builds(
        ZoneReading,
        zone=texts,
        live=share,
        speed_mm_s=speed,
        speed_error_mm_s=speed,
        hint=st.sampled_from(HintWord),
        because=texts,
    )
    fault = st.builds(
        Fault,
        kind=st.sampled_from(FaultKind),
        zone=texts,
        x_mm=place,
        y_mm=place,
        area_mm2=place.map(abs),
        since_s=place,
    )
    move = st.builds(Move, zone=texts, do=st.sampled_from(HintWord), amount=share, because=texts)
    return st.builds(
        Reading,
        time_s=st.floats(0.0, 1e6),
        state=st.sampled_from(State),
        bed=bed,
        zones=st.lists(zone, max_size=4).map(tuple),
        faults=st.lists(fault, max_size=2).map(tuple),
        next=st.none() | move,
        outcome=st.sampled_from(Outcome),
        problems=st.lists(st.builds(Problem, kind=st.sampled_from(ProblemKind), advice=texts), max_size=2).map(tuple),
    )


@settings(max_examples=80, deadline=None)
@given(readings(shares, speeds, st.floats(-3000.0, 3000.0)))
def test_a_line_read_back_gives_the_same_line_and_the_same_reading_to_its_decimals(reading: Reading) -> None:
    line = reading_line(reading)
    check_against_contract(line)
    back = parse_reading_line(line)
    assert reading_line(back) == line
    assert parse_reading_line(reading_line(back)) == back
    # Half a step of the last decimal, and a little for halves that floats put on either side.
    assert back.time_s == pytest.approx(reading.time_s, abs=0.000501)
    assert [zone.zone for zone in back.zones] == [zone.zone for zone in reading.zones]
    for a, b in zip(back.zones, reading.zones, strict=True):
        assert (a.live is None) == (b.live is None)
        assert a.live == (None if b.live is None else pytest.approx(b.live, abs=0.000501))
        assert a.speed_mm_s == (None if b.speed_mm_s is None else pytest.approx(b.speed_mm_s, abs=0.00501))
    for c, d in zip(back.faults, reading.faults, strict=True):
        assert (c.x_mm, c.y_mm) == (pytest.approx(d.x_mm, abs=0.0501), pytest.approx(d.y_mm, abs=0.0501))


@settings(max_examples=60, deadline=None)
@given(readings(anything, anything, st.floats()))
def test_nan_and_infinity_become_null(reading: Reading) -> None:
    raw = check_against_contract(reading_line(reading))
    for zone, was in zip(raw["zones"], reading.zones, strict=True):
        known = was.live is not None and math.isfinite(was.live)
        assert (zone["live"] is not None) == known


def test_the_reading_of_the_contract(round_bed: Make, make_reading: Make) -> None:
    raw = check_against_contract(reading_line(make_reading(round_bed())))
    assert list(raw) == ["time_s", "state", "bed", "zones", "faults", "next", "outcome", "problems"]
    assert raw["time_s"] == 12.4
    assert raw["bed"] == {
        "evenness": 0.71,
        "live": 0.86,
        "speed_mm_s": 63.0,
        "speed_error_mm_s": 1.9,
        "verdict": "uneven",
    }
    assert raw["faults"][0] == {
        "kind": "spout",
        "zone": "1",
        "x_mm": 62.0,
        "y_mm": -88.5,
        "area_mm2": 910.0,
        "since_s": 4.0,
    }
    assert raw["next"] == {"zone": "7", "do": "less_air", "amount": 0.5, "because": "It is the richest."}
    assert raw["problems"] == [{"problem": "blurred", "advice": "Edges are 4.1 px wide; focus again."}]


def test_unknown_is_null_and_a_still_surface_is_zero(round_bed: Make, know_nothing: Make) -> None:
    reading = know_nothing(round_bed(1))
    raw = reading_dict(reading)
    assert raw["bed"] == dict.fromkeys(["evenness", "live", "speed_mm_s", "speed_error_mm_s", "verdict"], None)
    assert raw["next"] is None
    still = replace(reading.zones[0], live=-0.0, speed_mm_s=0.0001, speed_error_mm_s=0.3)
    line = reading_line(replace(reading, zones=(still,)))
    assert '"live":0.0,"speed_mm_s":0.0,"speed_error_mm_s":0.3' in line


def test_numbers_are_rounded(round_bed: Make, know_nothing: Make) -> None:
    reading = know_nothing(round_bed(1))
    zone = replace(reading.zones[0], live=0.12345, speed_mm_s=12.3456, speed_error_mm_s=1 / 3)
    fault = Fault(kind=FaultKind.RIM_LEAK, zone="1", x_mm=1 / 3, y_mm=-200.06, area_mm2=10 / 3, since_s=2 / 3)
    raw = reading_dict(replace(reading, time_s=1 / 3, zones=(zone,), faults=(fault,)))
    assert raw["time_s"] == 0.333
    assert [raw["zones"][0][key] for key in ("live", "speed_mm_s", "speed_error_mm_s")] == [
        0.123,
        12.35,
        0.33,
    ]
    assert [raw["faults"][0][key] for key in ("x_mm", "y_mm", "area_mm2", "since_s")] == [
        0.3,
        -200.1,
        3.3,
        0.667,
    ]


def test_a_reading_without_a_time_is_refused(round_bed: Make, know_nothing: Make) -> None:
    with pytest.raises(ValueError, match="time_s"):
        reading_dict(replace(know_nothing(round_bed(1)), time_s=math.nan))


def test_names_outside_ascii_pass_through_any_pipe(round_bed: Make, make_reading: Make) -> None:
    bed: Bed = round_bed(1, names=('Süd "A"\n\ud800',))
    line = reading_line(make_reading(bed))
    line.encode("ascii")
    assert parse_reading_line(line).zones[0].zone == 'Süd "A"\n\ud800'


def test_keys_beyond_ours_are_passed_over(round_bed: Make, make_reading: Make) -> None:
    reading = make_reading(round_bed())
    raw = reading_dict(reading) | {"wall_clock": "later", "zone_trend": [1]}
    assert reading_line(parse_reading_line(json.dumps(raw))) == reading_line(reading)


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("time_s",), None, "time_s: found null, expected a number"),
        (("time_s",), True, "time_s: found true"),
        (("state",), "sleeping", "state: found sleeping, expected one of settling, reading"),
        (("bed",), [], "bed: found [], expected an object"),
        (("bed", "live"), 1.01, "bed.live: found 1.01, expected a number from 0 to 1 or null"),
        (("bed", "verdict"), "good", "bed.verdict: found good"),
        (("zones",), {}, "zones: found {}, expected a list"),
        (("zones", 2, "hint"), "more air", "zones[2].hint: found more air"),
        (("zones", 2, "speed_error_mm_s"), -1, "zones[2].speed_error_mm_s: found -1"),
        (("zones", 2, "speed_mm_s"), 10**400, "zones[2].speed_mm_s: found"),
        (("zones", 2), 7, "zones[2]: found 7, expected an object"),
        (("zones", 0, "zone"), 1, "zones[0].zone: found 1, expected text"),
        (("faults", 0, "kind"), None, "faults[0].kind: found null"),
        (("next", "amount"), 2, "next.amount: found 2"),
        (("outcome",), 3, "outcome: found 3"),
        (("problems", 0, "problem"), "foggy", "problems[0].problem: found foggy"),
    ],
)
def test_a_wrong_value_is_told_with_its_place(
    round_bed: Make, make_reading: Make, path: tuple[Any, ...], value: object, told: str
) -> None:
    raw = reading_dict(make_reading(round_bed()))
    target: Any = raw
    for step in path[:-1]:
        target = target[step]
    target[path[-1]] = value
    with pytest.raises(UserError) as caught:
        parse_reading_line(json.dumps(raw), "shift.jsonl:7")
    assert len(caught.value.lines) == 1
    assert caught.value.lines[0].startswith(f"shift.jsonl:7: {told}")


@pytest.mark.parametrize("key", sorted(TOP))
def test_a_missing_key_is_told_once(round_bed: Make, make_reading: Make, key: str) -> None:
    raw = reading_dict(make_reading(round_bed()))
    del raw[key]
    with pytest.raises(UserError) as caught:
        parse_reading_line(json.dumps(raw))
    (line,) = caught.value.lines
    assert f"{key}: found nothing" in line


@pytest.mark.parametrize(
    "line", ["", "{", "[]", "3", "null", '{"did":{"do":"stirred"}}', "[" * 100_000, '{"time_s":NaN}', "\x00"]
)
def test_what_is_no_reading_is_refused(line: str) -> None:
    with pytest.raises(UserError, match="expected"):
        parse_reading_line(line)


def test_all_mistakes_in_one_go(round_bed: Make, make_reading: Make) -> None:
    raw = reading_dict(make_reading(round_bed()))
    raw["state"], raw["outcome"], raw["bed"]["live"] = "x", "y", "z"
    with pytest.raises(UserError) as caught:
        parse_reading_line(json.dumps(raw))
    assert len(caught.value.lines) == 3
