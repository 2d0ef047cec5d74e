"""`bedwatch settings` and `bedwatch report`: what they write, and one line for every mistake."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Ran

    Run = Callable[..., Ran]


@pytest.fixture(scope="module")
def saved(run: Run, watched: Ran, bed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a bed file, the log of a watched clip, and a setting saved from it."""
    folder = tmp_path_factory.mktemp("keep")
    shutil.copy(bed, folder / "latch.bed.toml")
    (folder / "clip.jsonl").write_text(watched.out + '{"did": {"zone": "6", "do": "less_air", "amount": 0.25}}\n')
    ran = run("settings", "save", folder / "clip.jsonl", "--bed", folder / "latch.bed.toml", "--name", "winter",
              "--valve", "3: a quarter open", "--humidity", "45", "--level", "8 cm")  # fmt: skip
    assert ran.status == 0, ran
    assert "Saved: " in ran.out
    return folder


def test_save_list_show_rename_remove(run: Run, saved: Path, tmp_path: Path) -> None:
    shutil.copy(saved / "winter.setting.toml", tmp_path)
    shown = run("settings", "show", "winter", "--in", tmp_path)
    assert shown.status == 0
    assert "a quarter open" in shown.out
    assert "45 %" in shown.out
    (tmp_path / "bad.setting.toml").write_text("no toml")
    listed = run("settings", "list", "--in", tmp_path)
    assert listed.status == 0
    assert "winter" in listed.out
    assert "damaged" in listed.out
    assert "bad.setting.toml" in listed.err
    assert run("settings", "rename", "winter", "summer", "--in", tmp_path).status == 0
    assert run("settings", "compare", "summer", saved / "winter.setting.toml", "--in", tmp_path).status == 0
    assert run("settings", "remove", "summer", "--in", tmp_path).status == 0
    assert [path.name for path in tmp_path.iterdir()] == ["bad.setting.toml"]


def test_a_clip_is_saved_with_its_picture_and_reported(run: Run, clip: Path, bed: Path, tmp_path: Path) -> None:
    ran = run("settings", "save", clip, "--bed", bed, "--name", "of a clip", "--in", tmp_path)
    assert ran.status == 0, ran
    assert {path.suffix for path in tmp_path.iterdir()} == {".toml", ".jpg"}
    page = tmp_path / "page.html"
    ran = run("report", tmp_path / "of a clip.setting.toml", "--bed", bed, "--out", page)
    assert ran.status == 0, ran
    text = page.read_text(encoding="utf-8")
    assert "data:image/jpeg;base64," in text
    assert str(tmp_path) not in text


def test_a_setting_is_reported_by_its_name(run: Run, saved: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    ran = run("report", "winter", "--bed", saved / "latch.bed.toml", "--out", page)
    assert ran.status == 0, ran
    assert "winter" in page.read_text(encoding="utf-8")


def test_a_log_is_reported_and_held_against_a_setting(run: Run, saved: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    ran = run("report", saved / "clip.jsonl", "--bed", saved / "latch.bed.toml", "--out", page, "--against", "winter")
    assert ran.status == 0, ran
    text = page.read_text(encoding="utf-8")
    assert "Held against" in text
    assert "something was done" in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("save", "LOG", "--bed", "BED", "--name", "a/b"), "--name: found"),
        (("save", "LOG", "--bed", "BED", "--name", "winter"), "already"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--valve", "9: shut"), "--valve: found"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--valve", "3 shut"), "--valve: found"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--humidity", "140"), "--humidity: found 140"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--level", "80"), "--level: found"),
        (("save", "nothing.jsonl", "--bed", "BED", "--name", "x"), "nothing.jsonl: cannot be read"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--in", "not/there"), "no folder"),
        (("save", "LOG", "--bed", "BED", "--name", "x", "--seconds", "1"), "--seconds: found 1"),
        (("show", "summer", "--in", "FOLDER"), "found no setting of that name"),
        (("show", "no.setting.toml"), "found no such file"),
        (("list", "--in", "not/there"), "cannot be read"),
        (("rename", "winter", "con", "--in", "FOLDER"), "Windows"),
        (("remove", "summer", "--in", "FOLDER"), "found no setting"),
        (("bogus",), "No such command"),
    ],
)
def test_one_line_for_a_mistake(run: Run, saved: Path, arguments: tuple[str, ...], told: str) -> None:
    before = {path.name: path.read_bytes() for path in saved.iterdir()}
    stand_for = {"LOG": saved / "clip.jsonl", "BED": saved / "latch.bed.toml", "FOLDER": saved}
    lines = run("settings", *(stand_for.get(word, word) for word in arguments)).mistakes
    assert len(lines) == 1
    assert told in lines[0]
    assert {path.name: path.read_bytes() for path in saved.iterdir()} == before


