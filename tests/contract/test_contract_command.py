"""The command itself: what is typed, where it writes, how it is stopped."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bedwatch import __version__
from bedwatch.cli import main
from bedwatch.errors import UserError
from bedwatch.frames.frame import Picture

posix = pytest.mark.skipif(os.name != "posix", reason="signals and pipes of POSIX")
HEAVY = ("cv2", "numpy", "skimage", "tomlkit")


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["watch"], "SOURCE"),
        (["watch", "x.avi"], "--bed"),
        (["aim", "x.avi", "--bed", "x.toml"], "--out"),
        (["watch", "x.avi", "--bed"], "--bed"),
        (["watch", "x.avi", "--bed", "x.toml", "--jsn"], "--json"),
        (["watch", "x.avi", "--bed", "x.toml", "--json=3"], "--json"),
        (["watch", "x.avi", "--bed", "x.toml", "more"], "more"),
        (["watch", "x.avi", "--bed", "x.toml", "--pictures-per-second", "many"], "--pictures-per-second"),
        (["wotch", "x.avi"], "wotch"),
        (["--wrong"], "--wrong"),
        (["make-believe"], "--out"),
        (["make-believe", "--out", "x.avi", "--seconds", "0"], "--seconds"),
        (["make-believe", "--out", "x.avi", "--seconds", "nan"], "--seconds"),
        (["make-believe", "--out", "x.avi", "--seconds", "601"], "--seconds"),
        (["make-believe", "--out", "x.avi", "--seconds", "long"], "--seconds"),
        (["make-believe", "--out", "x.avi", "--seed", "-1"], "--seed"),
        (["make-believe", "--out", "x.avi", "--air", "1,2,3"], "--air"),
        (["make-believe", "--out", "x.avi", "--air", "1,2,3,4,5,6,lots"], "--air"),
        (["make-believe", "--out", "x.avi", "--air", "1,2,3,4,5,6,nan"], "--air"),
        (["make-believe", "--out", "x.avi", "--air", "1,2,3,4,5,6,-1"], "--air"),
        (["make-believe", "--out", "x.mp4"], ".avi"),
    ],
)
def test_a_line_that_makes_no_sense_is_one_line_and_status_2(
    run: Any, empty: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], named: str
) -> None:
    monkeypatch.chdir(empty)
    (line,) = run(*words).mistakes
    assert named in line


@pytest.mark.parametrize("rate", ["0", "-3", "nan", "inf"])
def test_a_picture_rate_that_cannot_be_is_one_line(run: Any, clip: Path, bed: Path, rate: str) -> None:
    (line,) = run("watch", clip, "--bed", bed, "--pictures-per-second", rate).mistakes
    assert "expected a number above 0" in line


@pytest.mark.parametrize("words", [[], ["--help"], ["-h"], ["watch", "--help"], ["aim", "-h"]])
def test_help_is_printed(run: Any, words: list[str]) -> None:
    ran = run(*words)
    assert ran.status == 0
    assert ran.out.startswith("Usage: bedwatch")
    assert ran.err == ""


@pytest.mark.parametrize("verb", [None, "aim", "watch", "make-believe"])
def test_help_is_whole_at_80_columns_and_without_words_of_programmers(
    run: Any, monkeypatch: pytest.MonkeyPatch, verb: str | None
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = run(*([verb] if verb else []), "--help").out
    assert max(map(len, text.splitlines())) <= 80
    assert "..." not in text.replace("[ARGS]...", "")
    for word in ("<", "float", "str ", "glob", "x>="):
        assert word not in text


@pytest.mark.parametrize("verb", ["aim", "watch"])
def test_help_names_every_kind_of_source(run: Any, verb: str) -> None:
    text = run(verb, "--help").out
    for kind in ("video", "folder", "'shots/*.png'", "camera number", "http://", "https://", "rtsp://", "rtsps://"):
        assert kind in text


def test_the_help_says_what_the_air_is_a_multiple_of(run: Any) -> None:
    assert "at which the powder just begins to lift" in " ".join(run("make-believe", "--help").out.split())


@pytest.mark.parametrize(("words", "told"), [([], True), (["--json"], False)])
@pytest.mark.parametrize("verb", ["aim", "watch"])
def test_a_live_source_is_named_before_it_is_waited_for(
    run: Any, bed: Path, empty: Path, monkeypatch: pytest.MonkeyPatch, verb: str, words: list[str], told: bool
) -> None:
    def waiting(*_: object) -> None:
        raise UserError("nobody answers")

    monkeypatch.setattr(f"bedwatch.commands.{verb}.open_source", waiting)
    out = ["--out", empty / "a.toml"] if verb == "aim" else []
    lines = run(verb, "http://bed.example/live", "--bed", bed, *out, *words).mistakes
    opening = ["bedwatch: opening http://bed.example/live"] if told else []
    assert lines == [*opening, "bedwatch: nobody answers"]


def test_the_help_says_that_it_is_no_safety_device(run: Any) -> None:
    assert "no safety device" in " ".join(run("--help").out.split())


def test_version(run: Any) -> None:
    assert run("--version").out == f"bedwatch {__version__}\n"


@pytest.mark.parametrize("words", [["--help"], ["watch", "--help"], ["--version"], ["watch"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    look = f"import sys; from bedwatch.cli import main; main({words!r}); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "bedwatch.cli" in loaded
    assert loaded.isdisjoint(HEAVY)


def test_a_mistake_of_the_program_s_own_is_not_taken_for_a_status_of_the_contract(
    run: Any, clip: Path, bed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("for the test")

    monkeypatch.setattr("bedwatch.commands.watch.open_source", broken)
    ran = run("watch", clip, "--bed", bed, "--json")
    assert ran.status not in {0, 1, 2, 3}
    assert "ZeroDivisionError" in ran.err  # told, not swallowed


# --- places that cannot be written


@pytest.fixture
def nowhere(bed: Path, tmp_path: Path) -> dict[str, Path]:
    """Places that not even root can write a file to."""
    return {"below a file": bed / "new", "missing folder": tmp_path / "gone" / "new", "a folder": tmp_path / "taken"}


@pytest.mark.parametrize("kind", ["below a file", "missing folder", "a folder"])
@pytest.mark.parametrize("option", ["--out", "--picture"])
def test_aim_refuses_a_place_it_cannot_write_and_writes_nothing(
    run: Any, clip: Path, bed: Path, empty: Path, nowhere: dict[str, Path], option: str, kind: str
) -> None:
    ending = {"--out": ".toml", "--picture": ".png"}[option]
    place = nowhere[kind].with_suffix(ending)
    if kind == "a folder":
        place.mkdir()
    places = {"--out": empty / "a.toml", "--picture": empty / "a.png"} | {option: place}
    (line,) = run("aim", clip, "--bed", bed, *(word for pair in places.items() for word in pair), "--json").mistakes
    assert option in line
    assert str(place) in line


def test_aim_overwrites_neither_the_clip_nor_the_bed_file_nor_its_own_picture(
    run: Any, clip: Path, bed: Path, tmp_path: Path
) -> None:
    before = clip.read_bytes(), bed.read_bytes()
    for out in (clip, bed, tmp_path / "a.png"):
        lines = run("aim", clip, "--bed", bed, "--out", out, "--picture", tmp_path / "a.png").mistakes
        assert "same file" in lines[0]
    link = tmp_path / "link.toml"
    link.symlink_to(bed)
    assert "same file" in run("aim", clip, "--bed", bed, "--out", link).mistakes[0]
    assert (clip.read_bytes(), bed.read_bytes()) == before


def test_a_picture_of_an_unknown_kind_is_refused(run: Any, clip: Path, bed: Path, empty: Path) -> None:
    (line,) = run("aim", clip, "--bed", bed, "--out", empty / "a.toml", "--picture", empty / "a.doc").mistakes
    assert ".png" in line


@pytest.mark.parametrize("kind", ["below a file", "missing folder", "a folder"])
def test_make_believe_refuses_a_place_it_cannot_write_before_it_begins(
    run: Any, nowhere: dict[str, Path], kind: str
) -> None:
    place = nowhere[kind].with_suffix(".avi")
    if kind == "a folder":
        place.mkdir()
    lines = run("make-believe", "--out", place, "--seconds", "600").mistakes
    assert str(place) in lines[0]


def test_make_believe_writes_clip_bed_file_and_truth_that_watch_can_use(run: Any, tmp_path: Path) -> None:
    ran = run("make-believe", "--out", tmp_path / "try.avi", "--seconds", "1")
    assert ran.status == 0
    assert ran.err == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["try.avi", "try.avi.truth.json", "try.bed.toml"]
    assert run("watch", tmp_path / "try.avi", "--bed", tmp_path / "try.bed.toml", "--json").objects
    truth = json.loads((tmp_path / "try.avi.truth.json").read_text())
    assert truth["hints"] is not None


def test_make_believe_names_what_it_wrote_and_how_to_go_on(apart: Any, tmp_path: Path) -> None:
    ran = apart("make-believe", "--out", tmp_path / "my try.avi", "--seconds", "1")
    written, tried = ran.out.splitlines()
    for path in tmp_path.iterdir():
        assert str(path) in written
    line = shlex.split(tried.removeprefix("Try: "))
    assert line[0] == sys.executable  # it was called as a module, and need not be on the path
    done = subprocess.run([*line, "--json"], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.splitlines()[0])["zones"]


@pytest.mark.parametrize(
    ("called", "on_path", "told"),
    [
        (".venv/bin/bedwatch", None, ".venv/bin/bedwatch watch"),
        (".venv/bin/bedwatch", "/usr/bin/bedwatch", ".venv/bin/bedwatch watch"),
        ("/usr/bin/bedwatch", "/usr/bin/bedwatch", "bedwatch watch"),
        ("-c", None, "bedwatch watch"),
    ],
)
def test_make_believe_tells_the_next_command_as_this_one_was_called(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, called: str, on_path: str | None, told: str
) -> None:
    monkeypatch.setattr(sys, "argv", [called])
    monkeypatch.setattr("shutil.which", lambda _: on_path)
    assert f"Try: {told} " in run("make-believe", "--out", tmp_path / "a.avi", "--seconds", "1").out


@pytest.mark.parametrize("there", ["my.avi", "my.bed.toml", "my.avi.truth.json"])
def test_make_believe_writes_over_what_is_there_only_by_force(run: Any, tmp_path: Path, there: str) -> None:
    taken = tmp_path / there
    taken.write_text("mine")
    words = ["make-believe", "--out", tmp_path / "my.avi", "--seconds", "1"]
    (line,) = run(*words).mistakes
    assert str(taken) in line
    assert "--force" in line
    assert [(path, path.read_text()) for path in tmp_path.iterdir()] == [(taken, "mine")]
    assert run(*words, "--force").status == 0
    assert taken.read_bytes() != b"mine"
    assert len(list(tmp_path.iterdir())) == 3


def test_make_believe_keeps_a_bed_file_of_its_own(run: Any, tmp_path: Path) -> None:
    assert run("make-believe", "--out", tmp_path / "my.avi", "--seconds", "1").status == 0
    for name in ("my.avi", "my.avi.truth.json"):
        (tmp_path / name).unlink()
    before = (tmp_path / "my.bed.toml").stat().st_ino
    assert run("make-believe", "--out", tmp_path / "my.avi", "--seconds", "1").status == 0
    assert (tmp_path / "my.bed.toml").stat().st_ino == before


@posix
def test_make_believe_shows_on_a_terminal_how_far_it_is(line_of: Callable[..., list[str]], tmp_path: Path) -> None:
    ours, theirs = os.openpty()
    line = line_of("make-believe", "--out", tmp_path / "try.avi", "--seconds", "1")
    done = subprocess.run(line, stdout=subprocess.PIPE, stderr=theirs, env=os.environ | {"TERM": "xterm"}, check=True)
    os.close(theirs)
    shown = os.read(ours, 1 << 16)
    os.close(ours)
    assert b"Making" in shown
    assert b"100%" in shown or b"%" in shown
    assert b"Making" not in done.stdout


# --- pipes and signals


@posix
@pytest.mark.parametrize("words", [["--json"], []])
def test_a_reader_that_has_seen_enough_ends_it_in_silence(
    line_of: Callable[..., list[str]], clip: Path, bed: Path, aimed: Any, words: list[str]
) -> None:
    with subprocess.Popen(
        line_of("watch", clip, "--bed", bed, "--aim", aimed[1], *words),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
    assert said == ""
    assert process.returncode == 0


@posix
def test_help_into_a_closed_pipe_is_silent(line_of: Callable[..., list[str]]) -> None:
    ours, theirs = os.pipe()
    os.close(ours)
    done = subprocess.run(line_of("--help"), stdout=theirs, stderr=subprocess.PIPE, check=False)
    os.close(theirs)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [["watch", "--json"], ["watch"], ["aim", "--out", "a.toml", "--json"]])
def test_a_full_disk_under_standard_output_is_one_line_and_status_2(
    line_of: Callable[..., list[str]], clip: Path, bed: Path, tmp_path: Path, words: list[str]
) -> None:
    rest = [str(tmp_path / word) if word == "a.toml" else word for word in words[1:]]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            line_of(words[0], clip, "--bed", bed, *rest), stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    line = done.stderr.splitlines()[-1]
    assert line.startswith("bedwatch: standard output: ")
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


@posix
def test_without_any_standard_output_it_still_ends_well(
    line_of: Callable[..., list[str]], clip: Path, bed: Path, aimed: Any
) -> None:
    line = ["/bin/sh", "-c", 'exec "$@" >&- 2>&-', "sh", *line_of("watch", clip, "--bed", bed, "--aim", aimed[1])]
    assert subprocess.run(line, check=False).returncode == 0


@pytest.fixture(scope="module")
def long_clip(pictures: list[Picture], film: Callable[..., Path]) -> Path:
    return film("long", pictures * 4)


@posix
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stopped_watch_leaves_whole_lines_and_says_one(
    line_of: Callable[..., list[str]],
    long_clip: Path,
    bed: Path,
    aimed: Any,
    number: signal.Signals,
    status: int,
) -> None:
    with subprocess.Popen(
        line_of("watch", long_clip, "--bed", bed, "--aim", aimed[1], "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        process.send_signal(number)
        rest, said = process.communicate(timeout=60)
    assert process.returncode == status
    assert said == "bedwatch: stopped\n"
    for line in (first + rest).splitlines():
        assert json.loads(line)["zones"]


@posix
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stopped_make_believe_leaves_nothing_behind(
    line_of: Callable[..., list[str]], empty: Path, number: signal.Signals, status: int
) -> None:
    with subprocess.Popen(
        line_of("make-believe", "--out", empty / "try.avi", "--seconds", "600"), stderr=subprocess.PIPE, text=True
    ) as process:
        until = time.monotonic() + 60
        while not list(empty.iterdir()) and time.monotonic() < until:
            time.sleep(0.02)
        assert list(empty.iterdir()) != []
        process.send_signal(number)
        _, said = process.communicate(timeout=60)
    assert process.returncode == status
    assert said == "bedwatch: stopped\n"


@posix
def test_signal_handlers_are_given_back(run: Any) -> None:
    before = signal.getsignal(signal.SIGTERM)
    run("--version")
    assert signal.getsignal(signal.SIGTERM) is before
    assert main(["--version"]) == 0
