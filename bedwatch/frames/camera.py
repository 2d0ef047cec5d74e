"""Cameras: which size and format to ask for, and automatics that are switched off and proved to be off on the picture.

A driver's "yes" proves nothing: some take a value and go on as before, some jump to what was set last year. So the picture is
looked at before and after every lock, and a lock that spoils it is undone. What stays automatic shows later as
`exposure_hunting`. The values that mean "by hand" differ by back end (OpenCV's documentation and issues); no camera was at
hand to try them on.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.frames.live import GIVE_UP_S, LiveSource

SIZE_PX, PER_S = (1280, 720), 30.0
_BACKENDS = {"linux": cv2.CAP_V4L2, "darwin": cv2.CAP_AVFOUNDATION, "win32": cv2.CAP_DSHOW}
# Automatics need about this long to come to rest on a new scene: common experience, no source.
SETTLE_S = 1.5
_AFTER_PICTURES, _MEAN_PICTURES = 6, 4
# By how much a lock may change the picture: brightness and colour as ratios, sharpness downwards only.
_BRIGHTER, _BLURRED = 1.15, 0.75
_TRIES = 4
_MANUAL_EXPOSURE = {"linux": (1.0, 3.0), "win32": (0.25, 0.75)}  # by hand, automatic


class Controls(Protocol):
    """The part of `cv2.VideoCapture` that is used here."""

    def isOpened(self) -> bool: ...  # noqa: N802
    def read(self) -> tuple[bool, object]: ...
    def release(self) -> None: ...
    def get(self, what: int, /) -> float: ...
    def set(self, what: int, value: float, /) -> bool: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """What a lock must not change, over a few pictures. brightness: mean grey; blue, red: over green; sharpness: mean slope."""

    brightness: float
    blue: float
    red: float
    sharpness: float


def open_camera(number: int, give_up_s: float = GIVE_UP_S) -> LiveSource:
    """The camera of that number, asked for 1280 x 720 at 30/s as MJPEG, its automatics off where that works."""
    start = CameraStart(number)
    wanted = (
        "expected a camera that is there and not in use; see bedwatch cameras, check its plug and number, and that no other "
        "program holds it"
    )
    return LiveSource(f"camera {number}", start, give_up_s, wanted=wanted, told=start.told)


class CameraStart:
    """Opens a camera, also again after it was unplugged, and sets it up. Called by the capture thread alone."""

    def __init__(
        self,
        number: int,
        make: Callable[[int], Controls] | None = None,
        *,
        platform: str = sys.platform,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._number = number
        self._make = make or video_capture
        self._platform = platform
        self._clock = clock
        self._said: list[str] = []

    def told(self) -> tuple[str, ...]:
        """What became of it, one line each, the same thing once."""
        return tuple(self._said)

    def __call__(self) -> Controls:
        capture = self._make(self._number)
        if capture.isOpened():
            ask_for(capture)
            self._say(set_up(capture, self._platform, self._clock))
        return capture

    def _say(self, words: str | None) -> None:
        if words is not None and (line := f"camera {self._number}: {words}") not in self._said:
            self._said.append(line)


def video_capture(number: int) -> Controls:
    """The camera by this system's own way to cameras: the one that is chosen by itself differs from machine to machine."""
    return cv2.VideoCapture(number, _BACKENDS.get(sys.platform, cv2.CAP_ANY))


def ask_for(capture: Controls) -> None:
    """Size, format and rate. The pixel format first: raw 720p over USB 2 is 10 frames a second at best."""
    capture.set(cv2.CAP_PROP_FOURCC, float(cv2.VideoWriter.fourcc(*"MJPG")))
    capture.set(cv2.CAP_PROP_FRAME_WIDTH, float(SIZE_PX[0]))
    capture.set(cv2.CAP_PROP_FRAME_HEIGHT, float(SIZE_PX[1]))
    capture.set(cv2.CAP_PROP_FPS, PER_S)


