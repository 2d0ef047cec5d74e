"""How uncompressed pictures lie in memory, and how to turn them into ours."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

_BYTES = {8: 1, 16: 2, 24: 3, 32: 4}
_RGB = {b"\0\0\0\0", b"DIB ", b"RGB ", b"RAW ", b"RGB2"}
_GREY = {b"Y800", b"Y8  ", b"GREY"}
_PACKED = {
    b"YUY2": cv2.COLOR_YUV2BGR_YUY2,
    b"YUYV": cv2.COLOR_YUV2BGR_YUY2,
    b"UYVY": cv2.COLOR_YUV2BGR_UYVY,
}
_PLANAR = {
    b"I420": cv2.COLOR_YUV2BGR_I420,
    b"IYUV": cv2.COLOR_YUV2BGR_I420,
    b"YV12": cv2.COLOR_YUV2BGR_YV12,
    b"NV12": cv2.COLOR_YUV2BGR_NV12,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One uncompressed picture. width, height: pixels. pixel: bytes of one pixel in a row of the data.

    rows: rows of the data (3/2 of the height where colour planes follow). conversion: an OpenCV colour
    conversion or None. palette: (256, 3) BGR, (256,) grey, or None.
    """

    width: int
    height: int
    rows: int
    pixel: int
    bottom_up: bool
    conversion: int | None = None
    palette: NDArray[np.uint8] | None = None
    notes: tuple[str, ...] = ()

    @property
    def row(self) -> int:
        """Bytes of a row without padding."""
        return self.width * self.pixel

    @property
    def size(self) -> int:
        """Bytes of a picture with its rows padded to 4 bytes, as they should be."""
        return (self.row + 3) // 4 * 4 * self.rows

    def fits(self, length: int) -> bool:
        """Whether a chunk of this length can be such a picture: rows padded, or written without."""
        return length in (self.size, self.row * self.rows)

    def picture(self, data: NDArray[np.uint8]) -> Picture:
        """(height, width, 3) BGR or (height, width) grey from a chunk that fits."""
        rows = data.reshape(self.rows, -1)[:, : self.row]
        if self.bottom_up:
            rows = rows[::-1]
        if self.conversion is not None:
            shape = (self.rows, self.width) if self.pixel == 1 else (self.rows, self.width, self.pixel)
            return np.asarray(cv2.cvtColor(np.ascontiguousarray(rows).reshape(shape), self.conversion), np.uint8)
        if self.pixel == 1:
            return np.ascontiguousarray(rows) if self.palette is None else self.palette[rows]
        return np.ascontiguousarray(rows.reshape(self.rows, self.width, self.pixel)[:, :, :3])


def layout_of(strf: bytes) -> Layout | None:
    """The layout from a BITMAPINFOHEADER and its palette; None if it is not one we surely know."""
    _, width, height, _, bits, code, _, _, _, used, _ = struct.unpack_from("<IiiHH4sIiiII", strf)
    tag = code.upper()
    rows = abs(height)
    if tag in _RGB and bits in _BYTES:
        conversion = cv2.COLOR_BGR5552BGR if bits == 16 else None
        palette, notes = _palette(strf[40:], used) if bits == 8 else (None, ())
        return Layout(
            width=width,
            height=rows,
            rows=rows,
            pixel=_BYTES[bits],
            bottom_up=height > 0,
            conversion=conversion,
            palette=palette,
            notes=notes,
        )
    if tag in _GREY and bits == 8:
        return Layout(width=width, height=rows, rows=rows, pixel=1, bottom_up=False)
    if tag in _PACKED and bits == 16 and width % 2 == 0:
        return Layout(width=width, height=rows, rows=rows, pixel=2, bottom_up=False, conversion=_PACKED[tag])
    if tag in _PLANAR and bits == 12 and width % 2 == 0 and rows % 2 == 0:
        conversion = _PLANAR[tag]
        return Layout(width=width, height=rows, rows=rows * 3 // 2, pixel=1, bottom_up=False, conversion=conversion)
    return None


def _palette(data: bytes, used: int) -> tuple[NDArray[np.uint8] | None, tuple[str, ...]]:
    count = min(used or 256, 256, len(data) // 4)
    if count == 0:
        return None, ("8-bit pictures without a palette are taken as grey",)
    bgr = np.zeros((256, 3), np.uint8)
    bgr[:count] = np.frombuffer(data, np.uint8, 4 * count).reshape(count, 4)[:, :3]
    grey = bgr[:, 0]
    if not (np.array_equal(grey, bgr[:, 1]) and np.array_equal(grey, bgr[:, 2])):
        return bgr, ()
    return (None if np.array_equal(grey, np.arange(256)) else grey.copy()), ()
