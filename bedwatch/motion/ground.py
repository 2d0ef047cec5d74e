"""What every place of 5 mm did, second by second, over the last half minute or so: the map that faults are read from."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.gradients import Image

Array = NDArray[np.floating[Any]]

SLAB_S = 1.0
HISTORY_S = 32.0
PULSE_S = 10.0
_LONGEST_SLAB_S = 1.5  # from the start of one to that of the next, unless something hid the bed between them
# What was seen before a hand or a tool came in tells of what is there after it, but for the time in which it came; not for long.
_CAME_IN_S, _HIDDEN_S = 1.0, 8.0
# Energies are smoothed over about an eruption of a gentle bed before their logarithm is taken, and this share of the bed's
# usual energy is added, so that the logarithm of next to nothing does not count.
_SMOOTH_MM = 6.0
_FLOOR, _QUICK_FLOOR = 0.05, 0.25  # from one frame to the next less changes
_LEAST_FLOOR = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The map of 5 mm places, (rows, cols) of them, row 0 at +y; n slabs of about a second, oldest first.

    x_mm: (cols,), y_mm: (rows,) middles of the places. seen: (rows, cols) share of each that shows powder. start_s, end_s: (n,).
    energy: (n, rows, cols) mean energy of the change of contrast after about 0.13 s, per cent squared, noise included.
    busy: (n, rows, cols) mean logarithm of that energy, smoothed over an eruption: what a place is like most of the time,
        rather than what its strongest moments are. floor: energy that was added before taking it.
    growth: (n, rows, cols) by how much more changes over eight frames than from one to the next, mean energy: noise drops out.
    quick: (n, rows, cols) the same as busy of the change from one frame to the next.
    shade: (n, rows, cols) mean contrast, per cent: what does not wander off stays in it.
    pulse: (m, 4) logarithm of the mean energy over each quarter of the bed, look by look, over the last PULSE_S.
    noise: energy that camera noise alone gives a place, roughly.
    live: (rows, cols) whether it moves by more than the camera's noise can explain. known: whether that could be told.
    glide: (rows, cols) share of the change over half a second that displacements explain.
    grey: (rows, cols) mean grey level, 0 to 255.
    """

    x_mm: Array
    y_mm: Array
    seen: Array
    start_s: Array
    end_s: Array
    energy: Array
    busy: Array
    growth: Array
    quick: Array
    shade: Array
    pulse: Array
    floor: float
    noise: float
    live: NDArray[np.bool_]
    known: NDArray[np.bool_]
    glide: Array
    grey: Array

    @property
    def seen_s(self) -> float:
        """Seconds that were seen, without the time in which something hid the bed."""
        return float(self._seen_to_s()[-1])

    def recent(self, seconds: float) -> NDArray[np.bool_]:
        """(n,) slabs of the last so many seconds that were seen, at least one."""
        ends = self._seen_to_s()
        return np.asarray(ends > ends[-1] - seconds, np.bool_)

    def _seen_to_s(self) -> Array:
        """(n,) seconds that were seen until the end of each slab."""
        steps = np.minimum(np.diff(self.start_s), _LONGEST_SLAB_S)
        return np.asarray(np.concatenate([[0.0], np.cumsum(steps)]) + self.end_s - self.start_s)


@dataclass(slots=True)
class _Slab:
    start_s: float
    end_s: float
    count: int
    energy: Image
    busy: Image
    growth: Image
    quick: Image
    shade: Image


