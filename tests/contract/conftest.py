"""A small make-believe clip, the command run on it, and the contract's rules checked by hand, field by field."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import pytest

from bedwatch.cli import main
from bedwatch.frames.frame import Picture
from bedwatch.sim import BedSource, demo_scene, write_clip

FPS = 15.0
ROUND_BED = """\
[bed]
name = "Gate-latch bed"
shape = "round"
diameter = "420 mm"
surface_below_rim = "80 mm"

[zones]
rings = [1, 6]
"""

STATES = {"settling", "reading", "blocked", "no_picture"}
VERDICTS = {"even", "uneven", "violent", "still"}
HINTS = {"more_air", "less_air", "hold", "stir", "check_plate", "wait"}
FAULTS = {"spout", "dead_spot", "rim_leak"}
OUTCOMES = {"looking", "moving", "even", "supply_too_small", "not_valves"}
PROBLEMS = {
    *("blurred", "dark", "overexposed", "low_contrast", "flicker", "shaking", "low_frame_rate", "dropped_frames"),
    *("exposure_hunting", "dusty_lens", "dust_cloud", "bed_lost", "bed_not_found"),
}


@dataclass(frozen=True)
class Ran:
    """What one run of the command gave."""

    status: int
    out: str
    err: str

    @property
    def objects(self) -> list[dict[str, Any]]:
        """Standard output, every line of which must be one JSON object without NaN or infinity."""
        assert self.out == "" or self.out.endswith("\n")
        return [json.loads(line, parse_constant=_refuse) for line in self.out.splitlines()]

    @property
    def mistakes(self) -> list[str]:
        """The lines of standard error, when the run was refused and gave nothing."""
        assert self.status == 2, self
        assert self.out == "", self
        lines = self.err.splitlines()
        assert lines, self
        assert all(line.startswith("bedwatch: ") for line in lines), self.err
        return lines


def _refuse(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")


Run = Callable[..., Ran]


def run_here(*arguments: object) -> Ran:
    """The command in this process: quick, since everything is loaded once."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = main([str(argument) for argument in arguments])
    return Ran(status, out.getvalue(), err.getvalue())


def run_apart(*arguments: object, **options: Any) -> Ran:
    """The command in a process of its own, where native code cannot take us with it or write past us."""
    done = subprocess.run(
        command(*arguments), capture_output=True, text=True, encoding="utf-8", timeout=120, check=False, **options
    )
    return Ran(done.returncode, done.stdout, done.stderr)


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "bedwatch", *map(str, arguments)]


@pytest.fixture(scope="session")
def run() -> Run:
    return run_here


@pytest.fixture(scope="session")
def apart() -> Run:
    return run_apart


@pytest.fixture(scope="session")
def line_of() -> Callable[..., list[str]]:
    """The command line, for who wants to start it with pipes of their own."""
    return command


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("contract")


@pytest.fixture(scope="session")
def bed(folder: Path) -> Path:
    path = folder / "latch.bed.toml"
    path.write_text(ROUND_BED)
    return path


@pytest.fixture(scope="session")
def source() -> BedSource:
    return BedSource(demo_scene(size_px=(320, 240), fps=FPS, duration_s=10.0))


@pytest.fixture(scope="session")
def clip(folder: Path, source: BedSource) -> Path:
    """Ten seconds of the demo bed: zone 3 starved, zone 6 over-aired."""
    return write_clip(source, folder / "clip.avi")


@pytest.fixture(scope="session")
def pictures(clip: Path) -> list[Picture]:
    capture = cv2.VideoCapture(str(clip))
    found = []
    while (read := capture.read())[0]:
        found.append(read[1])
    capture.release()
    assert len(found) == 150
    return found


@pytest.fixture(scope="session")
def film(folder: Path) -> Callable[[str, Sequence[Picture]], Path]:
    """Writes pictures as a clip of that name."""

    def write(name: str, shown: Sequence[Picture]) -> Path:
        path = folder / f"{name}.avi"
        size = (shown[0].shape[1], shown[0].shape[0])
        writer = cv2.VideoWriter(str(path), cv2.CAP_OPENCV_MJPEG, cv2.VideoWriter.fourcc(*"MJPG"), FPS, size)
        for picture in shown:
            writer.write(picture)
        writer.release()
        return path

    return write


