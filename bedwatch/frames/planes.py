"""Video files whose decoder gives brightness and colour apart, as most do: the brightness is used as it is.

Turning a picture into red, green and blue and back into grey costs a good part of what its decoding does, and only a few
pixels' colour is ever asked for.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.error import FFmpegError
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.extent import is_whole
from bedwatch.frames.frame import Picture, pick
from bedwatch.frames.reel import Shot

# Eight bits, brightness first, then the two colour differences.
_FORMATS = frozenset({"yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "yuvj444p"})
_FULL_RANGE = 2  # AVCOL_RANGE_JPEG
# ITU-R BT.601-7 and BT.709-6: 16 to 235 for brightness, 224 steps about 128 for colour, in pictures of limited range.
_BLACK, _STEPS, _COLOUR_STEPS = 16, 219, 224
# Codecs whose pictures stand alone, one in each packet; how each begins and ends (ITU-T T.81, SOI and EOI).
_ALONE, _BEGINS, _ENDS, _TAIL = frozenset({"mjpeg"}), b"\xff\xd8", b"\xff\xd9", 64
# Packets in a row that cannot be decoded, after which there is nothing more to come.
_MOST_BROKEN = 64


class Planes:
    """One decoded picture. light: (h, w) brightness, 0 to 255, read-only."""

    def __init__(self, frame: av.VideoFrame) -> None:
        self._frame = frame
        brightness, blue, red = (_plane(frame.planes[number]) for number in range(3))
        self._full = frame.format.name.startswith("yuvj") or frame.color_range == _FULL_RANGE
        if not self._full:
            scale = 255 / _STEPS
            brightness = np.asarray(cv2.convertScaleAbs(brightness, alpha=scale, beta=-_BLACK * scale), np.uint8)
        brightness.flags.writeable = False
        self.light: Picture = brightness
        self._red_blue = red, blue
        # Colour that is held for two columns or rows at once.
        halved = [whole > part for whole, part in zip(brightness.shape[::-1], blue.shape[::-1], strict=True)]
        self._shifts = np.array(halved, np.int16)

    def coloured(self) -> Picture:
        """(h, w, 3) BGR, read-only."""
        picture = np.asarray(self._frame.to_ndarray(format="bgr24"), np.uint8)
        picture.flags.writeable = False
        return picture

    def colours(self, at_px: NDArray[np.int16]) -> Picture:
        """(rows, cols, 3) BGR of single pixels. at_px: (rows, cols, 2) whole pixels (u, v) of the picture."""
        light, coarse = pick(self.light, at_px), at_px >> self._shifts
        red, blue = (pick(colour, coarse) for colour in self._red_blue)
        if not self._full:
            scale = 255 / _COLOUR_STEPS
            red, blue = (
                np.asarray(cv2.convertScaleAbs(one, alpha=scale, beta=128 * (1 - scale)), np.uint8)
                for one in (red, blue)
            )
        return np.asarray(cv2.cvtColor(cv2.merge([light, red, blue]), cv2.COLOR_YCrCb2BGR), np.uint8)


def _plane(plane: Any) -> Picture:
    return np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: plane.height, : plane.width]


class PlanesDecoder:
    """Reads one video file by PyAV. Like `VideoDecoder`, for files whose pictures come as planes.

    Raises `NotPlanesError` for every other file.
    """

    def __init__(self, path: Path) -> None:
        self.notes: list[str] = []
        self.whole: bool | None = is_whole(path)
        self._broken = 0
        self._ready: deque[av.VideoFrame] = deque()
        self._packets: Iterator[Any] = iter(())
        self._held: Any = None  # a packet that was taken out and not used yet
        self._before = b""
        self._alone = False
        try:
            # An absolute path cannot be taken for a protocol ("shot 12:30.avi").
            self._file = av.open(str(path.absolute()))
        except (FFmpegError, OSError, ValueError) as error:
            raise NotPlanesError from error
        try:
            self._begin()
        except BaseException:
            self.close()
            raise

    def _begin(self) -> None:
        if not self._file.streams.video:
            raise NotPlanesError
        stream = self._file.streams.video[0]
        if stream.codec_context is None:
            raise NotPlanesError
        # Reading is overlapped with looking; more threads cost more than they give.
        stream.codec_context.thread_count = 1
        self._alone = stream.codec_context.name in _ALONE
        self._packets = self._file.demux(stream)
        self.duration_s: float | None = _duration(self._file, stream)
        first = self._next()
        if first is None or first.format.name not in _FORMATS or first.rotation:
            raise NotPlanesError
        self._ready.appendleft(first)

    def read(self) -> Shot | None:
        """The next shot; None at the end."""
        frame = self._next()
        if frame is None:
            return None
        broken, self._broken = self._broken, 0
        time_s = float("nan") if frame.time is None else float(frame.time)
        if frame.format.name not in _FORMATS:
            picture = np.asarray(frame.to_ndarray(format="bgr24"), np.uint8)
            return Shot(picture=picture, time_s=time_s, broken_before=broken)
        planes = Planes(frame)
        return Shot(picture=planes.light, time_s=time_s, broken_before=broken, planes=planes)

    def pass_over(self) -> Shot | None:
        """The next shot without its picture; None where others may hang on it, or where it looks damaged."""
        if not self._alone or self._ready or (packet := self._packet()) is None:
            return None
        data = bytes(packet)
        if packet.pts is None or not data.startswith(_BEGINS) or _ENDS not in data[-_TAIL:]:
            self._held = packet
            return None
        again, self._before = data == self._before, data
        broken, self._broken = self._broken, 0
        return Shot(picture=None, time_s=float(packet.pts * packet.time_base), broken_before=broken, again=again)

    def _packet(self) -> Any:
        """The next packet; None at the end."""
        packet, self._held = self._held, None
        try:
            return next(self._packets, None) if packet is None else packet
        except FFmpegError:
            return None  # the file ends in the middle of something

    def _next(self) -> av.VideoFrame | None:
        while not self._ready:
            packet = self._packet()
            if packet is None:
                return None
            if self._alone:
                self._before = bytes(packet)
            try:
                frames = packet.decode()
            except FFmpegError:
                self._broken += 1
                if self._broken > _MOST_BROKEN:
                    return None
                continue
            self._alone = self._alone and len(frames) == bool(packet.size)
            self._ready.extend(frames)
        return self._ready.popleft()

    def close(self) -> None:
        """Let the file go."""
        self._ready.clear()
        self._held = None
        self._packets = iter(())
        self._file.close()


class NotPlanesError(Exception):
    """The file is of another kind, or cannot be read at all: another decoder may know what to say of it."""


def _duration(file: Any, stream: Any) -> float | None:
    """What the container says, seconds: by its count of pictures where it has one, which a cut leaves as it was."""
    if stream.frames and stream.average_rate:
        length_s = float(stream.frames / stream.average_rate)
    elif stream.duration is not None and stream.time_base is not None:
        length_s = float(stream.duration * stream.time_base)
    elif file.duration is not None:
        length_s = float(file.duration) / av.time_base
    else:
        return None
    return length_s if isfinite(length_s) and length_s > 0 else None
