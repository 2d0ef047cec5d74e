"""What ails the camera: every frame is looked at on a coarse lattice, and what is wrong is named with its figure."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.sharpness import blur_px
from bedwatch.aim.steady import Steadiness
from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Picture

LATTICE = 6400  # places looked at in each frame
BANDS = 8  # bands of rows, because a rolling shutter turns flicker into moving stripes
ANCHOR_S = 2.0  # how long brightness is compared with the same frame
FROZEN_S = 3.0

DARK_LEVEL = 45.0  # 98 of 100 places darker than this
CLIPPED_SHARE = 0.08
FLAT_RANGE, CONTRAST_RANGE = 6.0, 24.0
FLICKER_SHARE = 0.006
MAINS_GAIN = 1.35  # of the second difference, for light at 100 or 120 Hz seen at 15 to 60 frames a second
HUNTING_SHARE = 0.06
BLURRED_PX = 2.6
SHAKING_PX = 0.35
SLOW_FPS = 12.0
LOST_SHARE = 0.015
_LOG = np.log(np.arange(256) + 6.0).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """One frame's figures.

    low, high: brightness that 2 and 98 of 100 places stay under. clipped: share of white places.

    bands: (8,) mean ln brightness change against the anchor frame. anchor: which one. level: against the first frame.
    """

    time_s: float
    low: float
    high: float
    clipped: float
    bands: NDArray[np.float64]
    anchor: int
    level: float
    lost: int
    same: bool
    shift_px: tuple[float, float] | None


Follow = Callable[[Frame], tuple[float, float] | None]


class CameraCheck:
    """Feed it every frame with `add`; `problems` says what was wrong over the last `window_s` seconds."""

    def __init__(self, window_s: float = 10.0) -> None:
        self._window_s = window_s
        self._looks: deque[_Look] = deque()
        self._blur: deque[tuple[float, float]] = deque(maxlen=8)
        self._first: NDArray[np.float32] | None = None
        self._anchor: NDArray[np.float32] | None = None
        self._last: Picture | None = None
        self._anchor_s = -np.inf
        self._anchors = 0
        self._same_since: float | None = None
        self._steady = Steadiness()

    def add(self, frame: Frame, follow: Follow | None = None) -> None:
        """Look at one frame; frames come in order of time.

        follow: what tells the camera's shift in this frame (right, down, in pixels; None where it cannot) better than
        patches of the picture do, once the bed is known.
        """
        grey = _lattice(frame.picture)
        logs = _LOG[grey]
        if self._first is None or self._anchor is None or self._first.shape != logs.shape:
            self._start(logs)
        if frame.time_s - self._anchor_s > ANCHOR_S:
            self._anchor, self._anchor_s, self._anchors = logs, frame.time_s, self._anchors + 1
        same = frame.repeated or (self._last is not None and bool(np.array_equal(self._last, grey)))
        if not same:
            self._same_since = frame.time_s
        self._last = grey
        count = np.bincount(grey.ravel(), minlength=256).cumsum() / grey.size
        assert self._anchor is not None
        assert self._first is not None
        change = np.clip(logs - self._anchor, -0.12, 0.12)
        self._looks.append(
            _Look(
                time_s=frame.time_s,
                low=float(np.searchsorted(count, 0.02)),
                high=float(np.searchsorted(count, 0.98)),
                clipped=float(1.0 - count[249]),
                bands=np.array([band.mean() for band in np.array_split(change, BANDS)], np.float64),
                anchor=self._anchors,
                level=float(np.clip(logs - self._first, -0.5, 0.5).mean()),
                lost=frame.dropped_before + int(frame.repeated),
                same=same,
                shift_px=follow(frame) if follow else self._steady.shift(frame.picture) if self._turn() else None,
            )
        )
        if not self._blur or frame.time_s - self._blur[-1][0] > (1.0 if len(self._blur) < 3 else 3.0):
            self._blur.append((frame.time_s, blur_px(frame.picture)))
        while self._looks and frame.time_s - self._looks[0].time_s > self._window_s:
            self._looks.popleft()

    def _turn(self) -> bool:
        """Whether this frame's place is looked at: fifteen a second are enough."""
        looks = self._looks
        fast = len(looks) > 10 and len(looks) > 20.0 * (looks[-1].time_s - looks[0].time_s)
        return not fast or looks[-1].shift_px is None

    def _start(self, logs: NDArray[np.float32]) -> None:
        self._first = self._anchor = logs
        self._anchor_s, self._last = -np.inf, None
        self._looks.clear()

    @property
    def frozen(self) -> bool:
        """Whether the very same picture has come for 3 seconds; a living camera's noise never repeats."""
        return (
            self._same_since is not None
            and len(self._looks) > 3
            and self._looks[-1].time_s - self._same_since >= FROZEN_S
        )

    @property
    def blank(self) -> bool:
        """Whether the newest pictures show nothing: black, white or one even tone, or a frozen picture."""
        recent = list(self._looks)[-3:]
        return bool(recent) and (self.frozen or all(look.high - look.low < FLAT_RANGE for look in recent))

    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the picture now, each with its figure and what to do; empty when all is well."""
        looks = list(self._looks)
        if not looks:
            return ()
        found = [*_exposure(looks), *self._blurred(), *_flicker(looks), *_hunting(looks)]
        shake = _shake_px(looks)
        if shake > SHAKING_PX:
            found.append(
                Problem(
                    kind=ProblemKind.SHAKING,
                    advice=f"The camera shakes by {shake:.1f} px; fix it to a wall or a heavy stand, away from the bed.",
                )
            )
        return (*found, *_timing(looks))

    def _blurred(self) -> list[Problem]:
        widths = [width for _, width in self._blur if np.isfinite(width)]
        if not widths or (width := float(np.median(widths[-3:]))) <= BLURRED_PX:
            return []
        advice = (
            f"The sharpest edges are {2.56 * width:.0f} px wide; focus on the powder, clean the lens, "
            "then lock the focus."
        )
        return [Problem(kind=ProblemKind.BLURRED, advice=advice)]


def _lattice(picture: Picture) -> Picture:
    """About 6400 places of a picture, grey (rows, cols)."""
    step = max(1, round((picture.shape[0] * picture.shape[1] / LATTICE) ** 0.5))
    part = np.ascontiguousarray(picture[step // 2 :: step, step // 2 :: step])
    return np.asarray(cv2.cvtColor(part, cv2.COLOR_BGR2GRAY) if part.ndim == 3 else part, np.uint8)


def _exposure(looks: list[_Look]) -> list[Problem]:
    recent = looks[-30:]
    low, high = (float(np.median([getattr(look, name) for look in recent])) for name in ("low", "high"))
    clipped = float(np.median([look.clipped for look in recent]))
    if high < DARK_LEVEL:
        advice = (
            f"Nearly all of the picture is darker than {high:.0f} of 255; add light from one side or expose longer."
        )
        return [Problem(kind=ProblemKind.DARK, advice=advice)]
    if clipped > CLIPPED_SHARE:
        advice = f"{100 * clipped:.0f} % of the picture is plain white; expose shorter or dim the lamp."
        return [Problem(kind=ProblemKind.OVEREXPOSED, advice=advice)]
    if high - low < CONTRAST_RANGE:
        advice = (
            f"All of the picture lies within {high - low:.0f} of 255 grey levels; light the bed from one side, "
            "10 to 30 degrees above the surface, and wipe the lens."
        )
        return [Problem(kind=ProblemKind.LOW_CONTRAST, advice=advice)]
    return []


def flicker_share(looks: list[_Look]) -> float:
    """Root mean square of the light's change from frame to frame, as a share, what changes slowly taken out."""
    runs = [[look for look in looks if look.anchor == anchor] for anchor in sorted({look.anchor for look in looks})]
    bends = [np.diff(np.array([look.bands for look in run]), n=2, axis=0) / 2 for run in runs if len(run) > 4]
    if not bends or sum(map(len, bends)) < 10:
        return 0.0
    bend = np.concatenate(bends)
    # one cut or one switched lamp is not flicker: the share must hold through most of the window
    typical = np.sqrt(np.median((bend * bend).mean(axis=1))) / MAINS_GAIN
    return float(typical)


