"""Presentation times and damage, checked against PyAV as an independent reader."""

from __future__ import annotations

import os
import struct
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Outcome
from bedwatch.frames.open import open_source
from bedwatch.frames.video import VideoFile


def read(path: Path) -> tuple[list[Frame], VideoFile]:
    source = open_source(str(path))
    assert isinstance(source, VideoFile)
    frames = list(source)
    source.close()
    return frames, source


def uneven(count: int) -> list[float]:
    steps = np.random.default_rng(5).uniform(0.02, 0.09, count - 1)
    return [0.0, *np.cumsum(steps)]


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("constant.avi", {"codec": "mjpeg"}),
        ("b_frames.mp4", {"codec": "libx264", "bf": "3"}),
        ("b_frames.mkv", {"codec": "libx264", "bf": "3"}),
        ("transport.ts", {"codec": "libx264", "bf": "3"}),
        ("uneven.mp4", {"codec": "libx264", "bf": "3", "times_s": uneven(60)}),
        ("uneven.mkv", {"codec": "libx264", "bf": "3", "times_s": uneven(60)}),
    ],
)
def test_times_are_the_presentation_times(
    name: str, options: dict[str, object], tmp_path: Path, clips: SimpleNamespace
) -> None:
    path = clips.encode(tmp_path / name, clips.grain(60), **options)
    frames, source = read(path)
    # 0.1 ms: the reader keeps times in milliseconds as floats, the oracle as fractions of a time base.
    np.testing.assert_allclose([f.time_s for f in frames], clips.times(path), atol=1e-4)
    assert len(frames) == 60
    assert sum(f.dropped_before for f in frames) == 0
    assert source.notes == ()
    assert source.outcome is Outcome.END


def test_a_stall_is_counted_in_frames(tmp_path: Path, clips: SimpleNamespace) -> None:
    times = [i / 30 + (0.9 if i >= 30 else 0.0) for i in range(60)]
    path = clips.encode(tmp_path / "stall.mkv", clips.grain(60), codec="libx264", times_s=times)
    frames, source = read(path)
    assert {f.number: f.dropped_before for f in frames if f.dropped_before} == {30: 27}
    assert source.notes == ("missing frames: 27 in 1 place, the first at 1.90 s",)


def test_a_packet_lost_from_the_middle_is_a_hole(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "hole.avi", clips.grain(60))
    data = bytearray(path.read_bytes())
    for wanted in (30, 31, 40):
        at = data.find(b"movi")
        for _ in range(wanted + 1):
            at = data.find(b"00dc", at + 1)
        length = struct.unpack_from("<I", data, at + 4)[0]
        data[at + 8 : at + 8 + length] = bytes(length)
    path.write_bytes(data)
    frames, source = read(path)
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(30, 2), (38, 1)]
    assert frames[-1].time_s == pytest.approx(59 / 30)
    (note,) = source.notes  # told once, and not again as missing
    assert note.startswith("pictures that cannot be decoded: 3 in 2 places")
    assert source.outcome is Outcome.END


def test_a_damaged_h264_clip_is_read_to_its_end(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "bad.mp4", clips.grain(90), codec="libx264", bf="3", g="15")
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    for at in range(middle, middle + len(data) // 10, 11):
        data[at] ^= 0x5A
    path.write_bytes(data)
    frames, _ = read(path)
    assert frames[-1].time_s == pytest.approx(89 / 30, abs=1e-3)
    assert len(frames) + sum(f.dropped_before for f in frames) == 90


@pytest.mark.parametrize(("name", "codec"), [("cut.avi", "mjpeg"), ("cut.mkv", "libx264")])
def test_a_cut_short_file_says_where(name: str, codec: str, tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / name, clips.grain(90), codec=codec, g="10")
    os.truncate(path, path.stat().st_size * 6 // 10)
    frames, source = read(path)
    end_s = frames[-1].time_s + 1 / 30
    assert 1.0 < end_s < 2.5
    assert source.outcome is Outcome.CUT_SHORT
    assert source.notes[-1] == f"the file seems cut short at {end_s:.1f} of 3.0 s"


def test_a_cut_mp4_is_refused_with_the_reason(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "cut.mp4", clips.grain(30), codec="libx264")
    os.truncate(path, path.stat().st_size // 2)
    with pytest.raises(UserError, match=r"cut\.mp4: .*index.*cut off"):
        open_source(str(path))


def test_a_bare_h264_stream_has_no_times(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "bare.h264", clips.grain(30), codec="libx264", container="h264")
    with pytest.raises(UserError, match=r"bare\.h264: .*no time stamps"):
        open_source(str(path))


def test_a_bare_row_of_jpegs_has_no_times(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "bare.mjpeg", clips.grain(10), container="mjpeg")
    with pytest.raises(UserError, match=r"bare\.mjpeg: .*without time stamps"):
        open_source(str(path))


def test_the_turn_flag_of_a_phone_is_obeyed(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "turned.mp4", clips.grain(5), codec="libx264")
    data = bytearray(path.read_bytes())
    # The matrix of the track header, ISO/IEC 14496-12: a quarter turn.
    struct.pack_into(">9i", data, data.find(b"tkhd") + 44, 0, 0x10000, 0, -0x10000, 0, 0, 0, 0, 0x40000000)
    path.write_bytes(data)
    frames, source = read(path)
    assert source.size_px == (120, 160)
    assert frames[0].picture.shape == (160, 120, 3)


def test_repeats_of_a_recorder_are_marked_and_nothing_else(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = clips.grain(80, step_px=2)
    held = [20, 33, 50, 51, 70]
    for i in held:
        pictures[i] = pictures[i - 1]
    for name, codec in (("held.avi", "mjpeg"), ("held.mp4", "libx264")):
        frames, _ = read(clips.encode(tmp_path / name, pictures, codec=codec))
        assert [f.number for f in frames if f.repeated] == held, name


@pytest.mark.parametrize(("codec", "options"), [("mjpeg", {}), ("libx264", {"crf": "18"}), ("libx264", {"crf": "28"})])
def test_a_still_scene_is_not_a_repeat(
    codec: str, options: dict[str, str], tmp_path: Path, clips: SimpleNamespace
) -> None:
    path = clips.encode(tmp_path / "still.mkv", clips.grain(60, step_px=0), codec=codec, **options)
    frames, _ = read(path)
    assert not any(f.repeated for f in frames)


def test_a_bottom_up_mov_is_refused_not_fatal(tmp_path: Path) -> None:
    path = tmp_path / "raw.mov"
    with av.open(str(path), "w") as file:
        stream = file.add_stream("rawvideo", rate=30)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "bgr24"
        picture = np.zeros((120, 160, 3), np.uint8)
        for _ in range(3):
            file.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
    path.write_bytes(path.read_bytes().replace(b"24BG", b"WRAW"))
    with pytest.raises(UserError, match=r"raw\.mov: .*uncompressed"):
        open_source(str(path))
