"""Uncompressed AVI files, on which OpenCV 5 ends the process."""

from __future__ import annotations

import struct
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Outcome
from bedwatch.frames.open import open_source
from bedwatch.frames.raw_avi import RawAviFile


def read(path: Path) -> tuple[list[Frame], RawAviFile]:
    source = open_source(str(path))
    assert isinstance(source, RawAviFile)
    frames = list(source)
    source.close()
    return frames, source


def noise(shape: tuple[int, ...], count: int = 4) -> list[np.ndarray]:
    rng = np.random.default_rng(8)
    return [rng.integers(0, 256, shape, np.uint8) for _ in range(count)]


@pytest.mark.parametrize("width", [160, 158, 157])
@pytest.mark.parametrize("top_down", [False, True])
@pytest.mark.parametrize("padded", [True, False])
def test_24_bit_rows_come_out_the_right_way_up(
    width: int, top_down: bool, padded: bool, tmp_path: Path, clips: SimpleNamespace
) -> None:
    pictures = noise((120, width, 3))
    datas = [clips.rows(p, bottom_up=not top_down, padded=padded) for p in pictures]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(width, 120), top_down=top_down)
    frames, source = read(path)
    for frame, picture in zip(frames, pictures, strict=True):
        np.testing.assert_array_equal(frame.picture, picture)
    assert [f.time_s for f in frames] == pytest.approx([0.0, 0.04, 0.08, 0.12])
    assert source.outcome is Outcome.END
    assert source.notes == ()


def test_32_bit_drops_the_fourth_byte(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = noise((120, 158, 4))
    path = clips.raw_avi(tmp_path / "a.avi", [clips.rows(p) for p in pictures], size=(158, 120), bits=32)
    for frame, picture in zip(read(path)[0], pictures, strict=True):
        np.testing.assert_array_equal(frame.picture, picture[:, :, :3])


def test_8_bit_with_a_grey_palette_is_grey(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = noise((120, 158))
    datas = [clips.rows(p) for p in pictures]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(158, 120), bits=8, palette=clips.grey_palette)
    for frame, picture in zip(read(path)[0], pictures, strict=True):
        np.testing.assert_array_equal(frame.picture, picture)


@pytest.mark.parametrize("colour", [False, True])
def test_8_bit_goes_through_its_palette(colour: bool, tmp_path: Path, clips: SimpleNamespace) -> None:
    table = np.zeros((256, 4), np.uint8)
    table[:, :3] = 255 - np.arange(256, dtype=np.uint8)[:, None]
    if colour:
        table[:, 2] = 7
    pictures = noise((120, 160))
    datas = [clips.rows(p) for p in pictures]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(160, 120), bits=8, palette=table.tobytes())
    expected = table[pictures[0]][:, :, :3] if colour else table[pictures[0]][:, :, 0]
    np.testing.assert_array_equal(read(path)[0][0].picture, expected)


def test_y800_is_top_down_grey(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = noise((120, 158))
    datas = [p.tobytes() for p in pictures]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(158, 120), bits=8, code=b"Y800")
    for frame, picture in zip(read(path)[0], pictures, strict=True):
        np.testing.assert_array_equal(frame.picture, picture)