def set_up(capture: Controls, platform: str = sys.platform, clock: Callable[[], float] = time.monotonic) -> str | None:
    """Lets the automatics come to rest, then locks exposure, white balance and focus; what became of it, in words.

    None when no picture comes, which the reader will find too.
    """
    end_s = clock() + SETTLE_S
    while clock() < end_s:
        if not capture.read()[0]:
            return None
    tone = _tone(capture)
    if tone is None:
        return None
    locked: list[str] = []
    free: list[str] = []
    for name, lock in (("exposure", _lock_exposure), ("white balance", _lock_white), ("focus", _lock_focus)):
        (locked if lock(capture, tone, platform) else free).append(name)
    size = f"{capture.get(cv2.CAP_PROP_FRAME_WIDTH):.0f} x {capture.get(cv2.CAP_PROP_FRAME_HEIGHT):.0f} px"
    words = f"{size}; locked, and the picture stayed the same: {', '.join(locked) or 'nothing'}"
    return words + (f"; left automatic: {', '.join(free)}" if free else "")


def _lock_exposure(capture: Controls, before: Tone, platform: str) -> bool:
    values = _MANUAL_EXPOSURE.get(platform)
    if values is None:  # AVFoundation gives no hold on it
        return False
    by_hand, automatic = values
    if not capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, by_hand):
        return False
    if platform == "linux":
        for _ in range(_TRIES):
            after = _tone(capture)
            if after is None or _alike(before.brightness, after.brightness):
                break
            # By hand the driver may jump to what was set long ago: exposure time and brightness go nearly together.
            now = capture.get(cv2.CAP_PROP_EXPOSURE)
            capture.set(cv2.CAP_PROP_EXPOSURE, max(1.0, now * before.brightness / max(after.brightness, 1.0)))
    after = _tone(capture)
    if after is not None and _alike(before.brightness, after.brightness):
        return True
    capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, automatic)
    _tone(capture)
    return False


def _lock_white(capture: Controls, before: Tone, _platform: str) -> bool:
    if not capture.set(cv2.CAP_PROP_AUTO_WB, 0.0):
        return False
    after = _tone(capture)
    if after is not None and _alike(before.blue, after.blue) and _alike(before.red, after.red):
        return True
    capture.set(cv2.CAP_PROP_AUTO_WB, 1.0)
    return False


def _lock_focus(capture: Controls, before: Tone, _platform: str) -> bool:
    if not capture.set(cv2.CAP_PROP_AUTOFOCUS, 0.0):
        return False
    after = _tone(capture)
    if after is not None and after.sharpness >= _BLURRED * before.sharpness:
        return True
    capture.set(cv2.CAP_PROP_AUTOFOCUS, 1.0)
    return False


def _alike(before: float, after: float) -> bool:
    low, high = sorted((before + 1e-6, after + 1e-6))
    return high <= _BRIGHTER * low


def _tone(capture: Controls) -> Tone | None:
    """The tone of the next pictures, the first few passed over: they were taken before the last change."""
    tones = []
    for number in range(_AFTER_PICTURES + _MEAN_PICTURES):
        ok, picture = capture.read()
        if not ok:
            return None
        if number >= _AFTER_PICTURES:
            tones.append(tone_of(np.asarray(picture, np.uint8)))
    return Tone(
        brightness=float(np.mean([tone.brightness for tone in tones])),
        blue=float(np.mean([tone.blue for tone in tones])),
        red=float(np.mean([tone.red for tone in tones])),
        sharpness=float(np.mean([tone.sharpness for tone in tones])),
    )


def tone_of(picture: Picture) -> Tone:
    """The tone of one BGR or grey picture."""
    means = picture.reshape(-1, picture.shape[2]).mean(axis=0) if picture.ndim == 3 else np.full(3, picture.mean())
    grey = picture[..., 1] if picture.ndim == 3 else picture
    slope = np.abs(np.diff(grey[::2].astype(np.int16), axis=1)).mean()
    green = max(float(means[1]), 1.0)
    return Tone(
        brightness=float(means.mean()),
        blue=float(means[0]) / green,
        red=float(means[2]) / green,
        sharpness=float(slope),
    )


__all__ = ["CameraStart", "Controls", "ask_for", "open_camera", "set_up", "tone_of", "video_capture"]
