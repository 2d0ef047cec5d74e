"""The size of a picture from its first bytes, without decoding it."""

from __future__ import annotations

import re
from pathlib import Path

_PNM = re.compile(rb"P[56](?:\s+|#[^\n]*\n)+(\d+)(?:\s+|#[^\n]*\n)+(\d+)")


def picture_size(path: Path) -> tuple[int, int] | None:
    """(width, height) in pixels as stored, turn flags not applied; None if it cannot be told.

    Knows PNG (ISO/IEC 15948), JPEG (ITU-T T.81), BMP and PGM.
    """
    try:
        with path.open("rb") as file:
            head = file.read(65536)
            if head[:2] == b"\xff\xd8" and _jpeg(head) is None:
                head += file.read(1 << 20)
    except OSError:
        return None
    if head[:8] == b"\x89PNG\r\n\x1a\n" and head[12:16] == b"IHDR" and len(head) >= 24:
        return int.from_bytes(head[16:20], "big"), int.from_bytes(head[20:24], "big")
    if head[:2] == b"BM" and len(head) >= 26 and int.from_bytes(head[14:18], "little") >= 40:
        width, height = (int.from_bytes(head[at : at + 4], "little", signed=True) for at in (18, 22))
        return width, abs(height)
    if head[:2] == b"\xff\xd8":
        return _jpeg(head)
    if found := _PNM.match(head):
        return int(found[1]), int(found[2])
    return None


def _jpeg(head: bytes) -> tuple[int, int] | None:
    at = 2
    while at + 9 <= len(head) and head[at] == 0xFF:
        marker = head[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        # Start of frame, but not the Huffman (C4), reserved (C8) and arithmetic (CC) tables between them.
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(head[at + 7 : at + 9], "big"), int.from_bytes(head[at + 5 : at + 7], "big")
        at += 2 + int.from_bytes(head[at + 2 : at + 4], "big")
    return None
