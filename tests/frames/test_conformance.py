"""What every source of frames must do, run over each kind of source."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bedwatch.frames.ahead import Ahead
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Outcome, Source
from bedwatch.frames.live import LiveSource
from bedwatch.frames.open import open_source
from bedwatch.sim import BedSource, Camera, demo_scene
from bedwatch.sim.camera import fitting_focal_px
from tests.frame_server import FrameServer, RtspServer

COUNT = 24
Make = Callable[[Path, SimpleNamespace], str | Source]


class FakeCapture:
    """A camera that gives a few pictures and is then gone."""

    left = COUNT

    def isOpened(self) -> bool:  # noqa: N802
        return True

    def read(self) -> tuple[bool, object]:
        time.sleep(0.002)
        self.left -= 1
        return self.left >= 0, np.full((120, 160, 3), max(self.left, 0), np.uint8)

    def release(self) -> None:
        self.left = 0


class Gone(FakeCapture):
    left = 0


def camera(_: Path, __: SimpleNamespace) -> Source:
    captures = iter([FakeCapture()])
    return LiveSource("camera 7", lambda: next(captures, Gone()), give_up_s=0.0)


def folder(path: Path, clips: SimpleNamespace) -> str:
    for i, picture in enumerate(clips.grain(COUNT)):
        cv2.imwrite(str(path / f"bed_{i}.png"), picture)
    return str(path)


def glob_of_stills(path: Path, clips: SimpleNamespace) -> str:
    return folder(path, clips) + "/bed_*.png"


def one_picture(path: Path, clips: SimpleNamespace) -> str:
    cv2.imwrite(str(path / "bed.jpg"), clips.grain(1)[0])
    return str(path / "bed.jpg")


def mjpeg_avi(path: Path, clips: SimpleNamespace) -> str:
    return str(clips.encode(path / "a.avi", clips.grain(COUNT)))


def h264_mp4(path: Path, clips: SimpleNamespace) -> str:
    return str(clips.encode(path / "a.mp4", clips.grain(COUNT), codec="libx264", bf="3"))


def uneven_mkv(path: Path, clips: SimpleNamespace) -> str:
    times = np.cumsum(np.random.default_rng(3).uniform(0.02, 0.09, COUNT))
    return str(clips.encode(path / "a.mkv", clips.grain(COUNT), codec="libx264", times_s=times))


def uncompressed_avi(path: Path, clips: SimpleNamespace) -> str:
    datas = [clips.rows(p) for p in clips.grain(COUNT)]
    return str(clips.raw_avi(path / "a.avi", datas, size=(160, 120)))


def cut_avi(path: Path, clips: SimpleNamespace) -> str:
    spec = Path(mjpeg_avi(path, clips))
    os.truncate(spec, spec.stat().st_size // 2)
    return str(spec)


def cut_uncompressed_avi(path: Path, clips: SimpleNamespace) -> str:
    spec = Path(uncompressed_avi(path, clips))
    os.truncate(spec, spec.stat().st_size // 2)
    return str(spec)


def read_ahead(path: Path, clips: SimpleNamespace) -> Source:
    return Ahead(open_source(h264_mp4(path, clips)))


def cut_read_ahead(path: Path, clips: SimpleNamespace) -> Source:
    return Ahead(open_source(cut_avi(path, clips)))


def made_bed(_: Path, __: SimpleNamespace) -> Source:
    small = Camera(size_px=(160, 120), focal_px=fitting_focal_px((160, 120), 1000.0, 436.0, 0.9), height_mm=1000.0)
    return BedSource(replace(demo_scene(fps=15.0, duration_s=COUNT / 15), camera=small))


def served(kind: type[FrameServer], clips: SimpleNamespace) -> Source:
    pictures = [cv2.imencode(".jpg", picture)[1].tobytes() for picture in clips.grain(COUNT)]
    server = clips.until_the_end.enter_context(kind(pictures, 60.0, dies_after=COUNT))
    return open_source(server.url, lost_after_s=0.3)


def http_stream(_: Path, clips: SimpleNamespace) -> Source:
    return served(FrameServer, clips)


def rtsp_stream(_: Path, clips: SimpleNamespace) -> Source:
    return served(RtspServer, clips)


SOURCES: dict[str, tuple[Make, Outcome, bool]] = {
    make.__name__: (make, outcome, live)
    for make, outcome, live in [
        (mjpeg_avi, Outcome.END, False),
        (h264_mp4, Outcome.END, False),
        (uneven_mkv, Outcome.END, False),
        (uncompressed_avi, Outcome.END, False),
        (cut_avi, Outcome.CUT_SHORT, False),
        (cut_uncompressed_avi, Outcome.CUT_SHORT, False),
        (folder, Outcome.END, False),
        (glob_of_stills, Outcome.END, False),
        (one_picture, Outcome.END, False),
        (read_ahead, Outcome.END, False),
        (cut_read_ahead, Outcome.CUT_SHORT, False),
        (made_bed, Outcome.END, False),
        (camera, Outcome.LOST, True),
        (http_stream, Outcome.LOST, True),
        (rtsp_stream, Outcome.LOST, True),
    ]
}


@pytest.fixture(params=SOURCES)
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def source(kind: str, tmp_path: Path, clips: SimpleNamespace) -> Iterator[Source]:
    made = SOURCES[kind][0](tmp_path, clips)
    opened = open_source(made) if isinstance(made, str) else made
    yield opened
    opened.close()


def test_members_hold_before_the_first_frame(kind: str, source: Source) -> None:
    assert source.live is SOURCES[kind][2]
    assert source.size_px == (160, 120)
    assert source.duration_s is None or source.duration_s > 0
    assert source.outcome is Outcome.OPEN
    assert all(isinstance(note, str) and "\n" not in note for note in source.notes)


def test_frames_are_numbered_timed_and_locked(source: Source) -> None:
    frames = list(source)
    assert [frame.number for frame in frames] == list(range(len(frames)))
    times = [frame.time_s for frame in frames]
    assert times[0] == 0.0
    assert all(b > a for a, b in pairwise(times))
    for frame in frames:
        assert frame.picture.dtype == np.uint8
        assert frame.picture.shape[:2] == (120, 160)
        assert not frame.picture.flags.writeable
        assert frame.dropped_before >= 0
    assert frames[0].dropped_before == 0
    assert not frames[0].repeated


def test_outcome_at_the_end(kind: str, source: Source) -> None:
    assert sum(1 for _ in source) >= 1
    outcome = SOURCES[kind][1]
    assert source.outcome is outcome
    said = [note for note in source.notes if "cut short" in note or "lost" in note]
    assert bool(said) is (outcome is not Outcome.END)


def test_close_twice_and_in_mid_iteration(source: Source) -> None:
    given = 0
    for _ in source:
        given += 1
        source.close()
    assert given == 1
    source.close()
    assert list(source) == []


@pytest.mark.parametrize("make", ["mjpeg_avi", "h264_mp4"])
def test_a_damaged_clip_leaves_standard_error_alone(make: str, tmp_path: Path, clips: SimpleNamespace) -> None:
    path = Path(str(SOURCES[make][0](tmp_path, clips)))
    data = bytearray(path.read_bytes())
    for at in range(len(data) // 3, 2 * len(data) // 3, 97):
        data[at] ^= 0xFF
    path.write_bytes(data)
    code = (
        "import sys; from bedwatch.frames.open import open_source\n"
        "from bedwatch.errors import UserError\n"
        "print(sum(1 for _ in open_source(sys.argv[1])))\n"
        "try: open_source(sys.argv[2])\n"
        "except UserError: print('refused')\n"
    )
    junk = tmp_path / "junk.mp4"
    junk.write_bytes(b"not a video\n" * 400)
    quiet = {k: v for k, v in os.environ.items() if not k.startswith("OPENCV_")}
    done = subprocess.run(
        [sys.executable, "-c", code, str(path), str(junk)],
        capture_output=True,
        text=True,
        env=quiet,
        check=True,
    )
    assert done.stderr == ""
    assert done.stdout.split()[1] == "refused"
    assert int(done.stdout.split()[0]) > 0