@pytest.mark.parametrize(("code", "bits"), [(b"YUY2", 16), (b"UYVY", 16), (b"I420", 12), (b"NV12", 12)])
def test_colour_difference_formats_keep_the_colours(
    code: bytes, bits: int, tmp_path: Path, clips: SimpleNamespace
) -> None:
    # ITU-R BT.601, studio range: Y = 16 + 65.738 R/256 + 129.057 G/256 + 25.064 B/256, ...; flat orange.
    blue, green, red = 40, 120, 220
    y = round(16 + (65.738 * red + 129.057 * green + 25.064 * blue) / 256)
    cb = round(128 + (-37.945 * red - 74.494 * green + 112.439 * blue) / 256)
    cr = round(128 + (112.439 * red - 94.154 * green - 18.285 * blue) / 256)
    pixels = 160 * 120
    data = {
        b"YUY2": bytes((y, cb, y, cr)) * (pixels // 2),
        b"UYVY": bytes((cb, y, cr, y)) * (pixels // 2),
        b"I420": bytes([y]) * pixels + bytes([cb]) * (pixels // 4) + bytes([cr]) * (pixels // 4),
        b"NV12": bytes([y]) * pixels + bytes((cb, cr)) * (pixels // 4),
    }[code]
    path = clips.raw_avi(tmp_path / "a.avi", [data] * 3, size=(160, 120), bits=bits, code=code)
    picture = read(path)[0][0].picture
    # 3 grey levels: rounding of three 8-bit values, amplified by up to 2 on the way back.
    assert np.abs(picture.astype(int) - [blue, green, red]).max() <= 3


def test_a_dropped_frame_keeps_its_time(tmp_path: Path, clips: SimpleNamespace) -> None:
    datas = [clips.rows(p) for p in clips.grain(20)]
    datas[12] = b""
    frames, source = read(clips.raw_avi(tmp_path / "a.avi", datas, size=(160, 120)))
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(12, 1)]
    assert frames[12].time_s == pytest.approx(13 * 0.04)
    assert source.outcome is Outcome.END


def test_damage_in_the_middle_costs_only_the_frames_it_hits(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = clips.grain(20)
    path = clips.raw_avi(tmp_path / "a.avi", [clips.rows(p) for p in pictures], size=(160, 120))
    data = bytearray(path.read_bytes())
    at = data.find(b"movi") + 4 + 9 * (8 + 160 * 120 * 3)
    data[at : at + 12] = b"\xff" * 12
    path.write_bytes(data)
    frames, source = read(path)
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(9, 1)]
    np.testing.assert_array_equal(frames[9].picture, pictures[10])
    assert frames[-1].time_s == pytest.approx(19 * 0.04)
    assert source.outcome is Outcome.END


def test_a_recording_that_was_never_closed_is_read(tmp_path: Path, clips: SimpleNamespace) -> None:
    datas = [clips.rows(p) for p in clips.grain(20)]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(160, 120), promised=0)
    data = bytearray(path.read_bytes())
    data[4:8] = bytes(4)
    struct.pack_into("<I", data, data.find(b"movi") - 4, 0)
    path.write_bytes(data[: -160 * 60])
    frames, _ = read(path)
    assert len(frames) == 19


def test_a_cut_says_where(tmp_path: Path, clips: SimpleNamespace) -> None:
    datas = [clips.rows(p) for p in clips.grain(50)]
    path = clips.raw_avi(tmp_path / "a.avi", datas, size=(160, 120))
    path.write_bytes(path.read_bytes()[: len(datas[0]) * 30])
    frames, source = read(path)
    assert len(frames) == 29
    assert source.outcome is Outcome.CUT_SHORT
    assert source.notes == ("the file seems cut short at 1.2 of 2.0 s",)


@pytest.mark.parametrize(("size", "rate"), [((0, 120), 25), ((160, 0), 25), ((160, 100000), 25)])
def test_a_header_that_makes_no_sense_is_a_mistake(
    size: tuple[int, int], rate: int, tmp_path: Path, clips: SimpleNamespace
) -> None:
    path = clips.raw_avi(tmp_path / "bad.avi", [b"\0" * 64], size=size, rate=rate)
    with pytest.raises(UserError, match=r"bad\.avi: the header of this uncompressed AVI is damaged"):
        open_source(str(path))


def test_no_whole_picture_is_a_mistake(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.raw_avi(tmp_path / "bad.avi", [b"\0" * 64] * 5, size=(160, 120))
    with pytest.raises(UserError, match=r"bad\.avi: no picture in it can be decoded"):
        open_source(str(path))


def test_any_single_damaged_header_byte_is_survived(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.raw_avi(tmp_path / "a.avi", [clips.rows(p) for p in clips.grain(3)], size=(160, 120))
    good = path.read_bytes()
    end = good.find(b"movi") + 12
    for at in range(12, end):
        for value in (0x00, 0xFF):
            data = bytearray(good)
            data[at] = value
            path.write_bytes(data)
            try:
                source = open_source(str(path))
            except UserError:
                continue
            assert all(f.picture.size for f in source)
            source.close()


def test_a_compressed_avi_goes_to_the_video_reader(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "a.avi", clips.grain(5))
    assert not isinstance(open_source(str(path)), RawAviFile)
    assert cv2.getNumThreads() == 1
