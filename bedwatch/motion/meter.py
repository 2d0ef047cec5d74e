"""The measuring instrument: rectified frames in, a motion field out."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.bands import octaves
from bedwatch.motion.blocks import Lattice, compare
from bedwatch.motion.bursts import block_energy, burst_rows, place_energy
from bedwatch.motion.carried import carried, note
from bedwatch.motion.field import MotionField
from bedwatch.motion.gliding import ENOUGH_LOOKS, Gliding
from bedwatch.motion.gradients import Contrast, Image, Slopes, halve, slopes
from bedwatch.motion.ground import GroundLog
from bedwatch.motion.margin import Margin
from bedwatch.motion.patches import PatchMap, measure
from bedwatch.motion.piece import Piece
from bedwatch.motion.rota import Rota, Turns, rota_for
from bedwatch.motion.speed import CROSS_LAG, Key, rows_of
from bedwatch.motion.tally import Channel, Tally

BLOCK_PX = 4  # at the fine scale, so that a block is about 10 mm
LAGS = (1, 2, 4, 8)
COARSE_LAGS = (1, 2)
# Frames that follow nearer than this are passed over (55 a second and more): they tell nothing more, and cost the same.
LEAST_STEP_S = 0.0185
FAST_STEP_S = 0.019  # usual step below which that happens to some
# A gap of so many usual steps is a hole.
HOLE_STEPS = 3.5
# The rota goes by the usual step of more frames than this.
LEAST_TIMES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    number: int
    time_s: float
    scales: tuple[Slopes, Slopes]


class MotionMeter:
    """Measures the motion of one bed seen through one aim.

    visible: (rows, cols) of the rectified grid, true where powder is seen; the bed's axis is its middle, row 0 lies at +y.
    step_mm: its pixel size. cell, zone: (rows,
    cols) index of the cell and the zone each grid pixel lies in, -1 for none. cell_count, zone_count: how many there are.
    position_error: relative standard error of lengths in the bed plane; place_error_mm: standard error of places there.

    Feed it with `add`, in order of time; `field` may be asked for at any moment and is None until anything was compared.
    """

    def __init__(
        self,
        *,
        visible: NDArray[np.bool_],
        step_mm: float,
        cell: NDArray[np.intp],
        zone: NDArray[np.intp],
        cell_count: int,
        zone_count: int,
        position_error: float = 0.005,
        place_error_mm: float = 0.5,
    ) -> None:
        self._contrast = Contrast(visible, step_mm)
        fine = self._contrast.visible
        coarse = np.asarray(fine.reshape(fine.shape[0] // 2, 2, fine.shape[1] // 2, 2).all(axis=(1, 3)), np.bool_)
        self._lattices = (Lattice(fine, BLOCK_PX), Lattice(coarse, BLOCK_PX // 2))
        self._px_mm = (self._contrast.step_mm, 2 * self._contrast.step_mm)
        valid = self._lattices[0].valid
        self._moved: tuple[Image, Image] | None = None
        block_px = 2 * BLOCK_PX  # in the rectified grid, which the contrast halves
        self._cells = PatchMap(cell, cell_count, valid, block_px, step_mm)
        self._zones = PatchMap(zone, zone_count, valid, block_px, step_mm)
        self._bed = PatchMap(np.where(zone >= 0, 0, -1), 1, valid, block_px, step_mm)
        self._margins = (
            Margin(self._lattices[0], fine.astype(np.float32), valid),
            Margin(self._lattices[1], coarse.astype(np.float32), valid),
        )
        self._position_error, self._place_error_mm = position_error, place_error_mm
        self._tally = Tally()
        rows, cols = self._lattices[0].shape
        middle_px = (visible.shape[1] / 4 - 0.5, visible.shape[0] / 4 - 0.5)
        self._ground = GroundLog(fine, self._contrast.step_mm, (2 * rows, 2 * cols), middle_px)
        self._gliding = Gliding(self._lattices[0])
        self._piece = Piece(self._lattices[0], fine, self._contrast.step_mm, middle_px, LAGS)
        self._views: deque[_View] = deque()
        self._times_s: deque[float] = deque(maxlen=max(LAGS) + 1)  # of all frames, those passed over too
        self._number = 0
        self._rota: Rota | None = None

    def forget(self) -> None:
        """Start the window anew: the picture, the air or the view has changed."""
        self._ground.drop()
        self._begin()

    def pause(self, time_s: float) -> None:
        """Start the window anew after something that hides the bed from this time on; the map of the ground outlasts it."""
        self._ground.pause(time_s)
        self._begin()

    def cut(self) -> None:
        """What follows is not to be compared with the frames just before; all that was measured goes on to count."""
        self._views.clear()
        self._times_s.clear()
        self._gliding.forget()
        self._piece.forget()
        self._moved = None

    def _begin(self) -> None:
        self._tally.drop()
        self.cut()

    def forget_before(self, time_s: float) -> None:
        """Let the window begin at a time: what was seen before is no longer so."""
        self._tally.drop(time_s)
        self._ground.drop(time_s)

    @property
    def seconds(self) -> float:
        """Span of source time in the window."""
        return self._tally.seconds

    def serves(self, time_s: float) -> bool:
        """Whether the next frame, of this time, would be looked at; the others cost nothing but a call of `skip`."""
        if self._times_s and time_s - self._times_s[-1] <= LEAST_STEP_S:
            return False
        return self._rota is None or self._rota.serves(self._number + 1)

    def turns(self, frame_number: int) -> Turns | None:
        """Whose turn it is among the frames that follow, the last one having had this number; None while all of them serve.

        Of cameras so fast that frames are passed over for coming too soon, nobody can tell it beforehand.
        """
        rota = self._rota
        if rota is None or len(rota.serving) == rota.every or self._step_s() < FAST_STEP_S:
            return None
        return Turns(rota=rota, ahead=self._number - frame_number)

    def next_s(self, time_s: float) -> float:
        """When the frame after the next one, of this time, will be looked at, as far as frames come as they did."""
        ahead = 1 if self._rota is None else self._rota.until_next(self._number + 1)
        return time_s + ahead * self._step_s()

    def skip(self, time_s: float) -> None:
        """A frame that is not looked at, since it does not serve."""
        self._count(time_s)

    def _count(self, time_s: float) -> None:
        """A frame has come, whether it is looked at or not."""
        if self._times_s:
            if time_s - self._times_s[-1] <= LEAST_STEP_S:
                return
            if self._is_hole(time_s - self._times_s[-1]):
                self.cut()
        self._times_s.append(time_s)
        self._number += 1
        step_s = self._step_s()
        if len(self._times_s) > LEAST_TIMES and (self._rota is None or not self._rota.holds(step_s)):
            self._rota = rota_for(step_s, LAGS)

    def add(self, rectified: NDArray[np.uint8], time_s: float) -> None:
        """Look at one frame, if it serves. rectified: (rows, cols) grey, the grid that `visible` describes."""
        serves = self.serves(time_s)
        self._count(time_s)
        if not serves:
            return
        contrast = self._contrast.of(rectified)
        now = _View(number=self._number, time_s=time_s, scales=(slopes(contrast), slopes(halve(contrast))))
        self._tally.mark(time_s)
        rota = self._rota or rota_for(max(self._step_s(), LEAST_STEP_S), LAGS)
        while self._views and now.number - self._views[0].number > rota.longest:
            self._views.popleft()
        self._views.append(now)
        for lag, apart in rota.ends_with(now.number):
            if (then := self._ago(now, apart)) is not None:
                self._compare(then, now, lag)
        if rota.surveys(now.number) and len(self._views) > 1:
            self._survey(now, rota)
        slow = self._gliding.add(time_s, contrast)
        if slow is not None:
            self._tally.add("slow", *slow)

    def _step_s(self) -> float:
        """The usual step from frame to frame; 0 while unknown."""
        times_s = self._times_s
        return (times_s[-1] - times_s[0]) / (len(times_s) - 1) if len(times_s) > 1 else 0.0

    def _is_hole(self, gap_s: float) -> bool:
        """Whether frames are missing before this one: comparing over a hole would pass for a short lag."""
        return len(self._times_s) > 1 and gap_s > HOLE_STEPS * self._step_s()

    def _compare(self, then: _View, now: _View, lag: int) -> None:
        lag_s = now.time_s - then.time_s
        for scale in (0, 1):
            if scale and lag not in COARSE_LAGS:
                continue
            pair = compare(then.scales[scale], now.scales[scale], self._lattices[scale])
            self._tally.add((scale, lag), rows_of(pair, lag_s=lag_s, px_mm=self._px_mm[scale]), lag_s)
            if scale == 0:
                carry = self._piece.add(then.scales, now.scales, lag, lag_s, pair)
                if carry is not None:
                    note(self._tally, carry, lag, lag_s)
            if (scale, lag) == (0, CROSS_LAG):
                velocity = (pair.shift_x * (self._px_mm[0] / lag_s), pair.shift_y * (self._px_mm[0] / lag_s))
                if self._moved is not None:
                    product = velocity[0] * self._moved[0] + velocity[1] * self._moved[1]
                    self._tally.add("cross", product[None], lag_s)
                self._moved = velocity

    def _survey(self, now: _View, rota: Rota) -> None:
        """Width and steadiness of the change over about LONG_LAG_S."""
        oldest = self._views[0]
        then, soon = (self._ago(now, lag) or oldest for lag in (rota.long, rota.short))
        change = cv2.subtract(now.scales[0].value, then.scales[0].value)
        lattice, lag_s = self._lattices[0], now.time_s - then.time_s
        self._tally.add("octaves", octaves(change, lattice.seen, lattice.shape), lag_s)
        rows = burst_rows(change, lattice.shape)
        energy = block_energy(rows)
        quick, slow = (
            place_energy(cv2.subtract(now.scales[0].value, view.scales[0].value), lattice.shape)
            for view in (soon, oldest)
        )
        self._ground.add(now.time_s, rows[0], quick, slow, now.scales[0].value)
        self._tally.add("bursts", rows, lag_s, least=energy)
        self._tally.add("pulses", np.stack([energy, energy * energy]), lag_s)

    def _ago(self, now: _View, lag: int) -> _View | None:
        """The view of so many frames ago; None where it was not looked at, or is let go."""
        return next((view for view in self._views if now.number - view.number == lag), None)

    def field(self) -> MotionField | None:
        """The motion field of the window; None while no two frames were compared."""
        means = self._tally.means()
        pairs: dict[Key, Channel] = {k: v for k, v in means.items() if isinstance(k, tuple)}
        if not {(0, 1), (1, 1)} <= pairs.keys() or not {"octaves", "bursts"} <= means.keys():
            return None
        cross, slow = means.get("cross"), means.get("slow")
        return measure(
            pairs=pairs,
            octaves=means["octaves"].sums,
            bursts=means["bursts"],
            pulses=means["pulses"].sums,
            piece=carried(means, self._bed.places_mm[:, 0]),
            cross=None if cross is None else cross.sums[0],
            slow=None if slow is None or slow.count < ENOUGH_LOOKS else slow.sums,
            brightness=np.asarray(self._lattices[0].mean(self._contrast.grey), np.float64),
            px_mm=self._px_mm,
            windows=(self._lattices[0].window, self._lattices[1].window),
            maps=(self._cells, self._zones, self._bed),
            margins=self._margins,
            seconds=self._tally.seconds,
            position_error=self._position_error,
            place_error_mm=self._place_error_mm,
            ground=self._ground,
            grey=self._contrast.grey,
        )
