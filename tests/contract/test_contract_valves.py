"""`bedwatch valves` and `bedwatch practise --valves`: what they find, keep and refuse."""

from __future__ import annotations

import io
import math
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from bedwatch.bed import read_bed
from bedwatch.judge.types import BedReading, HintWord, Outcome, Reading, Signs, State, Verdict, ZoneReading
from bedwatch.show.jsonl import reading_line
from bedwatch.sim import BedSource, demo_scene, write_clip

if TYPE_CHECKING:
    from conftest import Ran

    Run = Callable[..., Ran]

ZONES = [str(number) for number in range(1, 8)]


@pytest.mark.parametrize("seed", [2, 3])
def test_practise_finds_the_truth_of_a_mixed_up_bed(run: Run, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Whatever is told of a valve is so; most is told."""
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 200))
    ran = run("practise", "--valves", "--seed", seed)
    assert ran.status == 0, ran.err
    truth = dict(re.findall(r"(\d): (\d|off)", ran.out.rpartition("In truth")[2]))
    told = dict(re.findall(r"^[ |]+(\d)[ |]+(?:zone (\d)|nothing)", ran.out, re.M))
    assert len(told) >= 6
    assert told == {valve: zone.replace("off", "") for valve, zone in truth.items() if valve in told}


def test_practise_goes_by_what_is_typed(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("far\n7\n0.1\n\ns\nq\n"))
    ran = run("practise", "--valves", "--seed", 2)
    assert ran.status == 0, ran.err
    assert 'found "far", expected Enter, a share of the travel' in ran.out
    assert 'found "7"' in ran.out
    assert "Which valve is which" in ran.out
    assert ran.out.count("not moved") == 6
    assert run("practise", "--valves", "--seed", -1).status == 2


def seen(folder: Path, name: str, air: Sequence[float]) -> Path:
    """A log whose one reading shows this much air in every zone."""
    zones = tuple(
        ZoneReading(
            zone=zone,
            live=1.0,
            speed_mm_s=50 * (r - 1) ** 0.5,
            speed_error_mm_s=2.0,
            hint=HintWord.HOLD,
            because="Good.",
            signs=Signs(live=1.0, duty=0.4, restless=2.2 * math.log((r - 1) / 2.3), glides=0.0),
        )
        for zone, r in zip(ZONES, air, strict=True)
    )
    bed = BedReading(evenness=0.9, live=1.0, speed_mm_s=50.0, speed_error_mm_s=2.0, verdict=Verdict.EVEN)
    reading = Reading(time_s=12.0, state=State.READING, bed=bed, zones=zones, outcome=Outcome.EVEN)
    path = folder / f"{name}.jsonl"
    path.write_text(reading_line(reading) + "\n")
    return path


REST = (2.0, 1.9, 2.0, 2.1, 2.0, 1.9, 2.0)


def looks(folder: Path, feeds: Sequence[int], way: float = 1.0) -> list[object]:
    """Every valve opened by half and brought back. feeds: number of the zone of every valve's line, from 0."""
    sources: list[object] = [seen(folder, "rest", REST)]
    turns: list[object] = []
    for valve, zone in enumerate(feeds):
        air = list(REST)
        air[zone] *= math.exp(0.5 * way)
        sources += [seen(folder, f"valve {valve + 1}", air), folder / "rest.jsonl"]
        turns += ["--turned", f"{valve + 1}: 0.5", "--turned", f"{valve + 1}: -0.5"]
    return [*sources, *turns]


@pytest.fixture
def my_bed(bed: Path, tmp_path: Path) -> Path:
    path = tmp_path / "my.bed.toml"
    path.write_text("# mine\n" + bed.read_text())
    return path


def test_swapped_lines_are_told_and_kept_on_demand_only(run: Run, my_bed: Path, tmp_path: Path) -> None:
    before = my_bed.read_text()
    typed = looks(tmp_path, [0, 1, 3, 2, 4, 5, 6])
    ran = run("valves", *typed, "--bed", my_bed)
    assert ran.status == 0, ran.err
    assert "SWAPPED: valve 3 feeds zone 4 and 4 feeds zone 3" in " ".join(ran.out.split())
    assert my_bed.read_text() == before
    assert "With --save this goes into" in ran.out
    assert run("valves", *typed, "--bed", my_bed, "--save").status == 0
    assert my_bed.read_text().startswith(before)
    labels = tomllib.loads(my_bed.read_text())["valves"]["labels"]
    assert labels == {**{zone: zone for zone in ZONES}, "3": "4", "4": "3"}
    again = run("valves", *typed, "--bed", my_bed)
    assert "SWAPPED" not in again.out
    assert "--save" not in again.out


def test_a_valve_that_turns_the_other_way_is_kept_as_that(run: Run, my_bed: Path, tmp_path: Path) -> None:
    ran = run("valves", *looks(tmp_path, range(7), -1.0), "--bed", my_bed, "--save")
    assert ran.status == 0, ran.err
    assert ran.out.count("REVERSED") == 7
    assert read_bed(my_bed).valves.reversed == set(ZONES)


def test_labels_that_name_no_zone_are_given_theirs(run: Run, my_bed: Path, tmp_path: Path) -> None:
    """Nothing is called swapped where the label says nothing; a zone whose valve was not among them has none."""
    typed = [str(one) for one in looks(tmp_path, [2, 0])]
    typed = [re.sub(r"^([12]): ", lambda found: {"1": "red", "2": "blue"}[found[1]] + ": ", one) for one in typed]
    ran = run("valves", *typed, "--labels", "red, blue", "--bed", my_bed, "--save")
    assert ran.status == 0, ran.err
    assert "SWAPPED" not in ran.out
    valves = read_bed(my_bed).valves
    assert dict(valves.labels) == {"3": "red", "1": "blue"}
    assert valves.without == {"2", "4", "5", "6", "7"}


def test_after_some_clips_it_says_what_to_film_next(run: Run, my_bed: Path, tmp_path: Path) -> None:
    ran = run("valves", seen(tmp_path, "rest", REST), "--bed", my_bed)
    assert ran.status == 0, ran.err
    assert 'add the clip and --turned "1: 0.25"' in ran.out
    still = seen(tmp_path, "still", REST).read_text().replace('"live":1.0', '"live":0.1')
    (tmp_path / "still.jsonl").write_text(still)
    assert "raise the supply" in run("valves", tmp_path / "still.jsonl", "--bed", my_bed).out


def test_a_bed_with_one_supply_only_is_told_what_that_means(run: Run, my_bed: Path) -> None:
    my_bed.write_text(my_bed.read_text() + '[valves]\nwithout = "all"\n')
    ran = run("valves", "no-such.avi", "--bed", my_bed)
    assert ran.status == 0
    assert "no zone has a valve of its own" in ran.out


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--turned", "1: 0.5"], "--turned: found 1 with 1 clips, expected one for every clip but the first"),
        (["REST", "--turned", "9: 0.5"], '--turned: found "9: 0.5", expected a valve (1, 2, 3'),
        (["REST", "--turned", "1: 7"], '--turned: found "1: 7", expected'),
        (["REST", "--turned", "1"], '--turned: found "1", expected'),
        (["--labels", "a,,b"], '--labels: found "", expected what is written on each valve'),
        (["--labels", "a, a"], '--labels: found "a" twice'),
    ],
)
def test_every_mistake_is_one_line(run: Run, my_bed: Path, tmp_path: Path, more: list[str], says: str) -> None:
    rest = seen(tmp_path, "rest", REST)
    ran = run("valves", rest, *(str(rest) if one == "REST" else one for one in more), "--bed", my_bed)
    (line,) = ran.mistakes
    assert says in line


def test_clips_of_a_bed_show_which_zone_answers(
    run: Run, aimed: tuple[Ran, Path], my_bed: Path, tmp_path: Path
) -> None:
    """Two clips of a make-believe bed: valve 2 feeds zone 5 there."""
    clips = []
    for name, r in (("rest", 1.6), ("open", 3.8)):
        scene = demo_scene(size_px=(320, 240), fps=15.0, duration_s=9.0)
        scene = replace(scene, air=tuple(r if zone == 4 else 1.9 for zone in range(7)))
        clips.append(write_clip(BedSource(scene), tmp_path / f"{name}.avi"))
    ran = run("valves", *clips, "--turned", "2: 0.5", "--bed", my_bed, "--aim", aimed[1])
    assert ran.status == 0, ran.err
    assert "open.avi: Valve 2: zone 5 answers." in ran.out
