"""Sources that are missing, broken or odd: one line and status 2, or readings as far as the pictures go."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from bedwatch.frames.frame import Picture


def _text(path: Path, _: Path) -> Path:
    path.write_text("this is no video\n" * 100)
    return path


def _nothing(path: Path, _: Path) -> Path:
    path.write_bytes(b"")
    return path


def _never_finished_mp4(path: Path, _: Path) -> Path:
    # ISO/IEC 14496-12: a file type box and media data, but no moov box with the index
    path.write_bytes(
        struct.pack(">I4s4sI", 16, b"ftyp", b"isom", 512) + struct.pack(">I4s", 1 << 20, b"mdat") + bytes(9000)
    )
    return path


def _head_only(path: Path, clip: Path) -> Path:
    path.write_bytes(clip.read_bytes()[:300])
    return path


@pytest.mark.parametrize(
    ("name", "make", "words"),
    [
        ("gone.avi", lambda path, _: path, "no such file"),
        ("empty.avi", _nothing, "empty"),
        ("empty.png", _nothing, "empty"),
        ("text.avi", _text, "not a video"),
        ("text.png", _text, "no picture in it can be decoded"),
        ("cut.mp4", _never_finished_mp4, "index is missing"),
        ("head.avi", _head_only, "head.avi"),
        ("none", lambda path, _: path.mkdir() or path, "no pictures"),
        ("none_*.png", lambda path, _: path, "no pictures"),
        ("", lambda *_: "", "source is empty"),
    ],
)
@pytest.mark.parametrize("verb", ["watch", "aim"])
def test_a_source_without_a_picture_is_one_line_and_status_2(
    run: Any, bed: Path, clip: Path, tmp_path: Path, empty: Path, verb: str, name: str, make: Any, words: str
) -> None:
    spec = make(tmp_path / name, clip)
    out = ["--out", empty / "a.toml"] if verb == "aim" else []
    (line,) = run(verb, spec, "--bed", bed, *out, "--json").mistakes
    assert words in line


def test_what_is_close_to_the_name_is_offered(run: Any, bed: Path, clip: Path) -> None:
    (line,) = run("watch", clip.with_name("clop.avi"), "--bed", bed).mistakes
    assert "did you mean" in line
    assert "clip.avi" in line


@pytest.mark.parametrize("kind", ["avi", "mkv"])
def test_a_file_that_is_cut_short_is_read_to_its_end_and_said_so(
    apart: Any, clip: Path, bed: Path, tmp_path: Path, pictures: list[Picture], kind: str, check: Callable[..., None]
) -> None:
    whole = clip if kind == "avi" else _mkv(tmp_path / "whole.mkv", pictures)
    path = tmp_path / f"cut.{kind}"
    path.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    ran = apart("watch", path, "--bed", bed, "--json")
    assert ran.status == 0
    said = ran.err.splitlines()
    assert all(line.startswith("bedwatch: ") for line in said)
    assert sum("cut short" in line for line in said) == 1
    last = ran.objects[-1]
    check(last, [zone["zone"] for zone in last["zones"]])
    assert 4.0 < last["time_s"] < 6.0
    assert "dropped_frames" in [problem["problem"] for problem in last["problems"]]


def _mkv(path: Path, pictures: list[Picture]) -> Path:
    size = (pictures[0].shape[1], pictures[0].shape[0])
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*"MJPG"), 15.0, size)
    assert writer.isOpened()
    for picture in pictures:
        writer.write(picture)
    writer.release()
    return path


def test_damage_in_the_middle_is_survived_in_silence_but_for_our_own_lines(
    apart: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path
) -> None:
    data = bytearray(clip.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 40_000] = np.random.default_rng(3).integers(0, 256, 40_000, dtype=np.uint8).tobytes()
    path = tmp_path / "damaged.avi"
    path.write_bytes(data)
    ran = apart("watch", path, "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 0
    assert all(line.startswith("bedwatch: ") for line in ran.err.splitlines()), ran.err
    assert ran.objects[-1]["state"] == "reading"
    assert ran.objects[-1]["time_s"] > 9.0


@pytest.mark.parametrize("words", [["--json"], []])
def test_a_clip_too_short_for_a_reading_is_said_to_be(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any, watched: Any, words: list[str]
) -> None:
    short = film("short", pictures[:46])
    ran = run("watch", short, "--bed", bed, "--aim", aimed[1], *words)
    assert ran.status == 0
    assert ran.err == "bedwatch: only 3.0 s seen; a reading needs about 8 s of picture\n"
    assert "seen" not in watched.err


def test_a_rate_for_a_video_is_refused(run: Any, clip: Path, bed: Path, empty: Path) -> None:
    for verb, out in (("watch", []), ("aim", ["--out", empty / "a.toml"])):
        (line,) = run(verb, clip, "--bed", bed, *out, "--pictures-per-second", "25").mistakes
        assert "pictures per second" in line


def test_a_picture_that_goes_black_is_told_in_few_short_lines(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any
) -> None:
    path = film("goes_black", [*pictures[:40], *[np.zeros_like(pictures[0])] * 80])
    ran = run("watch", path, "--bed", bed, "--aim", aimed[1], "--json")
    repeats = [line for line in ran.err.splitlines() if "repeated" in line]
    assert len(repeats) <= 1
    assert all("in 1 place" in line for line in repeats)


@pytest.mark.parametrize("ending", ["png", "avi"])
def test_one_frame_is_too_little_to_judge(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, tmp_path: Path, ending: str
) -> None:
    path = tmp_path / "one.png"
    if ending == "png":
        cv2.imwrite(str(path), pictures[0])
    else:
        path = film("one", pictures[:1])
    ran = run("watch", path, "--bed", bed, "--json")
    assert ran.status == 0
    assert [(reading["state"], reading["time_s"]) for reading in ran.objects] == [("settling", 0.0)]
    assert run("aim", path, "--bed", bed, "--out", path.with_suffix(".toml"), "--json").status == 0


def test_an_uncompressed_avi_with_its_rows_bottom_up_is_read(
    apart: Any, pictures: list[Picture], bed: Path, aimed: Any, watched: Any, tmp_path: Path
) -> None:
    path = tmp_path / "raw.avi"
    _bottom_up_avi(path, pictures[::2], fps=7.5)
    ran = apart("watch", path, "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 0, ran.err
    assert ran.objects[-1]["time_s"] == pytest.approx(148 / 15, abs=0.01)
    # upside down, the aim would look at the wrong zones
    starved = [[zone["hint"] for zone in one.objects[-1]["zones"]].index("more_air") for one in (ran, watched)]
    assert starved[0] == starved[1]


def _bottom_up_avi(path: Path, pictures: list[Picture], fps: float) -> None:
    """The plainest AVI there is (Multimedia Programming Interface and Data Specifications 1.0): 24-bit DIBs."""
    height, width = pictures[0].shape[:2]
    size = width * height * 3

    def chunk(tag: bytes, data: bytes) -> bytes:
        return tag + struct.pack("<I", len(data)) + data + bytes(len(data) % 2)

    micros = round(1e6 / fps)
    avih = struct.pack("<14I", micros, 0, 0, 0, len(pictures), 0, 1, size, width, height, 0, 0, 0, 0)
    strh = b"vidsDIB " + struct.pack(
        "<IHHIIIIIIII4H", 0, 0, 0, 0, micros, 10**6, 0, len(pictures), size, 0, 0, 0, 0, 0, 0
    )
    strf = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, size, 0, 0, 0, 0)
    strl = chunk(b"LIST", b"strl" + chunk(b"strh", strh) + chunk(b"strf", strf))
    movi = b"movi" + b"".join(chunk(b"00db", picture[::-1].tobytes()) for picture in pictures)
    path.write_bytes(
        chunk(b"RIFF", b"AVI " + chunk(b"LIST", b"hdrl" + chunk(b"avih", avih) + strl) + chunk(b"LIST", movi))
    )


def _stills(folder: Path, pictures: list[Picture]) -> Path:
    folder.mkdir()
    for number, picture in enumerate(pictures):
        cv2.imwrite(str(folder / f"bed_{number / 15:.3f}s.png"), picture)
    return folder


def test_pictures_of_unlike_sizes_are_refused(run: Any, pictures: list[Picture], bed: Path, tmp_path: Path) -> None:
    folder = _stills(tmp_path / "unlike", [*pictures[:3], cv2.resize(pictures[3], (400, 300))])
    (line,) = run("watch", folder, "--bed", bed, "--json").mistakes
    assert "400 x 300" in line
    assert "320 x 240" in line


def test_broken_pictures_are_left_out_and_each_is_named_once(
    run: Any, pictures: list[Picture], bed: Path, aimed: Any, tmp_path: Path
) -> None:
    folder = _stills(tmp_path / "broken", pictures[:30])
    broken = [folder / f"bed_{number / 15:.3f}s.png" for number in (4, 9)]
    for path in broken:
        path.write_bytes(path.read_bytes()[:40])
    ran = run("watch", folder, "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 0
    for path in broken:
        assert ran.err.count(str(path)) == 1
    kinds = [line.split(":")[1] for line in ran.err.splitlines() if str(folder) not in line]
    assert [kind for kind in kinds if "seen" not in kind] == [
        " pictures that cannot be decoded"
    ]  # told once, and not again as missing
    assert "dropped_frames" in [problem["problem"] for problem in ran.objects[-1]["problems"]]


def test_pictures_of_another_size_than_the_aim_file_says_are_refused(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any
) -> None:
    big = film("big", [cv2.resize(picture, (400, 300)) for picture in pictures[:20]])
    (line,) = run("watch", big, "--bed", bed, "--aim", aimed[1], "--json").mistakes
    assert "320 x 240" in line
    assert "400 x 300" in line
    assert str(aimed[1]) in line


def test_a_bed_that_the_aim_puts_outside_the_picture_is_refused(
    run: Any, clip: Path, bed: Path, tmp_path: Path
) -> None:
    away = tmp_path / "away.toml"
    homography = "[[0.47, 0.0, 2000.0], [0.0, -0.47, 2000.0], [0.0, 0.0, 1.0]]"
    surface = "{ centre_px = [2000, 2000], axes_px = [98, 98], angle_deg = 0 }"
    away.write_text(
        f"surface = {surface}\nrim = {surface}\nbed_to_picture = {homography}\nmm_per_px = 2.1\nproblems = []\n"
    )
    (line,) = run("watch", clip, "--bed", bed, "--aim", away, "--json").mistakes
    assert "not in the picture" in line
    assert str(away) in line
