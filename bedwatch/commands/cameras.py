"""`bedwatch cameras`: which camera has which number, told by what each one sees."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes
from bedwatch.frames.camera import Controls, ask_for, video_capture
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.show.thumbnail import print_thumbnail, thumbnail_columns

MOST = 6
_LOOK_S, _LEAST_PICTURES = 1.0, 3
_SYS = Path("/sys/class/video4linux")
FIXED_RATE = "On Linux, keep the rate in dim light and the lamps from beating (1: mains of 50 Hz, 2: 60 Hz): "


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One camera. per_s: pictures a second, measured; name: as the system calls it, None where it does not."""

    number: int
    picture: Picture
    per_s: float
    name: str | None


def run_cameras(folder: Path | None) -> int:
    """Prints what each camera is and shows a small picture of it. folder: for whole pictures. Exit status 0.

    Raises UserError when there is no camera at all.
    """
    if folder is not None:
        check_places({"--pictures": folder / "camera-0.jpg"})
    columns = thumbnail_columns(sys.stdout, os.environ)
    found = False
    for number in numbers(_SYS):
        seen = look(number)
        if seen is None:
            continue
        found = True
        print(words(seen), flush=True)
        if columns is not None:
            print_thumbnail(small(seen.picture, columns), (), sys.stdout)
        if folder is not None:
            path = folder / f"camera-{number}.jpg"
            write_bytes(path, cv2.imencode(".jpg", seen.picture)[1].tobytes())
            print(f"  its picture: {path}")
    if not found:
        raise UserError(
            "found no camera that gives a picture, expected one; check its plug, that no other program holds it, and that "
            "this terminal may use cameras"
        )
    if columns is None and folder is None:
        print("Which one is which? See them with --pictures FOLDER.")
    if sys.platform == "linux":
        print(FIXED_RATE + "v4l2-ctl -d /dev/videoN -c exposure_dynamic_framerate=0 -c power_line_frequency=1")
    return 0


def numbers(devices: Path) -> Iterable[int]:
    """The numbers that may be cameras: those the system lists, else the first few."""
    names = [entry.name.removeprefix("video") for entry in devices.glob("video*")] if devices.is_dir() else []
    return sorted(int(name) for name in names if name.isdigit()) or range(MOST)


def look(
    number: int,
    make: Callable[[int], Controls] = video_capture,
    clock: Callable[[], float] = time.monotonic,
) -> Seen | None:
    """A second of what the camera of that number sees; None when it gives nothing."""
    capture = make(number)
    try:
        if not capture.isOpened():
            return None
        ask_for(capture)
        ok, got = capture.read()  # the first one may take long to come
        start_s, pictures = clock(), 0
        while ok and (clock() - start_s < _LOOK_S or pictures < _LEAST_PICTURES):
            ok, got = capture.read()
            pictures += ok
        if not ok:
            return None
        per_s = pictures / max(clock() - start_s, 1e-3)
        return Seen(number=number, picture=np.asarray(got, np.uint8), per_s=per_s, name=name_of(number, _SYS))
    finally:
        capture.release()


def name_of(number: int, devices: Path) -> str | None:
    """What the system calls it; only Linux tells without another package."""
    try:
        return (devices / f"video{number}" / "name").read_text(encoding="utf-8", errors="replace").strip() or None
    except OSError:
        return None


def words(seen: Seen) -> str:
    """One line for one camera."""
    height, width = seen.picture.shape[:2]
    name = "" if seen.name is None else f" ({''.join(ch if ch.isprintable() else '?' for ch in seen.name)})"
    return f"camera {seen.number}{name}: {width} x {height} px, {seen.per_s:.0f} pictures a second"


def small(picture: Picture, columns: int) -> Picture:
    """As wide as the terminal has cells, at most 48 of them."""
    wide = min(columns, 48)
    high = max(2, round(picture.shape[0] * wide / picture.shape[1] / 2) * 2)
    shown = cv2.resize(picture, (wide, high), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(shown, cv2.COLOR_GRAY2BGR) if shown.ndim == 2 else shown, np.uint8)
