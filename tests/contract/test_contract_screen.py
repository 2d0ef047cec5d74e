"""`watch` on a terminal: keys, the log, the ways to leave it. Steps wait for what is drawn, not for clocks."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import pytest

from bedwatch.frames.frame import Picture
from tests.frame_server import FrameServer, Mode
from tests.terminal import Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")

SECOND_SCREEN, FIRST_SCREEN = b"\x1b[?1049h", b"\x1b[?1049l"


@pytest.fixture
def server(pictures: list[Picture]) -> Iterator[FrameServer]:
    shown = [cv2.imencode(".jpg", picture)[1].tobytes() for picture in pictures]
    with FrameServer(shown, 15.0) as serving:
        yield serving


def test_a_move_told_on_the_screen_is_written_down_by_one_key(
    line_of: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path
) -> None:
    log = tmp_path / "latch.log.jsonl"
    with Terminal(line_of("watch", clip, "--bed", bed, "--aim", aimed[1], "--log", log)) as terminal:
        terminal.until("The clip has ended.")
        assert "done as told: zone 6 less air" in terminal.text
        terminal.press(" ")
        terminal.until("Noted: zone 6 less air")
        terminal.press("t")
        terminal.until("Noted: topped up")
        terminal.press("v")
        terminal.until("Save this setting as:")
        terminal.press("Tuesday\r")
        terminal.until("Where do the valves stand")
        terminal.press("\r")
        terminal.until("there is no reading to keep yet")
        terminal.press("q")
        assert terminal.end() == 0
    assert terminal.seen.count(SECOND_SCREEN) == terminal.seen.count(FIRST_SCREEN) == 1
    left_behind = terminal.seen.partition(FIRST_SCREEN)[2].decode()
    assert "NEXT zone 6 less air" in left_behind
    with Terminal(line_of("log", "play", log, "--bed", bed, "--times", 100)) as terminal:
        terminal.until("Noted: topped up")
        terminal.press(" ")
        terminal.press("q")
        assert terminal.end() == 0
    assert "Traceback" not in terminal.text
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    dids = [line["did"] for line in lines if "did" in line]
    assert dids[0]["zone"] == "6"
    assert dids[0]["do"] == "less_air"
    assert 0.0 < dids[0]["amount"] <= 1.0
    assert dids[1] == {"do": "topped_up"}
    assert sum("state" in line for line in lines) >= 10


def test_a_stream_is_watched_paused_kept_as_a_clip_and_left(
    run: Any, line_of: Any, server: FrameServer, bed: Path, aimed: Any, tmp_path: Path
) -> None:
    mine = tmp_path / "latch.bed.toml"
    mine.write_text(bed.read_text())
    log = tmp_path / "latch.log.jsonl"
    with Terminal(
        line_of("watch", server.url, "--bed", mine, "--aim", aimed[1], "--log", log), columns=140
    ) as terminal:
        terminal.until("more air")
        terminal.press("k")
        terminal.until("s are kept in")
        terminal.press("p")
        terminal.until("Paused: nothing is read")
        paused = len(log.read_text().splitlines())
        terminal.until(None, 1.5)
        assert len(log.read_text().splitlines()) <= paused + 1  # one may have been on its way
        terminal.press("p")
        terminal.until("settling")
        terminal.press("n")
        terminal.until("Note for the log:")
        terminal.press("hello\r")
        terminal.until("The note is in the log.")
        terminal.press("q")
        assert terminal.end() == 0
    assert any(json.loads(line).get("note") == "hello" for line in log.read_text().splitlines())
    (kept,) = tmp_path.glob("latch.*.clip.avi")
    (aim,) = tmp_path.glob("latch.*.clip.aim.toml")
    seen = run("watch", kept, "--bed", mine, "--aim", aim, "--json")
    assert seen.status == 0
    by_zone = {zone["zone"]: zone for zone in seen.objects[-1]["zones"]}
    assert by_zone["6"]["speed_mm_s"] > by_zone["3"]["speed_mm_s"]


def test_an_aim_is_looked_at_kept_and_holds_the_next_time(line_of: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    mine = tmp_path / "latch.bed.toml"
    mine.write_text(bed.read_text())
    aim = tmp_path / "latch.clip-avi.aim.toml"
    with Terminal(line_of("watch", clip, "--bed", mine), columns=120, rows=40) as terminal:
        terminal.until("The clip has ended.")
        terminal.press("a")
        terminal.until("Are the lines on the rim")
        assert "places good to" in terminal.text
        terminal.press(" ")
        terminal.until("The aim is kept in")
        terminal.press("q")
        assert terminal.end() == 0
    assert aim.with_suffix(".check.png").read_bytes().startswith(b"\x89PNG")
    with Terminal(line_of("watch", clip, "--bed", mine), columns=120, rows=40) as terminal:
        terminal.until("The camera stands as in")
        terminal.press("q")
        assert terminal.end() == 0
    shifted = aim.read_text().replace("axes_px = [", "axes_px = [1")
    aim.write_text(shifted.replace("bed_to_picture", "bed_to_pictur"))
    with Terminal(line_of("watch", clip, "--bed", mine)) as terminal:
        assert terminal.end() == 2
        assert str(aim) in terminal.text


@pytest.mark.parametrize(("key", "status"), [("\x03", 130), ("q", 0)])
def test_it_can_be_left_while_it_runs(
    line_of: Any, server: FrameServer, bed: Path, aimed: Any, key: str, status: int
) -> None:
    with Terminal(line_of("watch", server.url, "--bed", bed, "--aim", aimed[1])) as terminal:
        terminal.until("settling")
        terminal.press(key)
        assert terminal.end() == status
        assert terminal.seen.endswith(b"\n") or FIRST_SCREEN in terminal.seen
        assert "Traceback" not in terminal.text


def test_being_ended_from_outside_gives_the_terminal_back(
    line_of: Any, server: FrameServer, bed: Path, aimed: Any
) -> None:
    with Terminal(line_of("watch", server.url, "--bed", bed, "--aim", aimed[1])) as terminal:
        terminal.until("settling")
        os.kill(terminal.process.pid, signal.SIGTERM)
        assert terminal.end() == 128 + signal.SIGTERM
        assert FIRST_SCREEN in terminal.seen
        assert "bedwatch: stopped" in terminal.text
        assert "Traceback" not in terminal.text


def test_a_terminal_that_is_gone_ends_it(line_of: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path) -> None:
    """Else it would go on for ever, unseen, and at full speed."""
    log = tmp_path / "latch.log.jsonl"
    with Terminal(line_of("watch", clip, "--bed", bed, "--aim", aimed[1], "--log", log)) as terminal:
        terminal.until("The clip has ended.")
        terminal.hang_up()
        assert terminal.process.wait(30) in (-signal.SIGHUP, 128 + signal.SIGHUP)
    assert all(json.loads(line) for line in log.read_text().splitlines())


def test_a_mistake_that_shows_only_while_it_runs_is_one_line_and_status_2(
    line_of: Any, clip: Path, bed: Path, tmp_path: Path
) -> None:
    aim = tmp_path / "far.aim.toml"
    far = [[1.0, 0.0, 9000.0], [0.0, -1.0, 9000.0], [0.0, 0.0, 1.0]]
    ellipse = "{ centre_px = [9000.0, 9000.0], axes_px = [210.0, 210.0], angle_deg = 0.0 }"
    aim.write_text(f"bed_to_picture = {far}\nmm_per_px = 1.0\nproblems = []\nsurface = {ellipse}\n")
    with Terminal(line_of("watch", clip, "--bed", bed, "--aim", aim)) as terminal:
        assert terminal.end() == 2
        left_behind = terminal.seen.partition(FIRST_SCREEN)[2].decode()
        assert f"bedwatch: {aim}: the aim does not fit these pictures" in left_behind
        assert "Traceback" not in terminal.text


def test_a_setting_is_saved_on_the_screen_and_compared_with_the_next_time(
    line_of: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path
) -> None:
    mine = tmp_path / "latch.bed.toml"
    mine.write_text(bed.read_text())
    words = line_of("watch", clip, "--bed", mine, "--aim", aimed[1])
    with Terminal(words, columns=140) as terminal:
        terminal.until("The clip has ended.")
        assert "(saved:" not in terminal.text
        for question, answer in (("Save this setting as:", "../up"), ("Where do the valves stand", "")):
            terminal.press("v") if answer else None
            terminal.until(question)
            terminal.press(f"{answer}\r")
        terminal.until("expected 1 to 60 letters")
        terminal.press("v")
        terminal.until("Save this setting as:")
        terminal.press("Tuesday\r")
        terminal.until("Where do the valves stand")
        terminal.press("1: open, 6: a half\r")
        terminal.until("The setting is saved in")
        terminal.press("q")
        assert terminal.end() == 0
    saved = (tmp_path / "Tuesday.setting.toml").read_text()
    assert "a half" in saved
    with Terminal(words, columns=140) as terminal:
        terminal.until("(saved: 0.")
        terminal.press("q")
        assert terminal.end() == 0
    with Terminal([*words, "--against", "Tuesday"], columns=140) as terminal:
        terminal.until("against Tuesday:")
        terminal.until("The clip has ended.")
        terminal.press("q")
        assert terminal.end() == 0


def test_a_stream_that_is_lost_is_said_until_a_key_and_is_status_3(
    line_of: Any, server: FrameServer, bed: Path, aimed: Any
) -> None:
    with Terminal(line_of("watch", server.url, "--bed", bed, "--aim", aimed[1], "--lost-after", 1)) as terminal:
        terminal.until("settling")
        server.mode = Mode.DEAD
        terminal.until("The camera is lost. Q closes the screen.")
        assert terminal.process.poll() is None
        terminal.press("q")
        assert terminal.end() == 3


def test_what_native_code_says_on_standard_error_becomes_a_note_and_spoils_nothing(
    clip: Path, bed: Path, aimed: Any
) -> None:
    code = (
        "import os, sys\nfrom bedwatch.cli import main\nfrom bedwatch.commands.desk import Desk\nsee = Desk.see\n"
        "def noisy(self, frame, note, *, live):\n"
        "    frame.number == 40 and os.write(2, b'[codec @ 0x1] slice damaged\\n')\n"
        "    see(self, frame, note, live=live)\n"
        "Desk.see = noisy\nsys.exit(main(sys.argv[1:]))\n"
    )
    words = ["watch", clip, "--bed", bed, "--aim", aimed[1]]
    with Terminal([sys.executable, "-c", code, *map(str, words)]) as terminal:
        terminal.until("! [codec @ 0x1] slice damaged")
        terminal.until("The clip has ended.")
        terminal.press("q")
        assert terminal.end() == 0


def test_in_ascii_without_colours_everything_can_be_drawn(line_of: Any, clip: Path, bed: Path, aimed: Any) -> None:
    words = line_of("watch", clip, "--bed", bed, "--aim", aimed[1])
    with Terminal(words, environ={"PYTHONIOENCODING": "ascii", "NO_COLOR": "1"}) as terminal:
        terminal.until("The clip has ended.")
        terminal.press("m")
        terminal.until("Which valve did you move?")
        terminal.press("1")  # and not escape: with a key close behind it, it would be another key
        terminal.until("Which way?")
        terminal.press("\x03")
        assert terminal.end() == 130
    assert terminal.text.isascii()
    assert b"38;" not in terminal.seen


def test_a_mistake_in_the_screen_is_told_as_a_mistake_of_the_programs(clip: Path, bed: Path, aimed: Any) -> None:
    code = (
        "import sys\nfrom bedwatch.cli import main\nfrom bedwatch.show.live_screen.story import Story\n"
        "def broken(self):\n    raise ZeroDivisionError('no such luck')\n"
        "Story.mute = broken\nsys.exit(main(sys.argv[1:]))\n"
    )
    words = ["watch", clip, "--bed", bed, "--aim", aimed[1]]
    with Terminal([sys.executable, "-c", code, *map(str, words)]) as terminal:
        terminal.until("The clip has ended.")
        terminal.press("o")
        assert terminal.end() == 70
        assert "no such luck" in terminal.seen.partition(FIRST_SCREEN)[2].decode()


@pytest.mark.parametrize("closed", ["stdin", "stdout"])
def test_without_a_whole_terminal_it_gives_lines_and_ends_by_itself(
    line_of: Any, clip: Path, bed: Path, aimed: Any, closed: str
) -> None:
    streams = {"stdin": subprocess.DEVNULL} if closed == "stdin" else {"stdout": subprocess.DEVNULL}
    with Terminal(line_of("watch", clip, "--bed", bed, "--aim", aimed[1]), **streams) as terminal:
        assert terminal.end(60.0) == 0
        assert SECOND_SCREEN not in terminal.seen


def test_help_and_json_do_not_load_the_screen(clip: Path, bed: Path, aimed: Any) -> None:
    code = (
        "import sys\nfrom bedwatch.cli import main\n"
        "status = main(sys.argv[1:])\n"
        "print([name for name in ('textual', 'bedwatch.show.live_screen.app') if name in sys.modules], file=sys.stderr)\n"
    )
    for words in (["--help"], ["watch", clip, "--bed", bed, "--aim", aimed[1], "--json"]):
        done = subprocess.run(
            [sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, check=True
        )
        assert done.stderr.splitlines()[-1] == "[]"
