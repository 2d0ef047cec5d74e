"""Mistakes of the user's: one line each, with the name, what was found and what to do."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from bedwatch.errors import UserError
from bedwatch.frames import open as opening
from bedwatch.frames.open import live_name, open_source


def refused(spec: str, **options: float) -> str:
    with pytest.raises(UserError) as caught:
        open_source(spec, **options)
    (line,) = caught.value.lines
    assert "\n" not in line
    return line


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda p: p / "none.avi", r"none\.avi: no such file or folder"),
        (lambda p: p / "deep" / "none.avi", r"none\.avi: no such file.*there is no folder"),
        (lambda p: (p / "empty.mp4").touch() or p / "empty.mp4", r"empty\.mp4: is empty"),
        (lambda p: (p / "empty.png").touch() or p / "empty.png", r"empty\.png: is empty"),
        (lambda p: (p / "a.avi").write_text("hello\n" * 99) and p / "a.avi", r"a\.avi: is not a video"),
        (lambda p: (p / "a.png").write_text("hello\n" * 99) and p / "a.png", r"a\.png: no picture in it"),
        (lambda p: p, r"the folder holds no pictures \(nothing\); expected files ending in bmp, jpeg"),
        (lambda p: (p / "x.txt").write_text("x") and p, r"the folder holds no pictures \(1 other entries\)"),
        (lambda p: p / "*.png", r"\*\.png: the pattern holds no pictures"),
        (lambda p: os.mkfifo(p / "pipe") or p / "pipe", r"pipe: is neither a file nor a folder"),
        (lambda _: "", r"the source is empty"),
        (lambda _: "ftp://bed.example/a.avi", r"with ftp://, expected http://, https://, rtsp:// or rtsps://, a video"),
        (lambda _: "file://shots/*.png", r"with file://, expected http://"),
        (lambda _: "bed\0.avi", r"not a name a file can have|no such file"),
    ],
)
def test_one_line_says_what_is_wrong(make: object, said: str, tmp_path: Path) -> None:
    assert re.search(said, refused(str(make(tmp_path))))  # type: ignore[operator]


def test_a_near_miss_is_offered(tmp_path: Path, clips: SimpleNamespace) -> None:
    clips.encode(tmp_path / "latches.avi", clips.grain(2))
    assert refused(str(tmp_path / "latchs.avi")).endswith(f"did you mean {tmp_path / 'latches.avi'}?")


@pytest.mark.parametrize("rate", [0.0, -1.0, float("nan"), float("inf")])
def test_an_impossible_rate_is_refused(rate: float, tmp_path: Path) -> None:
    assert "expected a number above 0" in refused(str(tmp_path), pictures_per_s=rate)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
@pytest.mark.parametrize("name", ["shut.avi", "shut"])
def test_missing_rights_are_said(name: str, tmp_path: Path, clips: SimpleNamespace) -> None:
    path = tmp_path / name
    if path.suffix:
        clips.encode(path, clips.grain(2))
    else:
        path.mkdir()
    path.chmod(0)
    assert "cannot be read (Permission denied)" in refused(str(path))
    path.chmod(0o700)


def test_rights_refused_by_the_system_are_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def shut(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.avi").write_bytes(b"x")
    monkeypatch.setattr(opening, "_open_file", shut)
    assert "a.avi: cannot be read (Permission denied)" in refused(str(tmp_path / "a.avi"))


def test_a_glob_of_one_video_is_that_video(tmp_path: Path, clips: SimpleNamespace) -> None:
    clips.encode(tmp_path / "latches.avi", clips.grain(7))
    assert len(list(open_source(str(tmp_path / "*.avi")))) == 7


def test_names_with_signs_of_a_glob_or_an_address_are_names_first(tmp_path: Path, clips: SimpleNamespace) -> None:
    for name in ("bed [2].avi", "shot 12:30.avi", "50%d.avi"):
        clips.encode(tmp_path / "made.avi", clips.grain(3)).rename(tmp_path / name)
        assert len(list(open_source(str(tmp_path / name)))) == 3


@pytest.mark.parametrize(
    ("spec", "kind", "given"),
    [
        ("0", "open_camera", 0),
        ("12", "open_camera", 12),
        ("http://bed.example/live", "open_stream", "http://bed.example/live"),
        ("https://bed.example/live", "open_stream", "https://bed.example/live"),
        ("RTSP://bed.example/1", "open_stream", "RTSP://bed.example/1"),
    ],
)
def test_numbers_and_addresses_are_live(spec: str, kind: str, given: object, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr(opening, kind, lambda *words: asked.append(words))
    open_source(spec, lost_after_s=7.0)
    assert asked == [(given, 7.0)]
    assert live_name(spec) in (spec, f"camera {spec}")


@pytest.mark.parametrize("spec", ["bed.avi", "shots/*.png", "0.avi", "http", "ftp://bed.example/a"])
def test_what_is_no_number_and_no_known_address_is_not_live(spec: str) -> None:
    assert live_name(spec) is None


def test_a_camera_that_is_not_there_is_a_mistake() -> None:
    assert re.search(r"camera 98: found no picture .*, expected a camera that is there and not in use; ", refused("98"))


@pytest.mark.parametrize("spec", ["98", "http://bed.example/live", "latches.avi"])
def test_a_rate_for_what_tells_its_own_times_is_refused(spec: str, tmp_path: Path, clips: SimpleNamespace) -> None:
    if spec == "latches.avi":
        clips.encode(tmp_path / spec, clips.grain(3))
    line = refused(str(tmp_path / spec) if spec.endswith("avi") else spec, pictures_per_s=25.0)
    assert spec in line
    assert "expected one for a folder or pattern of pictures only" in line


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("raise ImportError('libGL.so.1: cannot open shared object file')", "apt install"),
        ("raise ModuleNotFoundError(\"No module named 'cv2'\")", "pip install opencv-python-headless"),
        ("", "uninstall every package named opencv-"),
    ],
)
def test_a_broken_opencv_is_one_line_of_advice(body: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "cv2.py").write_text(body)
    code = (
        "from bedwatch.errors import UserError\n"
        "try: import bedwatch.frames.cv\n"
        "except UserError as error: print(len(error.lines), error)\n"
    )
    path = os.pathsep.join([str(tmp_path), *sys.path])
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
        check=True,
    )
    assert done.stdout.startswith("1 ")
    assert said in done.stdout
