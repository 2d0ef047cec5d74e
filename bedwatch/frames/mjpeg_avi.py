"""Writes JPEG pictures that were taken at uneven times into an AVI as they are, without coding them again.

Layout: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991) with the AVI main and stream headers and
an `idx1`. An AVI has one rate; a frame that is missing at it is an empty chunk, which readers take for a dropped one.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from bedwatch.files import replacing

Shot = tuple[float, bytes]  # time in seconds, JPEG
_MOST_BYTES = (1 << 32) - (1 << 20)
_KEYFRAME, _HAS_INDEX, _MAIN_SIZE = 0x10, 0x10, 56


def write_mjpeg_avi(path: Path | str, size_px: tuple[int, int], shots: Sequence[Shot]) -> None:
    """shots: at least two, times rising. Raises ValueError for fewer, or for more than an AVI holds (4 GB); UserError as
    `files.replacing`.
    """
    if len(shots) < 2:
        raise ValueError(f"{len(shots)} pictures make no clip")
    if sum(len(jpeg) for _, jpeg in shots) > _MOST_BYTES:
        raise ValueError("more than 4 GB, which is all that an AVI holds")
    step_s, slots = _slots([time_s for time_s, _ in shots])
    chunks, index = [], []
    at = 4
    for data in _filled(slots, [jpeg for _, jpeg in shots]):
        chunk = _chunk(b"00dc", data)
        index.append(struct.pack("<4sIII", b"00dc", _KEYFRAME if data else 0, at, len(data)))
        chunks.append(chunk)
        at += len(chunk)
    header = _list(b"hdrl", _main(size_px, step_s, len(index)) + _stream(size_px, step_s, len(index)))
    movi = struct.pack("<4sI4s", b"LIST", at, b"movi")
    last = _chunk(b"idx1", b"".join(index))
    whole = 4 + len(header) + 8 + at + len(last)
    with replacing(path) as draft, draft.open("wb") as file:
        file.write(struct.pack("<4sI4s", b"RIFF", whole, b"AVI ") + header + movi)
        file.writelines(chunks)
        file.write(last)


def _slots(times_s: Sequence[float]) -> tuple[float, list[int]]:
    """The step of an even row of slots, and the slot of each frame: no two in one."""
    steps = np.diff(np.asarray(times_s, np.float64))
    usual = float(np.median(steps))
    counts = np.maximum(np.rint(steps / max(usual, 1e-6)), 1).astype(int)
    step_s = float(times_s[-1] - times_s[0]) / int(counts.sum())
    slots = [0]
    for time_s in times_s[1:]:
        slots.append(max(slots[-1] + 1, round((time_s - times_s[0]) / step_s)))
    return step_s, slots


def _filled(slots: Sequence[int], jpegs: Sequence[bytes]) -> Iterator[bytes]:
    now = 0
    for slot, jpeg in zip(slots, jpegs, strict=True):
        for _ in range(slot - now):
            yield b""
        yield jpeg
        now = slot + 1


def _main(size_px: tuple[int, int], step_s: float, frames: int) -> bytes:
    fields = (round(1e6 * step_s), 0, 0, _HAS_INDEX, frames, 0, 1, 0, *size_px, 0, 0, 0, 0)
    return _chunk(b"avih", struct.pack("<14I", *fields))


def _stream(size_px: tuple[int, int], step_s: float, frames: int) -> bytes:
    width, height = size_px
    scale, rate = round(1e6 * step_s), 1_000_000
    header = struct.pack(
        "<4s4sIHHIIIIIIII4H",
        b"vids",
        b"MJPG",
        0,
        0,
        0,
        0,
        scale,
        rate,
        0,
        frames,
        0,
        0xFFFFFFFF,
        0,
        0,
        0,
        width,
        height,
    )
    shape = struct.pack("<IiiHH4sIiiII", 40, width, height, 1, 24, b"MJPG", width * height * 3, 0, 0, 0, 0)
    return _list(b"strl", _chunk(b"strh", header) + _chunk(b"strf", shape))


def _chunk(tag: bytes, data: bytes) -> bytes:
    return struct.pack("<4sI", tag, len(data)) + data + b"\0" * (len(data) % 2)


def _list(tag: bytes, data: bytes) -> bytes:
    return struct.pack("<4sI4s", b"LIST", len(data) + 4, tag) + data


__all__ = ["Shot", "write_mjpeg_avi"]
