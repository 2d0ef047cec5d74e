"""Writes a make-believe source as a video file or a folder of pictures, with its truth beside it."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from pathlib import Path
from typing import Literal

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.sim.playing import MadeSource

Codec = Literal["mjpeg", "mpeg4", "h264", "png", "jpeg"]
_FOURCC: dict[str, tuple[str, int, tuple[str, ...]]] = {
    "mjpeg": ("MJPG", cv2.CAP_OPENCV_MJPEG, (".avi",)),
    "mpeg4": ("mp4v", cv2.CAP_FFMPEG, (".mp4", ".avi", ".mkv", ".mov")),
    "h264": ("avc1", cv2.CAP_FFMPEG, (".mp4", ".mkv", ".mov")),
}


def write_clip(
    source: MadeSource, path: Path | str, codec: Codec = "mjpeg", quality: int = 92, *, truth: bool = False
) -> Path:
    """Write all frames of a source; gives back where they are.

    mjpeg goes into an AVI; png and jpeg make `path` a folder of numbered pictures. quality (0 to 100) counts
    for mjpeg and jpeg. truth: also write `<path>.truth.json`. A file appears only when it is whole. Raises
    UserError when the place cannot be written, the name does not fit the codec, or OpenCV cannot encode it.
    """
    path = Path(path).resolve()
    try:
        if codec in ("png", "jpeg"):
            _write_pictures(source, path, codec, quality)
        else:
            _write_video(source, path, codec, quality)
        if truth:
            _write_whole(path.with_name(path.name + ".truth.json"), json.dumps(source.truth.as_json()).encode())
    except OSError as error:
        raise UserError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from error
    return path


def _write_pictures(source: MadeSource, path: Path, codec: Codec, quality: int) -> None:
    path.mkdir(parents=True, exist_ok=True)
    ending, options = (".png", []) if codec == "png" else (".jpg", [cv2.IMWRITE_JPEG_QUALITY, quality])
    for frame in source:
        done, data = cv2.imencode(ending, frame.picture, options)
        if not done:
            raise UserError(f"{path}: OpenCV could not encode picture {frame.number} as {codec}")
        _write_whole(path / f"frame_{frame.number:05d}{ending}", data.tobytes())


def _write_video(source: MadeSource, path: Path, codec: Codec, quality: int) -> None:
    code, backend, endings = _FOURCC[codec]
    if path.suffix.lower() not in endings:
        raise UserError(f"{path}: {codec} goes into {' or '.join(endings)}; found '{path.suffix}'; rename it")
    spare = _spare(path)
    try:
        options = [cv2.VIDEOWRITER_PROP_QUALITY, quality] if codec == "mjpeg" else []
        writer = cv2.VideoWriter(
            str(spare), backend, cv2.VideoWriter.fourcc(*code), source.fps, source.size_px, options
        )
        if not writer.isOpened():
            raise UserError(f"{path}: this OpenCV cannot encode {codec}; use mjpeg, or write png pictures")
        try:
            for frame in source:
                writer.write(frame.picture)
        finally:
            writer.release()
        _settle(spare, path)
    finally:
        spare.unlink(missing_ok=True)


def _spare(path: Path) -> Path:
    """An empty file beside path, with its ending, to be written first."""
    handle, name = tempfile.mkstemp(prefix=f".{path.stem}.", suffix=path.suffix, dir=path.parent)
    os.close(handle)
    return Path(name)


def _settle(spare: Path, path: Path) -> None:
    """Put a finished spare file in the place of path, with the usual rights."""
    mask = os.umask(0)
    os.umask(mask)
    with contextlib.suppress(OSError):
        spare.chmod(0o666 & ~mask)
    with spare.open("rb+") as file:
        os.fsync(file.fileno())
    spare.replace(path)


def _write_whole(path: Path, data: bytes) -> None:
    spare = _spare(path)
    try:
        spare.write_bytes(data)
        _settle(spare, path)
    finally:
        spare.unlink(missing_ok=True)