class GroundLog:
    """Keeps the slabs. visible: (rows, cols) true where powder is seen, at the fine scale whose pixels are step_mm wide.

    shape: (rows, cols) of the places, each 2 pixels of the fine scale wide. middle_px: (x, y) of the bed's axis in that scale.
    """

    def __init__(
        self, visible: NDArray[np.bool_], step_mm: float, shape: tuple[int, int], middle_px: tuple[float, float]
    ) -> None:
        rows, cols = self._shape = shape
        share = self.seen = self._share(visible.astype(np.float32))
        self.x_mm: Array = (2 * np.arange(cols) + 0.5 - middle_px[0]) * step_mm
        self.y_mm: Array = -(2 * np.arange(rows) + 0.5 - middle_px[1]) * step_mm
        self._sigma = _SMOOTH_MM / (2 * step_mm)
        whole = np.asarray(share > 0.5, np.float32)
        weight = cv2.GaussianBlur(whole, (0, 0), self._sigma)
        self._mask = whole
        self._per_weight = np.where(whole > 0, 1.0 / np.maximum(np.asarray(weight), 0.05), 0.0).astype(np.float32)
        self._inside = whole > 0
        self._floor = _LEAST_FLOOR
        self._slabs: deque[_Slab] = deque()
        self._paused = False
        middle = (
            int(np.clip(round(middle_px[1] / 2), 1, rows - 1)),
            int(np.clip(round(middle_px[0] / 2), 1, cols - 1)),
        )
        halves = ((slice(0, middle[0]), slice(middle[0], rows)), (slice(0, middle[1]), slice(middle[1], cols)))
        self._quarters = [(down, across) for down in halves[0] for across in halves[1]]
        self._quarter_places: Array = np.array([float(whole[quarter].sum()) for quarter in self._quarters])
        self._pulse: deque[tuple[float, ...]] = deque()

    def _share(self, image: Image) -> Array:
        rows, cols = self._shape
        part = image[: 2 * rows, : 2 * cols]
        return np.asarray(cv2.resize(part, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)

    def drop(self, before_s: float = np.inf) -> None:
        """Forget what was seen before a time."""
        while self._slabs and self._slabs[0].start_s < before_s:
            self._slabs.popleft()
        while self._pulse and self._pulse[0][0] < before_s:
            self._pulse.popleft()

    def pause(self, time_s: float) -> None:
        """Something hides the bed from this time on, for a while."""
        while self._slabs and self._slabs[-1].end_s > time_s - _CAME_IN_S:
            self._slabs.pop()
        self._pulse.clear()
        self._paused = True

    def add(self, time_s: float, energy: Image, quick: Image, slow: Image, contrast: Image) -> None:
        """energy: (rows, cols) energy of the change that ends at time_s; quick, slow: the same over one frame and over eight.
        contrast: the newest frame's, at the fine scale."""
        if self._slabs and time_s - self._slabs[-1].end_s > _HIDDEN_S:
            self.drop()
        per_seen = energy / np.maximum(self.seen, 0.25)
        sums = [float(np.vdot(per_seen[quarter], self._mask[quarter])) for quarter in self._quarters]
        self._pulse.append((time_s, *sums))
        while time_s - self._pulse[0][0] > PULSE_S:
            self._pulse.popleft()
        growth = (slow - quick) / np.maximum(self.seen, 0.25)
        shade = self._share(contrast)
        busy, rapid = self._usually(energy, self._floor), self._usually(quick, _QUICK_FLOOR * self._floor)
        if self._paused or not self._slabs or time_s - self._slabs[-1].start_s >= SLAB_S:
            self._close(time_s)
            self._paused = False
            self._slabs.append(
                _Slab(
                    start_s=time_s,
                    end_s=time_s,
                    count=1,
                    energy=per_seen,
                    busy=busy,
                    growth=growth,
                    quick=rapid,
                    shade=shade,
                )
            )
            return
        slab = self._slabs[-1]
        slab.energy += per_seen
        slab.busy += busy
        slab.growth += growth
        slab.quick += rapid
        slab.shade += shade
        slab.count += 1
        slab.end_s = time_s

    def _usually(self, energy: Image, floor: float) -> Image:
        """Logarithm of an energy, smoothed over an eruption."""
        smooth = cv2.GaussianBlur(energy / np.maximum(self.seen, 0.25) * self._mask, (0, 0), self._sigma)
        return np.asarray(np.log(smooth * self._per_weight + np.float32(floor)), np.float32)

    def _close(self, time_s: float) -> None:
        while self._slabs and time_s - self._slabs[0].start_s > HISTORY_S:
            self._slabs.popleft()
        if self._slabs and self._inside.any():
            newest = self._slabs[-1]
            usual = _FLOOR * float(np.median(newest.energy[self._inside])) / newest.count
            # Slowly, so that slabs stay comparable; at once when there is little to compare with.
            self._floor = max(_LEAST_FLOOR, usual if len(self._slabs) < 3 else 0.8 * self._floor + 0.2 * usual)

    def view(
        self, noise: float, live: NDArray[np.bool_], known: NDArray[np.bool_], glide: Array, grey: Image
    ) -> Ground | None:
        """The map now; None while there is nothing in it.

        live, known, glide: on the lattice of 10 mm blocks. grey: grey levels at the fine scale, 0 off the powder.
        """
        if not self._slabs:
            return None
        counts = np.array([slab.count for slab in self._slabs], np.float32)[:, None, None]
        return Ground(
            x_mm=self.x_mm,
            y_mm=self.y_mm,
            seen=self.seen,
            start_s=np.array([slab.start_s for slab in self._slabs]),
            end_s=np.array([slab.end_s for slab in self._slabs]),
            energy=np.stack([slab.energy for slab in self._slabs]) / counts,
            pulse=np.log(np.maximum(np.array(self._pulse)[:, 1:] / np.maximum(self._quarter_places, 1.0), 1e-3)),
            busy=np.stack([slab.busy for slab in self._slabs]) / counts,
            growth=np.stack([slab.growth for slab in self._slabs]) / counts,
            quick=np.stack([slab.quick for slab in self._slabs]) / counts,
            shade=np.stack([slab.shade for slab in self._slabs]) / counts / np.maximum(self.seen, 0.25),
            floor=self._floor,
            noise=noise,
            live=np.repeat(np.repeat(live, 2, axis=0), 2, axis=1),
            known=np.repeat(np.repeat(known, 2, axis=0), 2, axis=1),
            glide=np.repeat(np.repeat(glide, 2, axis=0), 2, axis=1),
            grey=self._share(grey) / np.maximum(self.seen, 0.05),
        )
