"""The strict TOML reader: places of keys, every mistake at once, nothing but UserError."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bedwatch.bed.strict import Document, key_text
from bedwatch.bed.toml_lines import KeyLines
from bedwatch.bed.toml_text import LARGEST_BYTES, FileError
from bedwatch.errors import UserError

PLACES = '''# a comment = 1
top = 1
[a.b]
c.d = """
[not.a.table]
"""
"quo.ted" = 'x # = [' # tail
inline = { x = 1, y = { z = [
  1,
  [2,
   3] ] } }

[[list]]
name = "one"
[list.sub]
deep = 1
[[list]]

name = "two"
[[list.sub2]]
k = 1979-05-27T07:32:00Z
[[list.sub2]]
k = 2
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("a",), 3),
        (("a", "b"), 3),
        (("a", "b", "c"), 4),
        (("a", "b", "c", "d"), 4),
        (("a", "b", "quo.ted"), 7),
        (("a", "b", "inline"), 8),
        (("a", "b", "inline", "x"), 8),
        (("a", "b", "inline", "y", "z"), 8),
        (("a", "b", "inline", "y", "z", 0), 9),
        (("a", "b", "inline", "y", "z", 1), 10),
        (("a", "b", "inline", "y", "z", 1, 1), 11),
        (("list",), 13),
        (("list", 0, "name"), 14),
        (("list", 0, "sub"), 15),
        (("list", 0, "sub", "deep"), 16),
        (("list", 1), 17),
        (("list", 1, "name"), 19),
        (("list", 1, "sub2", 0, "k"), 21),
        (("list", 1, "sub2", 1, "k"), 23),
        (("list", 1, "not there"), 17),
        (("nowhere",), 1),
    ],
)
def test_keys_are_found_on_their_lines(path: tuple[str | int, ...], line: int) -> None:
    assert KeyLines(PLACES)[path] == line


def _lines(text: str) -> tuple[str, ...]:
    """What a reader of [t] with a few keys says of a text."""
    document = Document("f.toml", text)
    table = document.top.table("t")
    if table is not None:
        table.text("name")
        table.length_mm("size", 20.0, 1000.0)
        table.number("share", 0.0, 1.0, required=False)
        table.angle_deg("turn", 0.0, 90.0, required=False)
        table.numbers("rows", 2, 2, required=False)
        table.whole_numbers("counts", 1, 9, required=False)
        table.choice("kind", ("round", "square"), required=False)
    document.top.tables("more", required=False)
    with pytest.raises(FileError) as caught:
        document.finish()
    assert isinstance(caught.value, UserError)
    return caught.value.lines


def test_all_mistakes_come_at_once_in_the_order_of_their_lines() -> None:
    text = '[t]\nrows = [[1, 2], [3, nan]]\nsize = "2 m"\nshare = true\nname = ""\nkind = "rond"\nnmae = 3\n'
    assert _lines(text) == (
        "f.toml:2: t.rows: found [[1, 2], [3, NaN]], expected an array of 2 arrays of 2 numbers",
        'f.toml:3: t.size: found "2 m", expected a length from 20 to 1000 mm',
        "f.toml:4: t.share: found true, expected a number from 0 to 1",
        'f.toml:5: t.name: found "", expected a text of 1 to 80 printable letters',
        'f.toml:6: t.kind: found "rond", expected "round" or "square" (did you mean "round"?)',
        "f.toml:7: t.nmae: found an unknown key, expected one of name, size, share, turn, rows, counts, kind"
        ' (did you mean "name"?)',
    )


GOOD = '[t]\nname = "n"\nsize = "30 mm"\n'


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("x = 1\n", "f.toml:1: t: found nothing, expected a table [t]"),
        ("t = 1\n", "f.toml:1: t: found 1, expected a table [t]"),
        ('\n[t]\nname = "n"\n', "f.toml:2: t.size: found nothing, expected a length from 20 to 1000 mm"),
        (GOOD.replace('"30 mm"', "30"), "f.toml:3: t.size: found 30 without a unit, expected a length with its unit"),
        (GOOD + "share = 1e999", "f.toml:4: t.share: found inf, expected a number from 0 to 1"),
        (GOOD + "share = 1" + "0" * 400, "f.toml:4: t.share: found a huge number, expected a number from 0 to 1"),
        (GOOD + 'turn = "91 deg"', 'f.toml:4: t.turn: found "91 deg", expected an angle from 0 to 90 deg'),
        (GOOD + "rows = [[1, 2], [3]]", "f.toml:4: t.rows: found [[1, 2], [3]], expected an array of 2 arrays of 2"),
        (GOOD + "rows = [[1, 2], [3, true]]", "f.toml:4: t.rows: found [[1, 2], [3, true]], expected an array of 2"),
        (GOOD + "counts = []", "f.toml:4: t.counts: found [], expected an array of one or more whole numbers"),
        (GOOD + "counts = [1, true]", "f.toml:4: t.counts: found [1, true], expected an array of one or more"),
        (GOOD + "counts = [0]", "f.toml:4: t.counts: found [0], expected an array of one or more whole numbers"),
        (GOOD + "kind = 1979-05-27", "f.toml:4: t.kind: found a date or time (1979-05-27), expected"),
        (GOOD + "more.x = 1\n[more]\ny = 1", "f.toml:4: t.more: found an unknown key, expected one of name"),
        (GOOD + "[more]", "f.toml:4: more: found a table, expected tables [[more]]"),
        (GOOD + '["sh\\nape"]', 'f.toml:4: "sh\\nape": found an unknown key, expected one of t, more'),
    ],
)
def test_one_mistake_is_one_line(text: str, line: str) -> None:
    lines = _lines(text)
    assert any(given.startswith(line) for given in lines), lines
    assert len(lines) == 1 + (text == "x = 1\n") + ("more.x" in text)


def test_a_misspelt_key_is_not_missing_as_well() -> None:
    assert _lines('[t]\nname = "n"\nsise = "30 mm"\n') == (
        "f.toml:3: t.sise: found an unknown key, expected one of name, size, share, turn, rows, counts, kind"
        ' (did you mean "size"?)',
    )


def test_good_values_come_through() -> None:
    document = Document("f", '[t]\nname = " n "\nsize = "3 cm"\nrows = [[1, 2.5], [3, 4]]\n[[more]]\nx = 1\n[[more]]')
    table, more = document.top.table("t"), document.top.tables("more")
    assert table is not None
    assert more is not None
    assert (table.text("name"), table.length_mm("size", 20, 40)) == ("n", 30.0)
    assert np.array_equal(table.numbers("rows", 2, 2), [[1, 2.5], [3, 4]])
    assert [m.number("x", required=False) for m in more] == [1.0, None]
    document.finish()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[t]\nsize = 420 mm\n", 'f.toml:2: found "size = 420 mm", expected TOML (Expected newline or end of document'),
        ('a = 1\nb = "open\nc = 1', 'f.toml:2: found "b = "open", expected TOML ('),
        ("a = 1\na = 2\n", 'f.toml:2: found "a = 2", expected TOML (Cannot overwrite a value)'),
        ("a = [1,\n2", 'f.toml:2: found "2", expected TOML ('),
        ("a = " + "[" * 5000, "f.toml: found brackets nested too deeply"),
        ("a = " + "1" * 5000, "f.toml: found a value out of range"),
        ("x = 1\n" + "a." * 100_000 + "a = 1", "f.toml:2: found a key of more than 32 parts"),
    ],
)
def test_what_is_not_toml_is_one_line(text: str, line: str) -> None:
    with pytest.raises(FileError) as caught:
        Document("f.toml", text)
    assert len(caught.value.lines) == 1
    assert caught.value.lines[0].startswith(line)


def test_quotes_are_advised_round_a_length() -> None:
    with pytest.raises(FileError, match='in quotes, as "420 mm"'):
        Document("f.toml", "[t]\nsize = 420 mm\n")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", ": found an empty file"),
        (b" \n\t\n", ": found an empty file"),
        (b"a = 1\nb = '\xff'\n", ":2: found bytes that are not UTF-8"),
        (b"\xff\xfea\x00", ":1: found bytes that are not UTF-8"),
        (b"#" * (LARGEST_BYTES + 1), ": found more than 1 MB"),
        (b"a = 1\n\x00\n", ':2: found "\\x00", expected TOML'),
    ],
)
def test_files_that_hold_no_toml(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(data)
    with pytest.raises(FileError) as caught:
        Document.read(path)
    (line,) = caught.value.lines
    assert line.startswith(f"{path}{says}")


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def says(path: Path | str) -> str:
        with pytest.raises(FileError) as caught:
            Document.read(path)
        (line,) = caught.value.lines
        assert "\n" not in line
        return line

    assert says(tmp_path / "none.toml").endswith("found no such file, expected a TOML file; check the name")
    assert "found a folder" in says(tmp_path)
    assert "embedded null" in says("a\0b.toml")
    assert "cannot be opened" in says("x" * 5000)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.toml")
        assert "found a device or pipe" in says(tmp_path / "pipe.toml")
    (tmp_path / "shut.toml").write_text("a = 1")

    def refuse(*_args: object, **_kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "found a file that may not be read" in says(tmp_path / "shut.toml")


def test_a_byte_order_mark_and_windows_line_ends_are_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\nc = 3\r\n")
    document = Document.read(path)
    assert document.top.number("a") == 1.0
    assert document.top.number("b") == 2.0
    with pytest.raises(FileError, match=r":3: c: found an unknown key"):
        document.finish()


def test_a_flood_of_mistakes_is_cut() -> None:
    with pytest.raises(FileError) as caught:
        Document("f", "\n".join(f"k{i} = 1" for i in range(90))).finish()
    assert len(caught.value.lines) == 51
    assert caught.value.lines[-1] == "f: found 40 more mistakes, expected none"


def test_key_text() -> None:
    assert key_text(("zones", "custom", 0, "a b")) == 'zones.custom[1]."a b"'


_bits = st.lists(
    st.sampled_from(
        [
            "[",
            "]",
            "[[",
            "]]",
            "{",
            "}",
            "=",
            ".",
            ",",
            "\n",
            '"',
            "'",
            '"""',
            "'''",
            "#",
            " ",
            "\\",
            "a",
            "t",
            "1",
            "[t]\n",
            "a = ",
            "t.a",
            "[[t]]\n",
            "name",
            "true",
            "1.5",
            "-",
            "\r\n",
            "1979-05-27",
            "\\u0041",
            "{a = 1}",
        ]
    ),
    max_size=24,
).map("".join)


@given(st.one_of(st.text(max_size=60), _bits))
@example("a = '''''x'''''\n[b]")
@settings(max_examples=300)
def test_any_text_ends_in_tables_or_user_error(text: str) -> None:
    lines: tuple[str, ...] | None = None
    try:
        document = Document("f", text)
        table = document.top.table("t", required=False)
        if table is not None:
            table.value("a", "anything", required=False)
        document.finish()
    except UserError as error:
        lines = error.lines
    if lines is None:
        assert set(tomllib.loads(text)) <= {"t"}  # what is taken is TOML, and holds nothing that was not asked for
    else:
        assert lines
        assert all(line.isprintable() for line in lines)
