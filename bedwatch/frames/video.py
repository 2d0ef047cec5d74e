"""Video files through OpenCV's FFmpeg: true presentation times, damage survived."""

from __future__ import annotations

from math import isfinite
from pathlib import Path

import numpy as np

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.extent import is_whole
from bedwatch.frames.frame import Picture
from bedwatch.frames.planes import NotPlanesError, PlanesDecoder
from bedwatch.frames.reel import Decoder, FileSource, Shot

# A packet that cannot be decoded makes read() say False, as the end does. One lost key picture costs all up
# to the next; a read past the end costs microseconds.
_FALSES_AT_END = 64
_RAW_FOURCC = 0
_RAW_BGR24 = int.from_bytes(b"BGR\x18", "little")


class VideoDecoder:
    """Reads one video file by OpenCV; the only user of `cv2.VideoCapture` for files.

    Raises UserError if the file cannot be opened as a video, or holds uncompressed BGR pictures, on which
    OpenCV 5 ends the whole process when their rows run bottom-up (AVI files of these are read by
    `raw_avi`).
    """

    def __init__(self, path: Path, name: str) -> None:
        self.notes: list[str] = []
        self.whole: bool | None = is_whole(path)
        self._open = True
        # An absolute path cannot be taken for a protocol ("shot 12:30.avi").
        self._capture = cv2.VideoCapture(str(path.absolute()), cv2.CAP_FFMPEG)
        if not self._capture.isOpened():
            raise UserError(_not_opened(path, name, self.whole))
        if self._is_raw_bgr():
            self.close()
            raise UserError(
                f"{name}: holds uncompressed pictures in a container that cannot be read safely; expected "
                "AVI for uncompressed video; convert it to AVI, or to MJPEG"
            )
        self.duration_s: float | None = self._duration()

    def read(self) -> Shot | None:
        """The next shot; None after 64 failures in a row."""
        if not self._open:
            return None
        for broken in range(_FALSES_AT_END):
            ok, picture = self._capture.read()
            if ok:
                return Shot(
                    picture=_as_picture(picture),
                    # Right after read() this is the picture's own presentation time.
                    time_s=float(self._capture.get(cv2.CAP_PROP_POS_MSEC)) / 1000.0,
                    broken_before=broken,
                )
        return None

    def close(self) -> None:
        """Let the file go."""
        self._open = False
        self._capture.release()

    def _is_raw_bgr(self) -> bool:
        fourcc = int(self._capture.get(cv2.CAP_PROP_FOURCC))
        pixels = int(self._capture.get(cv2.CAP_PROP_CODEC_PIXEL_FORMAT))
        return fourcc == _RAW_FOURCC and pixels == _RAW_BGR24

    def _duration(self) -> float | None:
        # Both numbers lie one by one (variable rate); their quotient is the container's length.
        count = float(self._capture.get(cv2.CAP_PROP_FRAME_COUNT))
        rate = float(self._capture.get(cv2.CAP_PROP_FPS))
        if not (isfinite(count) and isfinite(rate) and 0 < count < 1e9 and rate > 0):
            return None
        return count / rate


class VideoFile(FileSource):
    """A video file as a `Source`. Raises UserError as `VideoDecoder` and `FileSource` do."""

    def __init__(self, path: Path, name: str | None = None) -> None:
        name = name or str(path)
        super().__init__(_decoder(path, name), name)


def _decoder(path: Path, name: str) -> Decoder:
    try:
        return PlanesDecoder(path)
    except NotPlanesError:
        return VideoDecoder(path, name)


def _as_picture(value: object) -> Picture:
    return np.asarray(value, np.uint8)


def _not_opened(path: Path, name: str, whole: bool | None) -> str:
    with path.open("rb") as file:
        head = file.read(12)
    if head[4:8] == b"ftyp" or whole is False:
        return (
            f"{name}: starts like a video but its index is missing or damaged, as when a recording was cut "
            "off before it was finished; expected a whole file; copy or record it again"
        )
    return f"{name}: is not a video that can be read; expected AVI, MP4, MOV, MKV, WebM or a folder of pictures"
