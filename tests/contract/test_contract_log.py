"""`watch --log`: what is printed is what is kept, and a second run goes on from it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

OURS = {"at", "log"}  # what a line of the log has beside the reading's own fields


def test_every_reading_is_appended_and_a_second_run_goes_on(
    run: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path, watched: Any
) -> None:
    log = tmp_path / "latch.log.jsonl"
    did = '{"did": {"zone": "6", "do": "less_air", "amount": 0.2}}\n'
    first = run("watch", clip, "--bed", bed, "--log", log, "--json")
    assert first.status == 0
    assert first.out == watched.out
    with log.open("a") as file:
        file.write(did)
    second = run("watch", clip, "--bed", bed, "--aim", aimed[1], "--log", log, "--json")
    assert second.status == 0, second.err
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    kept = [{key: value for key, value in line.items() if key not in OURS} for line in lines]
    assert kept == [*first.objects, json.loads(did), *second.objects]


def test_a_mistake_in_the_log_is_told_before_anything_is_read(run: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    log = tmp_path / "latch.log.jsonl"
    line = '{"did": {"zone": "9", "do": "less_air", "amount": 0.2}}\n'
    log.write_text(line)
    ran = run("watch", clip, "--bed", bed, "--log", log, "--json")
    assert (ran.status, ran.out) == (2, "")
    assert "did.zone" in ran.err
    assert log.read_text() == line
    taken = bed.read_bytes()
    ran = run("watch", clip, "--bed", bed, "--log", bed, "--json")
    assert ran.status == 2
    assert bed.read_bytes() == taken


def test_no_log_is_left_behind_when_there_is_nothing_to_watch(run: Any, bed: Path, empty: Path) -> None:
    ran = run("watch", empty / "nowhere.avi", "--bed", bed, "--log", empty / "log.jsonl")
    assert ran.status == 2
