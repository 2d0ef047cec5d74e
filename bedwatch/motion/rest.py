"""The look with the air off: what this camera makes of this powder when it certainly lies still."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.health.rest import NotAtRest, Rest
from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, make_cells
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.motion.bed_meter import bed_meter

LOOK_S = 5.0
LEAST_S = 3.0
STILL_LIVE, STILL_MM_S = 0.05, 1.0  # more is no longer at rest
_TEXTURE_MM, _PATCH_MM = 120.0, 40.0
_AGAIN = "Shut the air off, wait until the surface lies still, keep hands and camera still, and look again"


def look_at_rest(frames: Iterable[Frame], aim: Aim, bed: Bed) -> Rest | NotAtRest:
    """Look at the bed with the air off for about five seconds (at least three).

    Frames after five seconds are not asked for. Raises ValueError when the aim does not fit the pictures.
    """
    view: _View | None = None
    start_s = now_s = 0.0
    for frame in frames:
        if frame.repeated:
            continue
        if view is None:
            view, start_s = _View(aim, bed, (frame.picture.shape[1], frame.picture.shape[0])), frame.time_s
        now_s = frame.time_s
        view.add(frame)
        if now_s - start_s >= LOOK_S:
            break
    seconds = now_s - start_s
    if view is None or seconds < LEAST_S:
        return NotAtRest(reason=f"only {seconds:.1f} s were seen, {LEAST_S:g} s are needed", advice=f"{_AGAIN}.")
    return view.rest(seconds, aim)


class _View:
    """The rectified surface, its motion and its first two moments over time."""

    def __init__(self, aim: Aim, bed: Bed, size_px: tuple[int, int]) -> None:
        self._rectifier = Rectifier(aim, bed, size_px)
        visible = self._rectifier.visible
        self._meter = bed_meter(self._rectifier, bed, make_cells(bed), aim)
        self._before: NDArray[np.float32] | None = None
        self._sum: NDArray[np.float64] = np.zeros(visible.shape)
        self._squares: NDArray[np.float64] = np.zeros(visible.shape)
        self._count = self._pairs = 0

    def add(self, frame: Frame) -> None:
        flat = self._rectifier.rectify(frame.picture)
        self._meter.add(flat, frame.time_s)
        values = flat.astype(np.float32)
        self._sum += values
        self._count += 1
        if self._before is None:
            self._before = values
            return
        change = values - self._before
        change -= change[self._rectifier.visible].mean()
        self._squares += change * change / 2
        self._pairs += 1
        self._before = None

    def rest(self, seconds: float, aim: Aim) -> Rest | NotAtRest:
        field = self._meter.field()
        if field is None:
            return NotAtRest(reason="too few pictures came to compare", advice=f"{_AGAIN}.")
        live, speed = float(field.bed.live[0]), float(field.bed.speed_mm_s[0])
        error = float(field.bed.speed_error_mm_s[0])
        if not np.isfinite(live) or not np.isfinite(speed):
            return NotAtRest(
                reason="the surface shows no texture by which motion could be told",
                advice="Light the bed from one side, 10 to 30 degrees above the surface, and focus",
            )
        if live > STILL_LIVE or speed > STILL_MM_S:
            return NotAtRest(
                reason=f"the surface moved: {100 * live:.0f} % of it, {speed:.1f} mm/s", advice=f"{_AGAIN}."
            )
        visible, mean = self._rectifier.visible, np.asarray(self._sum / self._count, np.float32)
        brightness = float(mean[visible].mean())
        patch = self._smooth(mean, _PATCH_MM)[visible]
        low, high = np.percentile(patch, (10, 90))
        about = self._smooth(mean, _TEXTURE_MM)
        return Rest(
            seconds=seconds,
            speed_mm_s=float(np.hypot(speed, error)),
            live=live,
            noise=float(np.sqrt(self._squares[visible].mean() / max(1, self._pairs))),
            brightness=brightness,
            texture=float((mean - about)[visible].std() / max(brightness, 1.0)),
            unevenness=float((high - low) / max(brightness, 1.0)),
            level_mm=aim.level_mm,
        )

    def _smooth(self, mean: NDArray[np.float32], width_mm: float) -> NDArray[np.float32]:
        """Mean over squares of that width, over what is seen of the surface."""
        width = max(3, round(width_mm / self._rectifier.step_mm))
        seen = self._rectifier.visible.astype(np.float32)
        part = cv2.blur(mean * seen, (width, width)) / np.maximum(cv2.blur(seen, (width, width)), 1e-3)
        return np.asarray(part, np.float32)


__all__ = ["LOOK_S", "look_at_rest"]
