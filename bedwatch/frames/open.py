"""From what the user typed to a source of frames."""

from __future__ import annotations

import difflib
import glob
import math
import re
from pathlib import Path

from bedwatch.errors import UserError
from bedwatch.frames.camera import open_camera
from bedwatch.frames.frame import Source
from bedwatch.frames.live import GIVE_UP_S, open_stream
from bedwatch.frames.pictures import SUFFIXES, PictureFiles, is_picture, natural_key
from bedwatch.frames.raw_avi import RawAviFile, parse_raw_avi
from bedwatch.frames.video import VideoFile

_CAMERA = re.compile(r"[0-9]{1,3}")
_STREAM = re.compile(r"(https?|rtsps?)://", re.IGNORECASE)
_ADDRESS = re.compile(r"[a-z][a-z0-9+.-]*://", re.IGNORECASE)
_PATTERN = "such as 'shots/*.png'"
_GLOB = re.compile(r"[*?\[]")
_JPEG = b"\xff\xd8\xff"


def open_source(spec: str, pictures_per_s: float | None = None, lost_after_s: float = GIVE_UP_S) -> Source:
    """A camera number, a stream's address, a video file, a folder or pattern of pictures, or one picture.

    pictures_per_s: rate of pictures whose names carry no times; None takes 30/s and says so in the notes. Only pictures
    may be given one. lost_after_s: how long a live source that fell silent is waited for.
    Raises UserError, one line, when nothing is there or it holds no picture with a time.
    """
    if pictures_per_s is not None and not (math.isfinite(pictures_per_s) and pictures_per_s > 0):
        raise UserError(f"pictures per second: found {pictures_per_s:g}; expected a number above 0")
    if not (math.isfinite(lost_after_s) and lost_after_s > 0):
        raise UserError(f"--lost-after: found {lost_after_s:g}, expected a number of seconds above 0")
    if not spec.strip():
        raise UserError("the source is empty; expected a camera number, a file, a folder, a pattern or an address")
    if live_name(spec) is not None:
        if pictures_per_s is not None:
            raise _has_times(spec, "a live source")
        if _CAMERA.fullmatch(spec):
            return open_camera(int(spec), lost_after_s)
        return open_stream(spec, lost_after_s)
    try:
        return _open_path(spec, pictures_per_s)
    except OSError as error:
        raise UserError(f"{spec}: cannot be read ({error.strerror or error}); check the file and its rights") from error
    except ValueError as error:
        raise UserError(f"{spec!r}: is not a name a file can have ({error})") from error


def live_name(spec: str) -> str | None:
    """What to call the camera or stream that is meant, which may take long to open; None for anything else."""
    if _CAMERA.fullmatch(spec):
        return f"camera {int(spec)}"
    return spec if _STREAM.match(spec) else None


def _open_path(spec: str, pictures_per_s: float | None) -> Source:
    path = Path(spec).expanduser()
    if path.is_dir():
        return _pictures(list(path.iterdir()), spec, "folder", pictures_per_s)
    if path.exists():
        return _open_file(path, spec, pictures_per_s)
    if scheme := _ADDRESS.match(spec):
        raise UserError(
            f"{spec}: found an address with {scheme[0]}, expected http://, https://, rtsp:// or rtsps://, a video file, a "
            f"folder of pictures, a pattern {_PATTERN} or a camera number"
        )
    if _GLOB.search(spec):
        found = [Path(name) for name in glob.glob(str(path), recursive=True)]  # noqa: PTH207 - any path, also absolute
        if len(found) == 1 and found[0].is_file():
            return _open_file(found[0], str(found[0]), pictures_per_s)
        return _pictures(found, spec, "pattern", pictures_per_s)
    raise UserError(f"{spec}: no such file or folder{_near(path)}")


def _open_file(path: Path, name: str, pictures_per_s: float | None) -> Source:
    if not path.is_file():
        raise UserError(f"{name}: is neither a file nor a folder; expected a video, or a folder of pictures")
    with path.open("rb") as file:
        head = file.read(3)
    if not head:
        raise UserError(f"{name}: is empty (0 bytes); expected a video or a picture; copy or record it again")
    if is_picture(path):
        return PictureFiles([path], name, pictures_per_s)
    if pictures_per_s is not None:
        raise _has_times(name, "a file that is no picture")
    if head == _JPEG:
        raise UserError(
            f"{name}: is a bare row of JPEG pictures without time stamps; expected a video in a container; "
            "record into AVI, MP4 or MKV"
        )
    raw = parse_raw_avi(path, name)
    return VideoFile(path, name) if raw is None else RawAviFile(path, raw, name)


def _has_times(name: str, kind: str) -> UserError:
    return UserError(
        f"{name}: found {kind} and a number of pictures per second, expected one for a folder or pattern of pictures only; "
        "a video and a camera tell their own times: leave it out"
    )


def _pictures(found: list[Path], spec: str, kind: str, pictures_per_s: float | None) -> Source:
    paths = sorted((path for path in found if is_picture(path) and path.is_file()), key=natural_key)
    if not paths:
        other = f"{len(found)} other entries" if found else "nothing"
        endings = ", ".join(sorted(ending[1:] for ending in SUFFIXES))
        raise UserError(f"{spec}: the {kind} holds no pictures ({other}); expected files ending in {endings}")
    return PictureFiles(paths, spec, pictures_per_s)


def _near(path: Path) -> str:
    try:
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        return f"; there is no folder {path.parent} either" if not path.parent.exists() else ""
    close = difflib.get_close_matches(path.name, names, n=1)
    return f"; did you mean {path.with_name(close[0])}?" if close else "; check the name"
