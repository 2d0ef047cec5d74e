"""Places where the bed misbehaves: patches that stay still in a fed zone, plumes that stay at one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, Cells
from bedwatch.judge.hints import Air
from bedwatch.judge.types import Fault, FaultKind
from bedwatch.motion.field import MotionField

# A cell is still below this share of live blocks; a patch needs this area, and this long, before it is told.
_STILL_CELL = 0.25
_LEAST_AREA_MM2 = 450.0
_LEAST_S = 4.0
# A plume: change this many times that of a fed zone's typical cell, with hardly a pause.
_PLUME_TIMES = 4.0
_PLUME_DUTY = 0.35
_SAME_PLACE_MM = 35.0


@dataclass(slots=True)
class _Track:
    kind: FaultKind
    at: NDArray[np.float64]
    area_mm2: float
    zone: int
    since_s: float
    seen_s: float


class FaultWatch:
    """Finds faults in one motion field after another and remembers since when each has been there.

    Judged on the cells of zones that are fed: in a starved zone stillness is the zone's air, in a violent one everything is
    a plume.
    """

    def __init__(self, bed: Bed, cells: Cells) -> None:
        self._bed = bed
        self._cells = cells
        gap = np.hypot(*np.moveaxis(cells.centre_mm[:, None] - cells.centre_mm[None], 2, 0))
        self._near = gap < 1.6 * np.sqrt(np.median(cells.area_mm2))
        self._tracks: list[_Track] = []

    def forget(self) -> None:
        self._tracks.clear()

    def find(self, time_s: float, field: MotionField, air: Sequence[Air]) -> tuple[Fault, ...]:
        """The faults that have lasted, oldest first."""
        fed = np.array([one is Air.FED for one in air])[self._cells.zone]
        known = np.isfinite(field.cells.live)
        found: list[_Track] = []
        still = fed & known & (field.cells.live < _STILL_CELL) & self._cells.inner
        found += self._patches(still, FaultKind.DEAD_SPOT, time_s, field.seconds)
        energy = field.octaves.sum(axis=1)
        for zone in range(len(self._bed.zones)):
            mine = fed & known & (self._cells.zone == zone)
            if mine.sum() >= 6:
                # Brighter than what is beside it in other zones: else it is a lively neighbour's air crossing over.
                beside = np.where(self._near & (self._cells.zone != zone)[None, :], np.nan_to_num(energy)[None, :], 0.0)
                plume = (
                    mine
                    & (energy > beside.max(axis=1))
                    & (energy > _PLUME_TIMES * np.median(energy[mine]))
                    & (field.duty > _PLUME_DUTY)
                )
                found += self._patches(plume, FaultKind.SPOUT, time_s, 0.0)
        self._follow(found, time_s)
        return tuple(
            Fault(
                kind=track.kind,
                zone=self._bed.zones[track.zone].name,
                x_mm=float(track.at[0]),
                y_mm=float(track.at[1]),
                area_mm2=track.area_mm2,
                since_s=track.since_s,
            )
            for track in sorted(self._tracks, key=lambda t: t.since_s)
            if track.seen_s - track.since_s >= _LEAST_S
        )

    def _patches(self, cells: NDArray[np.bool_], kind: FaultKind, time_s: float, for_s: float) -> list[_Track]:
        """Connected groups of the marked cells that are large enough."""
        left = set(np.flatnonzero(cells).tolist())
        patches = []
        while left:
            group = [left.pop()]
            for cell in group:
                close = [other for other in left if self._near[cell, other]]
                left.difference_update(close)
                group += close
            area = self._cells.area_mm2[group]
            if area.sum() >= _LEAST_AREA_MM2 or kind is FaultKind.SPOUT:
                at = np.average(self._cells.centre_mm[group], axis=0, weights=area)
                zone = int(np.bincount(self._cells.zone[group]).argmax())
                patches.append(
                    _Track(
                        kind=kind,
                        at=at,
                        area_mm2=float(area.sum()),
                        zone=zone,
                        since_s=max(0.0, time_s - for_s),
                        seen_s=time_s,
                    )
                )
        return patches

    def _follow(self, found: list[_Track], time_s: float) -> None:
        kept: list[_Track] = []
        for new in found:
            old = [t for t in self._tracks if t.kind is new.kind and np.hypot(*(t.at - new.at)) < _SAME_PLACE_MM]
            if old:
                new.since_s = min(t.since_s for t in old)
            kept.append(new)
        self._tracks = kept
        for track in kept:
            track.seen_s = time_s
