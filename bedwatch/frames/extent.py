"""Whether a container ends where its own structure says it does."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

_MOST_BOXES = 100_000
_EBML = b"\x1a\x45\xdf\xa3"
_SEGMENT = b"\x18\x53\x80\x67"


def is_whole(path: Path) -> bool | None:
    """False if the AVI, MP4 / MOV or MKV file ends too early, True if not, None if it cannot be told.

    AVI after the RIFF layout, MP4 after ISO/IEC 14496-12 (boxes), MKV after RFC 8794 (EBML sizes). A
    recording that was never finished may carry no size (None). Raises OSError.
    """
    with path.open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        head = file.read(12)
        file.seek(0)
        if head[:4] == b"RIFF":
            return _riff(file, size)
        if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
            return _boxes(file, size)
        if head[:4] == _EBML:
            return _ebml(file, size)
    return None


def _riff(file: BinaryIO, size: int) -> bool | None:
    at = 0
    while at + 8 <= size:
        file.seek(at)
        head = file.read(8)
        if head[:4] != b"RIFF":
            break
        length = int.from_bytes(head[4:], "little")
        if length in (0, 0xFFFFFFFF):
            return None
        at += 8 + length + (length & 1)
    # Some writers count the padding byte or the header of the last chunk twice.
    return at <= size + 8


def _boxes(file: BinaryIO, size: int) -> bool | None:
    at = 0
    for _ in range(_MOST_BOXES):
        if at + 8 > size:
            return at == size
        file.seek(at)
        head = file.read(16)
        length = int.from_bytes(head[:4], "big")
        if length == 0:
            return True
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        if length < 8:
            return None
        at += length
        if at > size:
            return False
    return None


def _ebml(file: BinaryIO, size: int) -> bool | None:
    head = file.read(64)
    length, used = _vint(head[4:])
    if length is None:
        return None
    at = 4 + used + length
    file.seek(at)
    head = file.read(12)
    if head[:4] != _SEGMENT:
        return None
    length, used = _vint(head[4:])
    return None if length is None else at + 4 + used + length <= size


def _vint(data: bytes) -> tuple[int | None, int]:
    """(value, bytes used) of an EBML size; value None when it says unknown or is not one."""
    if not data or data[0] == 0:
        return None, 1
    width = 9 - data[0].bit_length()
    value = int.from_bytes(data[:width], "big") & ((1 << 7 * width) - 1)
    return (None if value == (1 << 7 * width) - 1 else value), width