@pytest.mark.parametrize(
    ("given", "out", "more", "told"),
    [
        ("LOG", "page.txt", (), "--out: found"),
        ("LOG", "BED", (), "--out: found"),
        ("LOG", "page.html", ("--against", "summer"), "found no setting of that name"),
        ("no.jsonl", "page.html", (), "cannot be read"),
        ("no.setting.toml", "page.html", (), "found no such file"),
    ],
)
def test_one_line_for_a_mistaken_report(
    run: Run, saved: Path, empty: Path, given: str, out: str, more: tuple[str, ...], told: str
) -> None:
    bed = saved / "latch.bed.toml"
    place = bed if out == "BED" else empty / out
    lines = run(
        "report", saved / "clip.jsonl" if given == "LOG" else given, "--bed", bed, "--out", place, *more
    ).mistakes
    assert len(lines) == 1
    assert told in lines[0]


def test_a_setting_of_another_bed_is_refused(run: Run, saved: Path, empty: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.bed.toml"
    other.write_text((saved / "latch.bed.toml").read_text().replace("420 mm", "600 mm"))
    lines = run("report", saved / "winter.setting.toml", "--bed", other, "--out", empty / "p.html").mistakes
    assert "420" in lines[0]
    assert "600" in lines[0]


@pytest.mark.parametrize("junk", ["{", "[]", '{"state": "reading"}', "\n\n", "NaN", "\x00"])
def test_a_log_of_junk_is_told_in_lines(run: Run, saved: Path, empty: Path, tmp_path: Path, junk: str) -> None:
    log = tmp_path / "junk.jsonl"
    log.write_text(junk + "\n")
    ran = run("report", log, "--bed", saved / "latch.bed.toml", "--out", empty / "p.html")
    assert all(str(log) in line for line in ran.mistakes)


def test_the_log_commands(run: Run, saved: Path, tmp_path: Path) -> None:
    log, bed, out = saved / "clip.jsonl", saved / "latch.bed.toml", tmp_path / "table.csv"
    told = run("log", "summary", log, log, "--bed", bed)
    assert told.status == 0
    assert "done: zone 6 less air, about a quarter of its travel" in told.out
    assert "all 2 together" in told.out
    assert run("log", "csv", log, "--bed", bed, "--out", out).status == 0
    lines = log.read_text().count("\n")
    assert len(out.read_text(encoding="utf-8-sig").splitlines()) == lines + 1
    assert len(run("log", "csv", log, "--bed", bed).out.splitlines()) == lines + 1
    assert "zone 6 less air" in run("log", "play", log, "--bed", bed).out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("summary", "no.jsonl"), "no.jsonl: cannot be read"),
        (("summary", "EMPTY"), "found nothing in it"),
        (("csv", "LOG", "--out", "LOG"), "the same file as the log"),
        (("play", "LOG", "--times", "0"), "--times: found 0"),
    ],
)
def test_one_line_for_a_mistake_about_logs(
    run: Run, saved: Path, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    nothing = tmp_path / "empty.jsonl"
    nothing.touch()
    stand_for = {"LOG": saved / "clip.jsonl", "EMPTY": nothing}
    words = [stand_for.get(word, word) for word in arguments]
    lines = run("log", *words, "--bed", saved / "latch.bed.toml").mistakes
    assert len(lines) == 1
    assert told in lines[0]


def test_against_a_setting_adds_one_field(run: Run, clip: Path, saved: Path) -> None:
    ran = run("watch", clip, "--bed", saved / "latch.bed.toml", "--against", "winter", "--json")
    assert ran.status == 0
    last = ran.objects[-1]["against"]
    assert (last["setting"], last["step"], last["back"], last["next"]) == ("winter", "back", True, None)
    assert [zone["now"] for zone in last["zones"]] == ["alike"] * 7
    assert 0.5 < last["sure"] < 1
    first = ran.objects[0]["against"]
    assert (first["step"], first["faster"], first["zones"]) == ("wait", None, [])
    lines = run("watch", clip, "--bed", saved / "latch.bed.toml", "--against", "summer", "--json").mistakes
    assert "found no setting" in lines[0]


def test_without_it_there_is_no_such_field(watched: Ran) -> None:
    assert all("against" not in reading for reading in watched.objects)