@pytest.fixture(scope="session")
def aimed(clip: Path, bed: Path, folder: Path) -> tuple[Ran, Path]:
    """The run of `aim --json` on the clip, and the file it wrote."""
    out = folder / "latch.aim.toml"
    return run_here("aim", clip, "--bed", bed, "--out", out, "--json"), out


@pytest.fixture(scope="session")
def watched(clip: Path, bed: Path) -> Ran:
    """The run of `watch --json` on the clip, without an aim file."""
    return run_here("watch", clip, "--bed", bed, "--json")


@pytest.fixture(scope="session")
def check() -> Callable[[dict[str, Any], Sequence[str]], None]:
    return check_reading


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Path]:
    """A folder in which nothing may have appeared when the test ends."""
    place = tmp_path / "empty"
    place.mkdir()
    yield place
    assert list(place.iterdir()) == []


def check_reading(reading: dict[str, Any], zones: Sequence[str]) -> None:
    """One reading against the contract: fields, words, ranges, null where nothing is known."""
    assert set(reading) >= {"time_s", "state", "bed", "zones", "faults", "next", "outcome", "problems"}
    assert _number(reading["time_s"])
    assert reading["time_s"] >= 0
    assert reading["state"] in STATES
    assert reading["outcome"] in OUTCOMES
    _check_bed(reading["bed"])
    assert [zone["zone"] for zone in reading["zones"]] == list(zones)
    for zone in reading["zones"]:
        _check_zone(zone)
    for fault in reading["faults"]:
        _check_fault(fault, zones, reading["time_s"])
    for problem in reading["problems"]:
        check_problem(problem)
    if reading["next"] is not None:
        _check_move(reading["next"], zones)
    assert (reading["outcome"] == "moving") == (reading["next"] is not None)
    if reading["state"] != "reading":
        assert {zone["hint"] for zone in reading["zones"]} == {"wait"}
        assert reading["next"] is None
    if reading["state"] == "no_picture":
        assert all(zone["speed_mm_s"] is None and zone["live"] is None for zone in reading["zones"])


def check_problem(problem: dict[str, Any]) -> None:
    assert set(problem) >= {"problem", "advice"}
    assert problem["problem"] in PROBLEMS
    assert problem["advice"].strip()


def _check_bed(bed: dict[str, Any]) -> None:
    assert set(bed) >= {"evenness", "live", "speed_mm_s", "speed_error_mm_s", "verdict"}
    assert bed["verdict"] is None or bed["verdict"] in VERDICTS
    assert _null_or_within(bed["evenness"], 0, 1)
    _check_figures(bed)


def _check_zone(zone: dict[str, Any]) -> None:
    assert set(zone) >= {"zone", "live", "speed_mm_s", "speed_error_mm_s", "hint", "because"}
    assert zone["hint"] in HINTS
    assert zone["because"].strip()
    _check_figures(zone)


def _check_figures(figures: dict[str, Any]) -> None:
    assert _null_or_within(figures["live"], 0, 1)
    assert _null_or_within(figures["speed_mm_s"], 0, 1e4)
    assert _null_or_within(figures["speed_error_mm_s"], 0, 1e4)
    # a speed without its error cannot be believed
    assert (figures["speed_mm_s"] is None) == (figures["speed_error_mm_s"] is None)


def _check_fault(fault: dict[str, Any], zones: Sequence[str], now_s: float) -> None:
    assert set(fault) >= {"kind", "zone", "x_mm", "y_mm", "area_mm2", "since_s"}
    assert fault["kind"] in FAULTS
    assert fault["zone"] in zones
    assert _number(fault["x_mm"])
    assert _number(fault["y_mm"])
    assert fault["area_mm2"] > 0
    assert 0 <= fault["since_s"] <= now_s


def _check_move(move: dict[str, Any], zones: Sequence[str]) -> None:
    assert set(move) >= {"zone", "do", "amount", "because"}
    assert move["zone"] == "all" or move["zone"] in zones
    assert move["do"] in HINTS - {"hold", "wait"}
    assert move["because"].strip()
    if move["do"] in {"stir", "check_plate"}:
        assert move["amount"] is None
    else:
        assert 0 < move["amount"] <= 1


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _null_or_within(value: object, least: float, most: float) -> bool:
    return value is None or (_number(value) and least <= value <= most)  # type: ignore[operator]