def _flicker(looks: list[_Look]) -> list[Problem]:
    share = flicker_share(looks)
    if share < FLICKER_SHARE:
        return []
    advice = (
        f"The light flickers by {100 * share:.1f} % from frame to frame; set the exposure to a multiple of 1/100 s "
        "(1/120 s where mains is 60 Hz) or use a lamp that does not flicker."
    )
    return [Problem(kind=ProblemKind.FLICKER, advice=advice)]


def _hunting(looks: list[_Look]) -> list[Problem]:
    """Exposure that goes up and down over seconds: smoothed over half a second, it leaves and turns back."""
    span = looks[-1].time_s - looks[0].time_s
    if span < 2.0:
        return []
    width = max(1, int(0.5 * len(looks) / span))
    level = np.convolve([look.level for look in looks], np.ones(width) / width, "valid")
    swing = float(level.max() - level.min())
    if swing < HUNTING_SHARE:
        return []
    advice = f"The exposure wanders by {100 * swing:.0f} % by itself; switch automatic exposure and white balance off."
    return [Problem(kind=ProblemKind.EXPOSURE_HUNTING, advice=advice)]


def _shake_px(looks: list[_Look]) -> float:
    """Root mean square of the camera's place about its own half-second mean, pixels."""
    shifts = np.array([look.shift_px for look in looks if look.shift_px is not None])
    if len(shifts) < 10 or len(shifts) < 0.08 * len(looks):
        return 0.0
    width = 15
    pad = np.pad(shifts, ((width // 2, width // 2), (0, 0)), mode="edge")
    smooth = np.column_stack([np.convolve(pad[:, i], np.ones(width) / width, "valid") for i in (0, 1)])
    rest = shifts - smooth[: len(shifts)]
    return float(np.sqrt(np.mean(np.minimum((rest * rest).sum(axis=1), 100.0))))


def _timing(looks: list[_Look]) -> list[Problem]:
    found = []
    steps = np.diff([look.time_s for look in looks])
    if len(steps) >= 4 and (step := float(np.median(steps))) > 0 and 1.0 / step < SLOW_FPS:
        advice = (
            f"Only {1.0 / step:.1f} frames a second come in; choose a smaller picture or MJPG, "
            "and more light so that the camera need not expose so long."
        )
        found.append(Problem(kind=ProblemKind.LOW_FRAME_RATE, advice=advice))
    lost = sum(look.lost for look in looks[1:])
    share = lost / (len(looks) + lost)
    if lost >= 2 and share > LOST_SHARE:
        advice = (
            f"{100 * share:.0f} % of the frames are missing or repeated; use another port, cable or a smaller picture."
        )
        found.append(Problem(kind=ProblemKind.DROPPED_FRAMES, advice=advice))
    return found


__all__ = ["CameraCheck", "flicker_share"]
