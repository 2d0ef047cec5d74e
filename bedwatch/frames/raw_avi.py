"""Uncompressed AVI files, read without FFmpeg.

An ordinary 24-bit one stores its rows bottom-up; OpenCV 5 takes the negative row step for a size and ends
the process. Layout: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991), AVI with its
OpenDML continuation chunks, BITMAPINFOHEADER.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from bedwatch.errors import UserError
from bedwatch.frames.raw_pixels import Layout, layout_of
from bedwatch.frames.reel import FileSource, Shot

_HEADER_MOST = 1 << 20
_SIDE_MOST = 16384
_RESYNC_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class RawAvi:
    """What the header says. step_s: seconds a frame; frames: how many it promises, 0 when it does not say.

    stream: number of the video stream; movi_at: file offset of the first chunk of the pictures.
    """

    layout: Layout
    step_s: float
    frames: int
    stream: int
    movi_at: int


def parse_raw_avi(path: Path, name: str) -> RawAvi | None:
    """The header of an uncompressed AVI; None for any file that is not surely one.

    Raises UserError if it is one and its sizes or rate make no sense; OSError.
    """
    with path.open("rb") as file:
        head = file.read(_HEADER_MOST)
    if head[:4] != b"RIFF" or head[8:12] != b"AVI ":
        return None
    stream, micros, rate, movi_at = -1, 0, None, None
    video: tuple[int, bytes, bytes] | None = None
    strh = b""
    for tag, data, at in _chunks(head, 12):
        if tag == b"avih":
            micros = int.from_bytes(data[:4], "little")
        elif tag == b"strh":
            stream, strh = stream + 1, data
        elif tag == b"strf" and strh[:4] == b"vids" and video is None:
            video = (stream, strh, data)
        elif tag == b"movi":
            movi_at = at
            break
    if video is None or movi_at is None or len(video[1]) < 36 or len(video[2]) < 40:
        return None
    number, strh, strf = video
    layout = layout_of(strf)
    if layout is None:
        return None
    scale, rate, _start, frames = struct.unpack_from("<4I", strh, 20)
    step_s = scale / rate if scale and rate else micros / 1e6
    wrong = not (0 < layout.width <= _SIDE_MOST and 0 < layout.height <= _SIDE_MOST)
    if wrong or not 1e-4 <= step_s <= 3600:
        raise UserError(
            f"{name}: the header of this uncompressed AVI is damaged "
            f"(pictures of {layout.width} x {layout.height}, {step_s:g} s each); "
            f"expected sizes from 1 to {_SIDE_MOST} and a frame rate; record it again"
        )
    return RawAvi(layout=layout, step_s=step_s, frames=frames, stream=number, movi_at=movi_at)


def _chunks(head: bytes, at: int) -> Iterator[tuple[bytes, bytes, int]]:
    """(tag, data, offset of the data) of every chunk, lists entered."""
    while at + 8 <= len(head):
        tag, length = head[at : at + 4], int.from_bytes(head[at + 4 : at + 8], "little")
        if tag == b"LIST":
            kind = head[at + 8 : at + 12]
            if kind == b"movi":
                yield kind, b"", at + 12
                return
            at += 12 if kind in (b"hdrl", b"strl") else 8 + length + (length & 1)
            continue
        yield tag, head[at + 8 : at + 8 + length], at + 8
        at += 8 + length + (length & 1)


class RawAviDecoder:
    """Walks the chunks from front to back; needs no index, so a file that was cut off or never closed is read
    as far as it goes. A chunk of the wrong length is skipped up to the next good one; an empty one is a frame
    that the recorder dropped.
    """

    def __init__(self, path: Path, header: RawAvi) -> None:
        self.notes: list[str] = list(header.layout.notes)
        self.whole: bool | None = None
        self.duration_s: float | None = header.frames * header.step_s if header.frames else None
        self._header = header
        self._file: BinaryIO = path.open("rb")
        self._size = os.fstat(self._file.fileno()).st_size
        self._at = header.movi_at
        self._tags = tuple(f"{header.stream:02d}".encode() + kind for kind in (b"db", b"dc"))
        self._index = 0
        self._open = True

    def read(self) -> Shot | None:
        """The next shot; None at the end of the pictures or of the file."""
        header, broken = self._header, 0
        while self._open and self._at + 8 <= self._size:
            self._file.seek(self._at)
            tag, length = struct.unpack("<4sI", self._file.read(8))
            if tag in (b"LIST", b"RIFF"):
                self._at += 12
            elif tag in self._tags and length == 0:
                self._index += 1
                self._at += 8
            elif tag in self._tags and header.layout.fits(length):
                if self._at + 8 + length > self._size:
                    break
                data = np.frombuffer(self._file.read(length), np.uint8)
                time_s = self._index * header.step_s
                self._index += 1
                self._at += 8 + length + (length & 1)
                return Shot(picture=header.layout.picture(data), time_s=time_s, broken_before=broken)
            elif self._is_other(tag, length):
                self._at += 8 + length + (length & 1)
            else:
                lost = self._resync()
                self._index += lost
                broken += lost
        self._finish()
        return None

    def close(self) -> None:
        """Let the file go."""
        self._open = False
        self._file.close()

    def _is_other(self, tag: bytes, length: int) -> bool:
        known = tag in (b"idx1", b"JUNK", b"INFO") or tag[:2] == b"ix" or (tag[:2].isdigit() and tag[2:].isalpha())
        return known and tag not in self._tags and self._at + 8 + length <= self._size

    def _resync(self) -> int:
        """Go to the next good picture chunk; how many pictures lie between, by the length they must have."""
        layout, start = self._header.layout, self._at
        self._at += 1
        while self._at + 8 <= self._size:
            self._file.seek(self._at)
            block = self._file.read(_RESYNC_BLOCK + 8)
            hits = [
                at
                for tag in self._tags
                for at in _all(block, tag)
                if at + 8 <= len(block) and layout.fits(int.from_bytes(block[at + 4 : at + 8], "little"))
            ]
            if hits:
                self._at += min(hits)
                return max(round((self._at - start) / (layout.size + 8)), 1)
            self._at += max(len(block) - 8, 1)
        self._at = self._size
        return 0

    def _finish(self) -> None:
        if self._open and self._header.frames and self.whole is None:
            self.whole = self._index >= self._header.frames


class RawAviFile(FileSource):
    """An uncompressed AVI as a `Source`. Raises UserError if it holds no whole picture."""

    def __init__(self, path: Path, header: RawAvi, name: str | None = None) -> None:
        super().__init__(RawAviDecoder(path, header), name or str(path))


def _all(block: bytes, tag: bytes) -> Iterator[int]:
    at = block.find(tag)
    while at >= 0:
        yield at
        at = block.find(tag, at + 1)
