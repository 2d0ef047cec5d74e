"""The log: what is written comes back, others may write to it, and no accident loses a line."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bedwatch.bed import Bed, ring_zones
from bedwatch.errors import UserError
from bedwatch.judge.types import BedReading, Did, Done, HintWord, Outcome, Reading, Signs, State, Verdict, ZoneReading
from bedwatch.keep.log import Log
from bedwatch.keep.read import read_log

SIGNS = Signs(live=0.98, duty=0.12, restless=-1.5, glides=None)


def reading(bed: Bed, time_s: float, state: State = State.READING) -> Reading:
    zones = tuple(
        ZoneReading(
            zone=zone.name,
            live=0.97,
            speed_mm_s=61.0,
            speed_error_mm_s=2.0,
            hint=HintWord.HOLD,
            because="Small eruptions come and go.",
            signs=SIGNS if state is State.READING else None,
        )
        for zone in bed.zones
    )
    whole = BedReading(evenness=0.9, live=0.97, speed_mm_s=61.0, speed_error_mm_s=1.5, verdict=Verdict.EVEN)
    return Reading(time_s=time_s, state=state, bed=whole, zones=zones, outcome=Outcome.EVEN)


@pytest.fixture
def write(bed: Bed, tmp_path: Path) -> Callable[..., Path]:
    """One run that writes these lines to the log."""

    def run(*what: Reading | Did, notes: list[str] | None = None) -> Path:
        path = tmp_path / "latch.log.jsonl"
        told: list[str] = []
        with Log(path, bed, "clip.avi", told.append) as log:
            for one in what:
                log.did(one) if isinstance(one, Did) else log.reading(one)
        if notes is None:
            assert told == []
        else:
            notes += told
        return path

    return run


LESS = Did(do=Done.LESS_AIR, zone="4", amount=0.25)


def test_what_was_written_comes_back(bed: Bed, write: Callable[..., Path]) -> None:
    what = [reading(bed, 8.0), LESS, Did(do=Done.STIRRED), reading(bed, 1.0, State.SETTLING), reading(bed, 9.6)]
    book = read_log(write(*what), bed)
    assert list(book.past) == what
    assert book.notes == ()
    assert all(entry.at is not None for entry in book.entries)
    first = book.entries[0].began
    assert first is not None
    assert (first.version, first.bed, first.source) == (1, "Gate-latch bed", "clip.avi")
    assert [entry.began for entry in book.entries[1:]] == [None] * 4


def test_every_line_is_a_reading_or_a_did_line(bed: Bed, write: Callable[..., Path]) -> None:
    """Readers of the log need to know no other kind of line; the beginning of a run rides on its first reading."""
    lines = [json.loads(line) for line in write(reading(bed, 8.0), LESS).read_text().splitlines()]
    assert lines[0]["state"] == "reading"
    assert lines[1]["did"] == {"zone": "4", "do": "less_air", "amount": 0.25}


def test_a_run_goes_on_where_the_last_one_ended(bed: Bed, write: Callable[..., Path]) -> None:
    write(reading(bed, 8.0), reading(bed, 8.8))
    path = write(reading(bed, 0.8), reading(bed, 9.6))
    assert [entry.began is not None for entry in read_log(path, bed).entries] == [True, False, True, False]


def test_only_the_looks_between_moves_and_runs_are_read_where_that_is_enough(
    bed: Bed, write: Callable[..., Path]
) -> None:
    """Source time starts anew with a clip, also one of another program that does not say so."""
    path = write(reading(bed, 8.0), reading(bed, 8.8), LESS, reading(bed, 9.6), reading(bed, 11.0, State.BLOCKED))
    line = path.read_text().splitlines()[1]
    bare = {key: value for key, value in json.loads(line).items() if key not in ("at", "log")}
    with path.open("a") as file:
        file.writelines(json.dumps(bare | {"time_s": time_s}) + "\n" for time_s in (7.2, 8.0, 6.4))
    book = read_log(path, bed, looks_only=True)
    assert [one.time_s if isinstance(one, Reading) else "did" for one in book.past] == [8.8, "did", 9.6, 8.0, 6.4]
    assert book.entries[0].began is not None  # though the first line of the run is not the one kept


@pytest.mark.parametrize(
    ("line", "did"),
    [
        ('{"did": {"zone": "4", "do": "less_air", "amount": 0.5}}', Did(do=Done.LESS_AIR, zone="4", amount=0.5)),
        ('{"did": {"zone": "all", "do": "more_air", "amount": 1}}', Did(do=Done.MORE_AIR, zone="all", amount=1.0)),
        ('{"did": {"do": "stirred"}}', Did(do=Done.STIRRED)),
        ('{"did": {"do": "checked_plate"}}', Did(do=Done.CHECKED_PLATE)),
        ('{"did": {"zone": "2", "do": "stir", "amount": null}}', Did(do=Done.STIRRED, zone="2")),
        ('{"did": {"zone": "2", "do": "more_air"}}', Did(do=Done.MORE_AIR, zone="2")),
        ('{"note": "x", "did": {"do": "stirred", "who": "Sam"}}\r', Did(do=Done.STIRRED)),
    ],
)
def test_moves_that_others_wrote_down(bed: Bed, write: Callable[..., Path], line: str, did: Did) -> None:
    path = write(reading(bed, 8.0))
    with path.open("a", newline="") as file:
        file.write(line + "\n")
    write(reading(bed, 9.0))
    assert read_log(path, bed).past == (reading(bed, 8.0), did, reading(bed, 9.0))


@pytest.mark.parametrize(
    ("did", "told"),
    [
        ('{"zone": "8", "do": "less_air", "amount": 0.1}', ['did.zone: found "8"', "1, 2, 3, 4, 5, 6, 7 or all"]),
        ('{"do": "less_air", "amount": 0.1}', ["did.zone: found nothing"]),
        ('{"zone": "4", "do": "turned", "amount": 0.1}', ['did.do: found "turned"', "more_air"]),
        ('{"zone": "4", "do": "more_air", "amount": 25}', ["did.amount: found 25", "0 to 1"]),
        ('{"zone": 4, "do": "more_air", "amount": true}', ["did.zone: found 4", "did.amount: found true"]),
        ('"stirred"', ['did: found "stirred"']),
    ],
)
def test_a_move_that_cannot_have_been_made_is_a_mistake(
    bed: Bed, write: Callable[..., Path], did: str, told: list[str]
) -> None:
    path = write(reading(bed, 8.0))
    with path.open("a") as file:
        file.write(f'{{"did": {did}}}\n')
    with pytest.raises(UserError) as mistake:
        read_log(path, bed)
    for words in told:
        assert any(words in line and f"{path}:2" in line for line in mistake.value.lines), mistake.value.lines


def test_damage_is_told_and_passed_over(bed: Bed, write: Callable[..., Path]) -> None:
    path = write(reading(bed, 8.0), reading(bed, 9.0))
    first, second = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + b"\x00\xff{\n\n[1]\n" + first.replace(b'"live":0.97', b'"live":7', 1) + second)
    book = read_log(path, bed)
    assert book.past == (reading(bed, 8.0), reading(bed, 9.0))
    assert [note.split(": ")[0] for note in book.notes] == [f"{path}:{number}" for number in (2, 4, 5)]


@pytest.mark.parametrize("kept", [1, 40, -2])
def test_a_line_cut_off_by_a_power_cut_is_set_aside(bed: Bed, write: Callable[..., Path], kept: int) -> None:
    path = write(reading(bed, 8.0), reading(bed, 9.0))
    first, second = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + second[:kept])
    assert read_log(path, bed).past == (reading(bed, 8.0),)
    assert read_log(path, bed).notes == ()
    notes: list[str] = []
    write(reading(bed, 10.0), notes=notes)
    assert len(notes) == 1
    assert "cut off" in notes[0]
    assert read_log(path, bed).past == (reading(bed, 8.0), reading(bed, 10.0))
    assert path.with_name(path.name + ".cut").read_bytes() == second[:kept] + b"\n"


def test_a_whole_line_without_its_end_is_kept(bed: Bed, write: Callable[..., Path]) -> None:
    path = write(reading(bed, 8.0))
    with path.open("a") as file:
        file.write('{"did": {"do": "stirred"}}')
    assert read_log(path, bed).past[1:] == (Did(do=Done.STIRRED),)
    write(reading(bed, 9.0))
    assert read_log(path, bed).past[1:] == (Did(do=Done.STIRRED), reading(bed, 9.0))


def test_a_full_disk_is_told_once_and_watching_goes_on(bed: Bed) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("this system has no device that is always full")
    notes: list[str] = []
    with Log(full, bed, "0", notes.append) as log:
        for number in range(3):
            log.reading(reading(bed, float(number)))
    assert len(notes) == 2
    assert "cannot be written" in notes[0]
    assert "3 lines are missing" in notes[1]


def test_another_beds_log_is_not_gone_on_from(bed: Bed, write: Callable[..., Path]) -> None:
    path = write(reading(bed, 8.0))
    with pytest.raises(UserError, match='log of the bed "Gate-latch bed", expected "Hinge bed"'):
        read_log(path, replace(bed, name="Hinge bed"))
    text = path.read_text()
    path.write_text(text.replace("Gate-latch bed", "Hinge bed"))
    with pytest.raises(UserError, match="zones 1, 2, 3, 4, 5, 6, 7, expected 1, 2, 3"):
        read_log(path, replace(bed, name="Hinge bed", zones=ring_zones([1, 2], 210.0)))


def test_what_is_no_log_is_refused(bed: Bed, tmp_path: Path) -> None:
    other = tmp_path / "latch.bed.toml"
    other.write_text('[bed]\nname = "Gate-latch bed"\n')
    with pytest.raises(UserError, match="found no line of a log"):
        read_log(other, bed)
    other.write_text("")
    assert read_log(other, bed).past == ()
    with pytest.raises(UserError, match="--log"):
        Log(tmp_path / "nowhere" / "log.jsonl", bed, "0", print)


def test_a_log_that_cannot_be_made_is_told_before_anything_is_seen(bed: Bed, tmp_path: Path) -> None:
    """A name the file system takes for too long; the folder is there and may be written to."""
    with pytest.raises(UserError, match="cannot be written"):
        Log(tmp_path / ("l" * 300 + ".jsonl"), bed, "clip.avi", print)
    assert list(tmp_path.iterdir()) == []


def test_a_run_without_a_line_leaves_no_log(bed: Bed, tmp_path: Path) -> None:
    with Log(tmp_path / "latch.log.jsonl", bed, "clip.avi", print):
        assert list(tmp_path.iterdir()) == []
    assert list(tmp_path.iterdir()) == []
