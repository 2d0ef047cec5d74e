"""Writes a make-believe source as a video file or a folder of pictures, with its truth beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Literal

from bedwatch.errors import UserError
from bedwatch.files import replacing, write_bytes
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
            write_bytes(truth_file(path), json.dumps(source.truth.as_json()).encode())
    except OSError as error:
        raise UserError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from error
    return path


def truth_file(path: Path) -> Path:
    """Where the truth of the clip of that name is written."""
    return path.with_name(path.name + ".truth.json")


def _write_pictures(source: MadeSource, path: Path, codec: Codec, quality: int) -> None:
    path.mkdir(parents=True, exist_ok=True)
    ending, options = (".png", []) if codec == "png" else (".jpg", [cv2.IMWRITE_JPEG_QUALITY, quality])
    for frame in source:
        done, data = cv2.imencode(ending, frame.picture, options)
        if not done:
            raise UserError(f"{path}: OpenCV could not encode picture {frame.number} as {codec}")
        write_bytes(path / f"frame_{frame.number:05d}{ending}", data.tobytes())


def _write_video(source: MadeSource, path: Path, codec: Codec, quality: int) -> None:
    code, backend, endings = _FOURCC[codec]
    if path.suffix.lower() not in endings:
        raise UserError(f"{path}: {codec} goes into {' or '.join(endings)}; found '{path.suffix}'; rename it")
    options = [cv2.VIDEOWRITER_PROP_QUALITY, quality] if codec == "mjpeg" else []
    with replacing(path) as draft:
        writer = cv2.VideoWriter(
            str(draft), backend, cv2.VideoWriter.fourcc(*code), source.fps, source.size_px, options
        )
        if not writer.isOpened():
            raise UserError(f"{path}: this OpenCV cannot encode {codec}; use mjpeg, or write png pictures")
        try:
            for frame in source:
                writer.write(frame.picture)
        finally:
            writer.release()
