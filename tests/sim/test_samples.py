"""The demo clip in sample_frames is whole, small, and read as it was when it was made."""

from __future__ import annotations

from pathlib import Path

import cv2
import pytest

from bedwatch.aim.aimfile import read_aim
from bedwatch.bed import read_bed
from bedwatch.frames.frame import Outcome
from bedwatch.frames.open import open_source
from bedwatch.judge.types import Reading, State
from bedwatch.show.json_read import parse_reading_line
from bedwatch.sim import demo_bed, right_hints
from bedwatch.sim.demo import DEMO_AIR
from bedwatch.watch import End, Watch

REPOSITORY = Path(__file__).resolve().parents[2]
SAMPLES = REPOSITORY / "sample_frames"
CLIP = SAMPLES / "demo.mp4"
BED_FILE = REPOSITORY / "calibration" / "gate_latch.bed.toml"


@pytest.fixture(scope="module")
def watched() -> tuple[list[float], Outcome, list[Reading]]:
    """Frame times, how the clip ended, and its readings, aimed automatically."""
    source, watch = open_source(str(CLIP)), Watch(read_bed(BED_FILE))
    times, readings = [], []
    for frame in source:
        times.append(frame.time_s)
        readings.append(watch.step(frame))
    readings.append(watch.step(End()))
    return times, source.outcome, [reading for reading in readings if reading is not None]


def expected() -> list[Reading]:
    lines = (SAMPLES / "demo.readings.jsonl").read_text().splitlines()
    return [parse_reading_line(line, f"line {number}") for number, line in enumerate(lines, 1)]


def test_the_clip_is_whole_and_small(watched: tuple[list[float], Outcome, list[Reading]]) -> None:
    times, outcome, _ = watched
    assert CLIP.stat().st_size < 4_000_000
    assert len(times) == 420
    assert times[-1] == pytest.approx(419 / 30, abs=1e-3)
    assert outcome is Outcome.END


def test_everything_else_is_small() -> None:
    files = [path for path in SAMPLES.rglob("*") if path.is_file()]
    assert {path.name for path in files if path.stat().st_size >= 1_500_000} == {CLIP.name}


def test_hints_are_those_written_down_and_right(watched: tuple[list[float], Outcome, list[Reading]]) -> None:
    last, written = watched[2][-1], expected()[-1]
    hints = [zone.hint for zone in last.zones]
    assert last.state is State.READING
    assert last.time_s == pytest.approx(written.time_s, abs=1e-3)
    assert hints == [zone.hint for zone in written.zones]
    assert all(hint in right_hints(air) for hint, air in zip(hints, DEMO_AIR, strict=True))


def test_speeds_are_those_written_down_within_their_errors(
    watched: tuple[list[float], Outcome, list[Reading]],
) -> None:
    last, written = watched[2][-1], expected()[-1]
    for now, then in zip(last.zones, written.zones, strict=True):
        assert now.speed_mm_s is not None
        assert now.speed_error_mm_s is not None
        assert then.speed_mm_s is not None
        assert then.speed_error_mm_s is not None
        assert abs(now.speed_mm_s - then.speed_mm_s) <= max(now.speed_error_mm_s, then.speed_error_mm_s)
        assert now.live == pytest.approx(then.live, abs=0.1)


def test_the_aim_file_and_the_stills_are_of_the_same_bed() -> None:
    bed, demo = read_bed(BED_FILE), demo_bed()
    assert (bed.shape, bed.width_mm, bed.surface_below_rim_mm) == (demo.shape, demo.width_mm, demo.surface_below_rim_mm)
    for ours, made in zip(bed.zones, demo.zones, strict=True):
        assert ours.name == made.name
        assert ours.polygon_mm == pytest.approx(made.polygon_mm)
    aim = read_aim(SAMPLES / "demo.aim.toml", bed)
    stills = sorted((SAMPLES / "stills").glob("*.jpg"))
    assert len(stills) >= 3
    pictures = [cv2.imread(str(path)) for path in stills]
    assert {(picture.shape[1], picture.shape[0]) for picture in pictures} == {aim.size_px}
