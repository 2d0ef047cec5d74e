"""Streams and cameras: what the command says while pictures stop, come back, or never come. Steps wait for lines, not clocks."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import pytest

from bedwatch.frames import live
from bedwatch.frames.frame import Picture
from tests.frame_server import FrameServer, Mode

FPS = 15.0


@pytest.fixture
def server(pictures: list[Picture]) -> Iterator[FrameServer]:
    other = [cv2.imencode(".jpg", cv2.resize(picture, (400, 300)))[1].tobytes() for picture in pictures[:20]]
    shown = [cv2.imencode(".jpg", picture)[1].tobytes() for picture in pictures]
    with FrameServer(shown, FPS, other) as serving:
        yield serving


class Child:
    """A running command, read line by line."""

    def __init__(self, line: list[str], zones: Any) -> None:
        self.process = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.readings: list[dict[str, Any]] = []
        self.check = zones

    def until(self, *states: str, most: int = 60) -> dict[str, Any]:
        """Read on to a reading in one of these states."""
        assert self.process.stdout is not None
        for _ in range(most):
            line = self.process.stdout.readline()
            assert line, f"ended early: {self.process.communicate()}"
            self.readings.append(json.loads(line))
            self.check(self.readings[-1], [zone["zone"] for zone in self.readings[-1]["zones"]])
            if self.readings[-1]["state"] in states:
                return self.readings[-1]
        raise AssertionError(f"none of {states} among {most} readings")

    def end(self) -> tuple[int, list[str]]:
        """Exit status and what it said, once it has ended by itself."""
        out, err = self.process.communicate(timeout=30)
        self.readings += [json.loads(line) for line in out.splitlines()]
        return self.process.returncode, err.splitlines()


@pytest.fixture
def started(line_of: Any, check: Callable[..., None]) -> Callable[..., Any]:
    @contextmanager
    def start(*words: object) -> Iterator[Child]:
        child = Child(line_of("watch", *words, "--json"), check)
        try:
            yield child
        finally:
            if child.process.poll() is None:
                child.process.kill()
                child.process.communicate()

    return start


def test_a_stream_that_stalls_sends_junk_comes_back_and_dies(
    started: Any, server: FrameServer, bed: Path, aimed: Any
) -> None:
    with started(server.url, "--bed", bed, "--aim", aimed[1], "--lost-after", 4) as child:
        child.until("settling")
        server.mode = Mode.STALL
        child.until("no_picture")
        server.mode = Mode.RUN
        child.until("settling", "reading")
        server.mode = Mode.SILENT
        dark = child.until("no_picture")
        server.mode = Mode.GARBAGE
        back = child.until("settling", "reading")
        assert back["time_s"] > dark["time_s"]
        server.mode = Mode.DEAD
        status, said = child.end()
    assert status == 3
    assert child.readings[-1]["state"] == "no_picture"
    times = [0.0, *(reading["time_s"] for reading in child.readings)]
    assert all(a < b for a, b in pairwise(times))
    assert said
    assert all(line.startswith(f"bedwatch: {server.url}: ") for line in said), said
    assert sum("did not come back within 4 s" in line for line in said) == 1


def test_a_camera_that_comes_back_with_another_size_is_one_line_and_status_2(
    started: Any, server: FrameServer, bed: Path, aimed: Any
) -> None:
    with started(server.url, "--bed", bed, "--aim", aimed[1]) as child:
        child.until("settling")
        server.mode = Mode.DEAD
        child.until("no_picture")
        server.mode = Mode.OTHER
        status, said = child.end()
    assert status == 2
    (line,) = [line for line in said if "expected" in line]
    assert "found pictures of 400 x 300 px" in line
    assert "320 x 240 px" in line


@pytest.mark.parametrize("mode", [Mode.MISSING, Mode.DEAD, Mode.SILENT])
@pytest.mark.parametrize("verb", ["watch", "aim"])
def test_a_stream_that_never_comes_is_one_line_and_status_2(
    run: Any, server: FrameServer, bed: Path, empty: Path, monkeypatch: pytest.MonkeyPatch, verb: str, mode: Mode
) -> None:
    monkeypatch.setattr(live, "OPEN_TIMEOUT_S", 0.4)
    server.mode = mode
    out = ["--out", empty / "a.toml"] if verb == "aim" else []
    (line,) = run(verb, server.url, "--bed", bed, *out, "--json").mistakes
    assert line.startswith(f"bedwatch: {server.url}: found no picture coming from it, expected a stream that runs; ")


def test_a_camera_that_is_not_there_is_one_line_and_status_2(apart: Any, bed: Path) -> None:
    (line,) = apart("watch", 97, "--bed", bed, "--json").mistakes
    assert line.startswith("bedwatch: camera 97: found no picture coming from it, expected a camera that is there")


def test_a_time_that_is_none_is_refused(run: Any, bed: Path) -> None:
    for words in ("0", "-3", "nan"):
        (line,) = run("watch", "http://127.0.0.1:9/x", "--bed", bed, "--lost-after", words, "--json").mistakes
        assert "--lost-after: found" in line
