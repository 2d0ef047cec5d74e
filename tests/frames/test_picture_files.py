"""Folders, globs and single pictures."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Source
from bedwatch.frames.open import open_source


def write(path: Path, value: int, shape: tuple[int, ...] = (60, 80, 3)) -> Path:
    picture = np.full(shape, value, np.uint8)
    picture[:10, :10] = 255 - value
    assert cv2.imwrite(str(path), picture)
    return path


def read(spec: str | Path, per_s: float | None = None) -> tuple[list[Frame], Source]:
    source = open_source(str(spec), pictures_per_s=per_s)
    frames = list(source)
    source.close()
    return frames, source


def middle(frames: list[Frame]) -> list[int]:
    return [int(f.picture[40, 40].flat[0]) for f in frames]


def test_ten_comes_after_nine(tmp_path: Path) -> None:
    for i in (1, 2, 9, 10, 11):
        write(tmp_path / f"bed{i}.png", i * 10)
    assert middle(read(tmp_path)[0]) == [10, 20, 90, 100, 110]


@pytest.mark.parametrize("ending", ["png", "bmp", "tif", "tiff", "pgm", "PNG"])
def test_lossless_kinds_keep_grey_as_it_is(ending: str, tmp_path: Path) -> None:
    for i in range(3):
        write(tmp_path / f"bed_{i}.{ending}", 40 + i, (60, 80))
    frames, source = read(tmp_path)
    assert middle(frames) == [40, 41, 42]
    assert frames[0].picture.shape == (60, 80)
    assert source.size_px == (80, 60)


@pytest.mark.parametrize("ending", ["jpg", "jpeg", "webp"])
def test_lossy_kinds_are_read_in_colour(ending: str, tmp_path: Path) -> None:
    write(tmp_path / f"bed.{ending}", 100)
    frames, _ = read(tmp_path / f"bed.{ending}")
    assert frames[0].picture.shape == (60, 80, 3)
    assert abs(middle(frames)[0] - 100) <= 3


def test_sixteen_bits_become_eight_and_alpha_goes(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "deep.png"), np.full((60, 80), 0x6400, np.uint16))
    cv2.imwrite(str(tmp_path / "clear.png"), np.full((60, 80, 4), 77, np.uint8))
    deep, clear = (read(tmp_path / name)[0][0].picture for name in ("deep.png", "clear.png"))
    assert deep.dtype == np.uint8
    assert abs(int(deep[0, 0]) - 0x64) <= 1
    assert clear.shape == (60, 80, 3)


def test_an_assumed_rate_is_said(tmp_path: Path) -> None:
    for i in range(4):
        write(tmp_path / f"bed_{i}.png", i)
    frames, source = read(tmp_path)
    assert [f.time_s for f in frames] == pytest.approx([0, 1 / 30, 2 / 30, 3 / 30])
    assert any("30 per second, a guess" in note for note in source.notes)
    assert source.duration_s == pytest.approx(4 / 30)
    frames, source = read(tmp_path, per_s=10.0)
    assert [f.time_s for f in frames] == pytest.approx([0, 0.1, 0.2, 0.3])
    assert source.notes == ()


@pytest.mark.parametrize("names", [["a_10.5s", "a_9.25s", "a_12s"], ["a_10500ms", "a_9250ms", "a_12000ms"]])
def test_times_in_the_names_are_taken(names: list[str], tmp_path: Path) -> None:
    for name, value in zip(names, (20, 10, 30), strict=True):
        write(tmp_path / f"{name}.png", value)
    frames, source = read(tmp_path)
    assert middle(frames) == [10, 20, 30]
    assert [f.time_s for f in frames] == pytest.approx([0.0, 1.25, 2.75])
    assert source.notes == ()


def test_a_number_left_out_is_a_missing_picture(tmp_path: Path) -> None:
    for i in range(0, 100, 5):
        if i != 60:
            write(tmp_path / f"bed_{i:04d}.png", i)
    frames, _ = read(tmp_path, per_s=10.0)
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(12, 1)]
    assert frames[12].time_s == pytest.approx(1.3)


def test_numbers_that_are_no_count_are_not_taken_for_one(tmp_path: Path) -> None:
    for name in ("101112", "101113", "101114", "101155", "101156"):
        write(tmp_path / f"photo_{name}.png", 9)
    frames, _ = read(tmp_path, per_s=10.0)
    assert [f.dropped_before for f in frames] == [0] * 5


def test_broken_pictures_are_left_out_marked_and_named(tmp_path: Path) -> None:
    for i in range(12):
        write(tmp_path / f"bed_{i:02d}.png", i)
    whole = (tmp_path / "bed_06.png").read_bytes()
    (tmp_path / "bed_06.png").write_bytes(whole[:20])
    (tmp_path / "bed_07.png").write_bytes(b"")
    (tmp_path / "bed_11.png").write_bytes(b"junk")
    frames, source = read(tmp_path, per_s=10.0)
    assert len(frames) == 9
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(6, 2)]
    for name in ("bed_06.png", "bed_07.png", "bed_11.png"):
        assert any(f"{name}: is not a whole picture" in note for note in source.notes)


@pytest.mark.parametrize("ending", ["png", "jpg", "bmp", "pgm"])
def test_the_first_unlike_size_is_named_before_reading(ending: str, tmp_path: Path) -> None:
    shapes = [(60, 80)] * 5 + [(60, 90), (50, 80)]
    for i, shape in enumerate(shapes):
        write(tmp_path / f"bed_{i}.{ending}", i, shape)
    with pytest.raises(UserError, match=rf"bed_5\.{ending}: is 90 x 60 pixels; .* 80 x 60"):
        open_source(str(tmp_path))


@pytest.mark.parametrize("ending", ["tif", "webp"])
def test_an_unlike_size_found_late_is_a_mistake_too(ending: str, tmp_path: Path) -> None:
    shapes = [(60, 80, 3)] * 5 + [(60, 90, 3)]
    for i, shape in enumerate(shapes):
        write(tmp_path / f"bed_{i}.{ending}", i, shape)
    with pytest.raises(UserError, match=rf"bed_5\.{ending}: is 90 x 60 pixels"):
        read(tmp_path)


def test_other_files_in_the_folder_are_passed_over(tmp_path: Path) -> None:
    write(tmp_path / "bed_1.png", 5)
    (tmp_path / "notes.txt").write_text("air up at noon")
    (tmp_path / "._bed_1.png").write_bytes(b"a hidden copy")
    (tmp_path / "old.png").mkdir()
    frames, source = read(tmp_path)
    assert middle(frames) == [5]
    assert source.notes == ()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_picture_without_rights_is_left_out_with_the_reason(tmp_path: Path) -> None:
    for i in range(3):
        write(tmp_path / f"bed_{i}.png", i)
    (tmp_path / "bed_1.png").chmod(0)
    frames, source = read(tmp_path, per_s=5.0)
    assert len(frames) == 2
    assert any("bed_1.png: cannot be read (Permission denied)" in note for note in source.notes)
