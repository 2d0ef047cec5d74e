"""Saved settings: files, names, and what happens to damaged ones."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import textwrap
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bedwatch.errors import UserError
from bedwatch.judge.setting import BedSetting, Measured, Setting, ZoneSetting
from bedwatch.keep.names import checked_name
from bedwatch.keep.setting_read import read_setting
from bedwatch.keep.settings import (
    list_settings,
    look_up,
    open_setting,
    remove_setting,
    rename_setting,
    save_setting,
)

MakeSetting = Callable[..., Setting]


def test_a_setting_comes_back_as_it_was(make_setting: MakeSetting, tmp_path: Path) -> None:
    setting = make_setting()
    path = save_setting(setting, tmp_path, b"a picture")
    kept = open_setting(path)
    assert kept.setting is not None
    assert kept.damage == ()
    assert kept.picture is not None
    assert kept.picture.read_bytes() == b"a picture"
    # Live share and evenness have one error only, which the file names once.
    assert kept.setting == replace(setting, picture=kept.setting.picture)


def test_what_is_not_known_stays_unknown(make_setting: MakeSetting, tmp_path: Path) -> None:
    bare = replace(
        make_setting(),
        bed=BedSetting(name="b", shape="round", width_mm=420.0, length_mm=420.0),
        zones=(ZoneSetting(zone="1"),),
        aim=None,
        faults=(),
        problems=(),
    )
    path = save_setting(bare, tmp_path)
    assert read_setting(path) == bare
    assert "nan" not in path.read_text()
    assert read_setting(path).zones[0].speed_mm_s == Measured()


def test_words_may_be_changed_by_hand(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("a quarter open", "half"), encoding="utf-8")
    assert read_setting(path).zones[2].valve == "half"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("live = 1.0", "live = 1.4", r":\d+: .*live: found 1.4, expected a number from 0 to 1"),
        ('supply = "dial at 4"', 'suply = "x"', r'suply: found an unknown key.*did you mean "supply"'),
        ("format = 1", "format = 9", "format: found 9, expected 1; a later bedwatch"),
        ("saved = 2026-01-31T14:05:00Z", "saved = 2026-01-31T14:05:00", "saved: found .*, expected .*offset"),
        ('zone = "2"', 'zone = "1"', "found a zone twice"),
        ("format = 1", "format = ", "expected TOML"),
        ('hint = "hold"', 'hint = "hope"', "hint: found"),
    ],
)
def test_damage_is_told_with_its_place(
    make_setting: MakeSetting, tmp_path: Path, old: str, new: str, told: str
) -> None:
    path = save_setting(make_setting(), tmp_path)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(UserError) as caught:
        read_setting(path)
    assert len(caught.value.lines) == 1
    assert re.search(told, caught.value.lines[0])


def test_a_damaged_one_is_listed_and_left_alone(make_setting: MakeSetting, tmp_path: Path) -> None:
    save_setting(make_setting(), tmp_path, b"p")
    broken = tmp_path / "broken.setting.toml"
    broken.write_bytes(b"\xff\xfe junk")
    found = {kept.name: kept for kept in list_settings(tmp_path)}
    assert found["grey epoxy, winter"].setting is not None
    assert found["broken"].setting is None
    assert "UTF-8" in found["broken"].damage[0]
    assert broken.read_bytes() == b"\xff\xfe junk"


def test_another_picture_in_its_place_is_told(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path, b"p")
    picture = open_setting(path).picture
    assert picture is not None
    picture.write_bytes(b"q")
    kept = open_setting(path)
    assert kept.picture is None
    assert "not the one that was saved" in kept.damage[0]
    picture.unlink()
    assert "cannot be read" in open_setting(path).damage[0]


def test_a_taken_name_is_refused_unless_forced(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path, b"first")
    with pytest.raises(UserError, match="--force"):
        save_setting(make_setting(name="GREY epoxy, winter"), tmp_path, b"second")
    again = save_setting(make_setting(source="other.mp4"), tmp_path, b"second", force=True)
    assert again == path
    assert read_setting(path).source == "other.mp4"
    assert sorted(file.suffix for file in tmp_path.iterdir()) == [".jpg", ".toml"]  # the first picture is gone


def test_renaming_takes_the_picture_along(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path, b"p")
    made = rename_setting(path, "white nylon")
    kept = open_setting(made)
    assert kept.setting is not None
    assert kept.setting.name == "white nylon"
    assert kept.picture is not None
    assert kept.picture.name.startswith("white nylon.")
    assert len(list(tmp_path.iterdir())) == 2
    save_setting(make_setting(), tmp_path)
    with pytest.raises(UserError, match="already"):
        rename_setting(made, "grey epoxy, winter")
    assert rename_setting(made, "White Nylon").name == "White Nylon.setting.toml"
    assert len(list_settings(tmp_path)) == 2


def test_removing_leaves_nothing_behind(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path, b"p")
    assert len(remove_setting(path)) == 2
    assert list(tmp_path.iterdir()) == []


def test_a_setting_is_found_by_name_or_file(make_setting: MakeSetting, tmp_path: Path) -> None:
    path = save_setting(make_setting(), tmp_path)
    empty = tmp_path / "empty"
    empty.mkdir()
    assert look_up("grey epoxy, winter", [empty, tmp_path]) == path
    assert look_up(str(path), [empty]) == path
    with pytest.raises(UserError, match=r"found no setting of that name in .*winter"):
        look_up("summer", [tmp_path])


@pytest.mark.parametrize("name", ["grey epoxy, winter", "a", "Nr. 4 (fine)", "Pulver grün", "2.5+"])
def test_good_names(name: str) -> None:
    assert checked_name(name) == name


@pytest.mark.parametrize(
    "name",
    [
        "",
        " a",
        "a ",
        ".a",
        "a.",
        "a/b",
        "a\\b",
        "a:b",
        'a"b',
        "a\nb",
        "con",
        "LPT1.x",
        "x" * 61,
        "../x",
        "x.setting",
        "a\0b",
    ],
)
def test_names_that_are_no_file_everywhere(name: str) -> None:
    with pytest.raises(UserError) as caught:
        checked_name(name)
    assert len(caught.value.lines) == 1
    assert caught.value.lines[0].isprintable()


def test_what_a_killed_save_left_is_cleared_away_by_a_later_one(make_setting: MakeSetting, tmp_path: Path) -> None:
    """A draft, and a picture that no setting came to name; not what another save may be about to name, nor others' files."""
    path = save_setting(make_setting(), tmp_path, b"0")
    name = make_setting().name
    mine = f"{name}.{hashlib.sha256(b'1').hexdigest()[:8]}.jpg"
    young = f"{name}.{hashlib.sha256(b'2').hexdigest()[:8]}.jpg"
    stale = [f".{name}.setting-{'0' * 16}.toml", f".{name}.01234567-{'f' * 16}.jpg", mine]
    others = ["another.setting.toml", f"{name}.01234567.jpg", f".another.setting-{'0' * 16}.toml", f"{name}.jpg"]
    for one in (*stale, *others, young):
        (tmp_path / one).write_bytes(b"2" if one == young else b"1")
        if one != young:
            os.utime(tmp_path / one, (0, 0))
    save_setting(make_setting(), tmp_path, b"3", force=True)
    picture = open_setting(path).picture
    assert picture is not None
    assert {one.name for one in tmp_path.iterdir()} == {path.name, picture.name, young, *others}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kill -9 is a matter of POSIX systems")
def test_killed_while_saving_leaves_every_file_whole(make_setting: MakeSetting, tmp_path: Path) -> None:
    """A process saves one name again and again and is killed; whenever that is, the name is one whole setting."""
    save_setting(make_setting(), tmp_path, b"0")
    script = textwrap.dedent(
        """
        import sys, pathlib
        from dataclasses import replace
        from bedwatch.keep.setting_read import read_setting
        from bedwatch.keep.settings import save_setting
        folder = pathlib.Path(sys.argv[1])
        setting = read_setting(folder / "grey epoxy, winter.setting.toml")
        for number in range(10**6):
            save_setting(replace(setting, source=str(number)), folder, str(number).encode() * 999, force=True)
            print(number, flush=True)
        """
    )
    for saves in (1, 3, 8):
        with subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            for _ in range(saves):
                process.stdout.readline()
            process.kill()
        kept = open_setting(tmp_path / "grey epoxy, winter.setting.toml")
        assert kept.setting is not None
        assert kept.damage == ()
        assert kept.picture is not None
