"""Places where the bed misbehaves, followed over time: what lasts is told, what passes is not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, Cells
from bedwatch.judge.leaks import Wall, find_leaks
from bedwatch.judge.places import Places
from bedwatch.judge.plumes import find_plumes
from bedwatch.judge.stillness import find_still
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.trouble import Trouble
from bedwatch.judge.types import Fault, FaultKind
from bedwatch.motion.ground import Ground

# The same fault is looked for again within this distance; a leak is long.
_SAME_PLACE_MM = {FaultKind.SPOUT: 30.0, FaultKind.DEAD_SPOT: 35.0, FaultKind.RIM_LEAK: 70.0}
# It is told after so long. A shorter time will do if it is plain, stands out by so much (logarithm of energy), or has been there
# for so long by what is remembered from before a hand came in.
_LASTED_S, _SOON_S, _PLAIN, _LONG_S = 3.0, 0.7, 1.8, 12.0
# It is over when it has not been seen for so long.
_OVER_S = 2.2
# Less than this tells nothing of what stays.
_LEAST_SEEN_S = 5.5
# A spout so near a leak is the leak.
_LEAK_REACH_MM = 26.0
# A fault bears on each zone that holds this share of it; a plume only on the zone whose air it is.
_BEARS_ON = 0.5


@dataclass(slots=True)
class _Track:
    suspect: Suspect
    first_s: float
    seen_s: float
    since_s: float
    told: bool = False


class FaultWatch:
    """Finds faults in one ground map after another and remembers since when each has been there.

    starved: (zones,) whether a zone stands still as a whole, at the last look. troubled: (cells,) where a fault lies, told
    or not, so that a zone's air is not judged by it. alive: (zones,) as in `Stillness`.
    """

    def __init__(self, bed: Bed, cells: Cells) -> None:
        self._bed = bed
        self._cells = cells
        self._places: Places | None = None
        self._wall: Wall | None = None
        self._tracks: list[_Track] = []
        self.starved: tuple[bool, ...] = (False,) * len(bed.zones)
        self.alive: tuple[float, ...] = (math.nan,) * len(bed.zones)
        self.troubled: NDArray[np.bool_] = np.zeros(len(cells.zone), np.bool_)

    def forget(self) -> None:
        self._tracks.clear()
        self.troubled[:] = False

    def places(self, ground: Ground) -> tuple[Places, Wall]:
        """The geometry of a ground map, worked out once."""
        if self._places is None or self._wall is None or self._places.x_mm.shape != ground.seen.shape:
            self._places = Places(self._bed, ground)
            self._wall = Wall(self._places)
        return self._places, self._wall

    def find(self, time_s: float, ground: Ground | None) -> tuple[Fault, ...]:
        """The faults that have lasted, oldest first."""
        if ground is None or ground.seen_s < _LEAST_SEEN_S:
            return ()
        places, wall = self.places(ground)
        known = {kind: [t.suspect for t in self._tracks if t.told and t.suspect.kind is kind] for kind in FaultKind}
        suspected = [t.suspect for t in self._tracks if not t.told and t.suspect.kind is FaultKind.SPOUT]
        leaks = find_leaks(ground, places, wall, known[FaultKind.RIM_LEAK])
        plumes = [
            plume
            for plume in find_plumes(ground, places, known[FaultKind.SPOUT], suspected)
            if not _of_a_leak(plume, leaks, places)
        ]
        still = find_still(ground, places)
        self.starved, self.alive = still.starved, still.alive
        found = [*leaks, *plumes, *still.patches]
        self._follow(found, time_s)
        self._mark(places, still.others)
        return tuple(self._fault(track) for track in sorted(self._tracks, key=lambda t: t.since_s) if track.told)

    def troubles(self) -> list[list[Trouble]]:
        """Per zone, what has been told and bears on it."""
        per_zone: list[list[Trouble]] = [[] for _ in self._bed.zones]
        if self._places is None:
            return per_zone
        for track in self._tracks:
            if track.told:
                trouble = Trouble(
                    fault=self._fault(track),
                    times=math.exp(abs(track.suspect.strength)),
                    for_s=track.seen_s - track.since_s,
                )
                zones = self._places.zone[track.suspect.group]
                shares = np.bincount(zones[zones >= 0], minlength=len(per_zone)) / max(1, len(zones))
                others = [] if track.suspect.kind is FaultKind.SPOUT else np.flatnonzero(shares >= _BEARS_ON).tolist()
                for number in {track.suspect.zone, *others}:
                    per_zone[number].append(trouble)
        return per_zone

    def _fault(self, track: _Track) -> Fault:
        suspect = track.suspect
        return Fault(
            kind=suspect.kind,
            zone=self._bed.zones[suspect.zone].name,
            x_mm=suspect.x_mm,
            y_mm=suspect.y_mm,
            area_mm2=suspect.area_mm2,
            since_s=track.since_s,
        )

    def _follow(self, found: list[Suspect], time_s: float) -> None:
        left = list(self._tracks)
        kept = []
        for new in found:
            near = [
                t for t in left if t.suspect.kind is new.kind and _gap_mm(t.suspect, new) < _SAME_PLACE_MM[new.kind]
            ]
            if near:
                track = min(near, key=lambda t: _gap_mm(t.suspect, new))
                left.remove(track)
                track.suspect, track.seen_s = new, time_s
                track.since_s = min(track.since_s, new.since_s) if track.told else new.since_s
            else:
                track = _Track(suspect=new, first_s=time_s, seen_s=time_s, since_s=new.since_s)
            lasted = time_s - track.first_s
            soon = new.plain or abs(new.strength) > _PLAIN or time_s - new.since_s > _LONG_S
            track.told = track.told or lasted >= (_SOON_S if soon else _LASTED_S)
            kept.append(track)
        self._tracks = kept + [t for t in left if time_s - t.seen_s < _OVER_S]

    def _mark(self, places: Places, others: NDArray[np.bool_]) -> None:
        """The cells that faults lie in, or things that are no powder."""
        self.troubled[:] = False
        xy = self._cells.centre_mm
        column = np.clip(
            np.rint((xy[:, 0] - places.x_mm[0, 0]) / places.step_mm).astype(int), 0, places.x_mm.shape[1] - 1
        )
        row = np.clip(np.rint((places.y_mm[0, 0] - xy[:, 1]) / places.step_mm).astype(int), 0, places.x_mm.shape[0] - 1)
        self.troubled |= others[row, column]
        for track in self._tracks:
            self.troubled |= track.suspect.group[row, column]


def _gap_mm(one: Suspect, other: Suspect) -> float:
    return math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)


def _of_a_leak(plume: Suspect, leaks: list[Suspect], places: Places) -> bool:
    for leak in leaks:
        gap = np.hypot(places.x_mm[leak.group] - plume.x_mm, places.y_mm[leak.group] - plume.y_mm)
        if float(gap.min()) < _LEAK_REACH_MM:
            return True
    return False
