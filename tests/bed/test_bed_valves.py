"""The table [valves]: what is read, one line for every mistake, and its text put into a bed file that keeps all else."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from bedwatch.bed import FileError, Valves, read_bed
from bedwatch.bed.valves_text import with_valves

ZONES = ("1", "2", "3", "4", "5", "6", "7")
BED = """\
# my bed
[bed]
shape = "round"   # a tub
diameter = "420 mm"
surface_below_rim = "80 mm"

[zones]
rings = [1, 6]
"""
TABLE = """
[valves]
reversed = ["3"]      # fitted upside down
without = ["7"]
[valves.labels]
"1" = "C"
"3" = "red # tap"     # by the door
"""
AFTER = """
[plate]
hole = "1 mm"
"""


def read(folder: Path, text: str) -> Valves:
    path = folder / "b.bed.toml"
    path.write_text(text, encoding="utf-8")
    return read_bed(path).valves


def test_labels_and_what_is_told_beside_them(tmp_path: Path) -> None:
    found = read(tmp_path, BED + TABLE)
    assert found.label("1") == "C"
    assert found.label("2") is None
    assert found.label("3") == "red # tap"
    assert found.reversed == {"3"}
    assert found.without == {"7"}


def test_a_bed_without_the_table_has_a_valve_for_every_zone(tmp_path: Path) -> None:
    path = tmp_path / "b.bed.toml"
    path.write_text(BED)
    assert read_bed(path).valves == Valves()
    assert read_bed(path).with_valve == set(ZONES)


def test_all_zones_may_be_without(tmp_path: Path) -> None:
    path = tmp_path / "b.bed.toml"
    path.write_text(BED + '[valves]\nwithout = "all"\n')
    assert read_bed(path).with_valve == frozenset()


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ('without = ["8"]', '10: valves.without: found the zone "8", expected one of 1, 2, 3, 4, 5, 6, 7'),
        ("without = 7", '10: valves.without: found 7, expected zones in square brackets, such as ["1"], or "all"'),
        ('reversed = ["x"]', '10: valves.reversed: found the zone "x", expected one of'),
        ('labels = {"8" = "A"}', "10: valves.labels.8: found an unknown key"),
        ('labels = {"1" = 1}', "10: valves.labels.1: found 1, expected a text of 1 to 40"),
        (
            'labels = {"1" = "A", "2" = "A"}',
            '10: valves.labels.2: found "A" a second time, expected one zone for every valve',
        ),
        (
            'without = ["1"]\nlabels = {"1" = "A"}',
            '10: valves.without: found zone "1", which has a label too, expected one or the other',
        ),
        (
            "label = {}",
            "10: valves.label: found an unknown key, expected one of labels, without, reversed (did you mean",
        ),
    ],
)
def test_every_mistake_is_one_line_with_its_place(tmp_path: Path, table: str, says: str) -> None:
    with pytest.raises(FileError) as caught:
        read(tmp_path, f"{BED}[valves]\n{table}\n")
    (line,) = caught.value.lines
    assert line.removeprefix(f"{tmp_path / 'b.bed.toml'}:").startswith(says), line


NEW = Valves(labels=(("1", "blue"), ("2", 'the "big" one')), reversed=frozenset({"2"}), without=frozenset({"6", "7"}))


@pytest.mark.parametrize("text", [BED, BED + TABLE, BED + TABLE + AFTER, BED.rstrip("\n"), TABLE + BED, BED + "\n\n"])
def test_the_table_is_put_in_and_all_else_stays(tmp_path: Path, text: str) -> None:
    made = with_valves(text, NEW, ZONES)
    assert made is not None
    assert read(tmp_path, made) == NEW
    old, new = tomllib.loads(text), tomllib.loads(made)
    assert {key: value for key, value in old.items() if key != "valves"} == {
        k: v for k, v in new.items() if k != "valves"
    }
    for comment in ("# my bed", "# a tub", *(("# fitted upside down", "# by the door") if TABLE in text else ())):
        assert comment in made
    assert with_valves(made, NEW, ZONES) == made


@pytest.mark.parametrize(
    "text",
    [
        BED + 'valves.without = "all"\n',  # within [zones]: not a bed file
        f'valves = {{without = ["7"]}}\n{BED}',
        f'valves.without = ["7"]\n{BED}',
    ],
)
def test_a_table_that_is_written_otherwise_is_left_alone(text: str) -> None:
    tomllib.loads(text)
    made = with_valves(text, NEW, ZONES)
    assert made is None or tomllib.loads(made)["valves"] == tomllib.loads(with_valves(BED, NEW, ZONES) or "")["valves"]


def test_nothing_to_tell_takes_the_table_out_of_what_it_says() -> None:
    made = with_valves(BED + TABLE, Valves(), ZONES)
    assert made is not None
    assert tomllib.loads(made)["valves"] == {}
