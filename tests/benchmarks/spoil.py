"""Ways to spoil a file: bytes flipped, cut, doubled; and for text numbers, words and lines that cannot be."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

_NUMBER = re.compile(rb"-?\d+(\.\d+)?([eE][-+]?\d+)?")
_WORD = re.compile(rb"[A-Za-z_]+")
ODD = [b"nan", b"inf", b"-inf", b"0", b"-1", b"1e309", b"-1e-320", b"99999999999999999999999", b"0x10", b"1_0", b"true",
       b"null", b'""', b"[]", b"{}", b'"\\u0000"', b'"12 mm"', b'"-3 mm"', b'"0 mm"', b"1979-05-27T07:32:00Z", b"'''", b"#",
       b"\xff\xfe", b"\xef\xbb\xbf", "ß µ 5 mm".encode(), b"[[1,2],[3]]", b"[" * 300, b'"' + b"9" * 400 + b' mm"']  # fmt: skip


def flipped(raw: bytes, lot: random.Random) -> bytes:
    spoilt = bytearray(raw)
    for _ in range(lot.choice((1, 1, 2, 8, 64))):
        if spoilt:
            spoilt[lot.randrange(len(spoilt))] ^= 1 << lot.randrange(8)
    return bytes(spoilt)


def cut(raw: bytes, lot: random.Random) -> bytes:
    return raw[: lot.randrange(len(raw) + 1)]


def holed(raw: bytes, lot: random.Random) -> bytes:
    at, many = lot.randrange(len(raw) + 1), lot.choice((1, 4, 100, 3000))
    return raw[:at] + lot.choice((b"", bytes(many), lot.randbytes(many))) + raw[at + many :]


def doubled(raw: bytes, lot: random.Random) -> bytes:
    at, end = sorted(lot.randrange(len(raw) + 1) for _ in range(2))
    return raw[:end] + raw[at:end] + raw[end:]


def head_spoilt(raw: bytes, lot: random.Random) -> bytes:
    """Where containers keep sizes and counts."""
    spoilt = bytearray(raw)
    for _ in range(lot.choice((1, 3, 10))):
        at = lot.randrange(min(len(spoilt), 600))
        spoilt[at : at + 4] = lot.choice((b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", lot.randbytes(4)))
    return bytes(spoilt)


def other_numbers(raw: bytes, lot: random.Random) -> bytes:
    return _exchanged(raw, _NUMBER, lambda _: lot.choice((*ODD, str(lot.uniform(-1e4, 1e4)).encode())), lot)


def near_numbers(raw: bytes, lot: random.Random) -> bytes:
    """Some times as large, so that files stay well-formed and only their sense is lost."""
    return _exchanged(
        raw, _NUMBER, lambda word: f"{float(word) * lot.choice((-1, 0.1, 0.7, 1.5, 10)):.6g}".encode(), lot
    )


def other_words(raw: bytes, lot: random.Random) -> bytes:
    words = _WORD.findall(raw) or [b"x"]
    return _exchanged(raw, _WORD, lambda _: lot.choice((lot.choice(words), b"x", lot.choice(ODD))), lot)


def other_lines(raw: bytes, lot: random.Random) -> bytes:
    lines = raw.split(b"\n")
    for _ in range(lot.choice((1, 1, 3))):
        at = lot.randrange(len(lines))
        change = lot.randrange(4)
        if change == 0:
            lines.insert(at, lot.choice(lines))
        elif change == 1 and len(lines) > 1:
            del lines[at]
        elif change == 2:
            lines[at] = lines[at][: lot.randrange(len(lines[at]) + 1)]
        else:
            other = lot.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
    return b"\n".join(lines)


def _exchanged(raw: bytes, pattern: re.Pattern[bytes], other: Callable[[bytes], bytes], lot: random.Random) -> bytes:
    places = list(pattern.finditer(raw))
    for place in sorted(lot.sample(places, min(len(places), lot.choice((1, 1, 1, 2, 5)))), key=lambda m: -m.start()):
        raw = raw[: place.start()] + other(place[0]) + raw[place.end() :]
    return raw


BYTES = (flipped, flipped, cut, holed, doubled, head_spoilt)
TEXT = (
    other_numbers,
    other_numbers,
    near_numbers,
    near_numbers,
    near_numbers,
    other_words,
    other_words,
    other_lines,
    flipped,
    cut,
    holed,
    doubled,
)
