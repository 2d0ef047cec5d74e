"""What a motion field says of each zone's air, on the zone's inner cells."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed, Cells
from bedwatch.bed.zones import border_distance
from bedwatch.middle import middle, percentile
from bedwatch.motion.field import MotionField
from bedwatch.motion.gliding import GLIDES

# The half of a zone's inner cells that lies farthest from its neighbours has the say: their air crosses the border
# in the bed (Lin, Dam-Johansen & van den Bleek 1997), over 20 mm or so.
_MIDDLE_SHARE = 0.5
_MIDDLE_LEFT = 0.4  # of the middle, without faults, is enough
_BESIDE_MM = (
    25.0  # so near a fault the surface is not its own: what lies still holds its edge, a plume throws powder over it
)
# A cell counts as lifted if it is live and this share of its pattern is another one after the longest lag, or drifts as a
# whole: shadows and slides from a lively neighbour flicker over a still zone without renewing it.
_RENEWED = 0.15
# And it must change by this part of what the bed's liveliest cells do, in energy: light thrown about by them reaches that.
_LEAST_OF_LIVELIEST = 0.01
_SURELY_DRIFTS = 1.5
_SMOOTH = 0.35  # half the cells glide by this or more: no eruptions
# Marks of a violent zone, each at the border between the eruptions of a good one (about 20 mm across, here and there) and of a
# violent one (35 mm and more, overlapping): share of the time a spot is disturbed; energy of the change in widths of 20-80 mm
# against 5-20 mm; change after about 0.13 s over the pattern's own slope, a length.
_DUTY_MARK = 0.293
_WIDTH_MARK = 0.65
_LENGTH_MARK_MM = 8.7
# A violent zone throws powder about at some 200 mm/s: after this time its pattern is another one, by this share at least.
_SOON_S, _RENEWAL_MARK = 0.067, 0.48


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneEvidence:
    """One zone. known: enough of it can be judged. cells: inner cells it rests on.

    live: share of those cells' area that is lifted: moves, and is renewed or drifts. restless: how lively the eruptions
    are, on a scale where 0 is the border between good and violent, about -1 a gentle simmer and +1 a boil; NaN when
    nothing erupts. duty: share of the time a spot is disturbed. width: energy of wide against narrow change. length_mm:
    change over the pattern's slope. renewed: share of the pattern that is another one within 0.07 s.
    speed_mm_s, speed_error_mm_s: of the whole zone. clear_mm_s: the same without what lies in or beside a fault.
    """

    known: bool
    cells: int
    live: float
    restless: float
    duty: float
    width: float
    length_mm: float
    renewed: float
    glides: float
    speed_mm_s: float
    speed_error_mm_s: float
    clear_mm_s: float


class ZoneView:
    """Picks the cells that have the say in each zone of one bed."""

    def __init__(self, bed: Bed, cells: Cells) -> None:
        self.bed = bed
        self.cells = cells
        self.middle: list[NDArray[np.intp]] = []
        self._order: list[NDArray[np.intp]] = []
        for number, zone in enumerate(bed.zones):
            inner = np.flatnonzero((cells.zone == number) & cells.inner)
            keep = max(1, round(_MIDDLE_SHARE * len(inner)))
            far = border_distance(bed, zone, cells.centre_mm[inner])
            order = inner[np.argsort(-far, kind="stable")]
            self.middle.append(order[:keep])
            outer = np.flatnonzero((cells.zone == number) & ~cells.inner)
            far = border_distance(bed, zone, cells.centre_mm[outer])
            self._order.append(np.concatenate([order, outer[np.argsort(-far, kind="stable")]]))
        apart = cells.centre_mm[:, None] - cells.centre_mm[None]
        self._near = np.hypot(apart[..., 0], apart[..., 1]) < _BESIDE_MM

    def read(self, field: MotionField, troubled: NDArray[np.bool_] | None = None) -> list[ZoneEvidence]:
        """The evidence of every zone, in order. troubled: (n cells,) where a fault lies that says nothing of the zone's air."""
        if troubled is None:
            troubled = np.zeros(len(self.cells.zone), np.bool_)
        energy = np.maximum(field.octaves[:, :3].sum(axis=1), 0.0)
        strong = energy > _LEAST_OF_LIVELIEST * percentile(energy[np.isfinite(energy)], 90)
        beside = np.asarray(self._near[:, troubled].any(axis=1), np.bool_)
        return [self._zone(field, number, troubled, beside, strong) for number in range(len(self.bed.zones))]

    def _members(self, number: int, troubled: NDArray[np.bool_], beside: NDArray[np.bool_]) -> NDArray[np.intp]:
        """The cells that have the say: the zone's middle without faults, or what lies next to it if faults take up most of it."""
        middle, order = self.middle[number], self._order[number]
        for avoid in (beside, troubled):
            clear = middle[~avoid[middle]]
            if len(clear) >= max(2, _MIDDLE_LEFT * len(middle)):
                return clear
            clear = order[~avoid[order]][: max(2, len(middle) // 2)]
            if len(clear) >= max(2, len(middle) // 2):
                return clear
        return clear

    def _clear_mm_s(
        self, field: MotionField, number: int, troubled: NDArray[np.bool_], beside: NDArray[np.bool_]
    ) -> float:
        speed, mine = field.cells.speed_mm_s, self.cells.zone == number
        whole = mine & np.isfinite(speed)
        here = float(field.zones.speed_mm_s[number])
        if not (mine & troubled).any() or not (speed[whole] > 0).any():
            return here
        for avoid in (beside, troubled):
            clear = whole & ~avoid
            if 4 * clear.sum() >= whole.sum():
                return here * math.sqrt(float(np.mean(speed[clear] ** 2)) / float(np.mean(speed[whole] ** 2)))
        return here

    def _zone(
        self,
        field: MotionField,
        number: int,
        troubled: NDArray[np.bool_],
        beside: NDArray[np.bool_],
        strong: NDArray[np.bool_],
    ) -> ZoneEvidence:
        members = self._members(number, troubled, beside)
        seen = members[np.isfinite(field.cells.live[members])]
        if 2 * len(seen) < len(members) or not len(seen):
            return ZoneEvidence(
                known=False,
                cells=len(seen),
                live=math.nan,
                restless=math.nan,
                duty=math.nan,
                width=math.nan,
                length_mm=math.nan,
                renewed=math.nan,
                glides=math.nan,
                speed_mm_s=math.nan,
                speed_error_mm_s=math.nan,
                clear_mm_s=math.nan,
            )
        octaves = field.octaves[seen].mean(axis=0)
        noise = 0.0 if field.ground is None else field.ground.noise
        change = max(float(octaves.sum()) - noise, 0.0)
        length_mm = math.sqrt(change / max(middle(field.texture[seen]), 1e-6))
        octaves = np.maximum(octaves, 0.0)
        width = float(octaves[3:].sum() / max(octaves[1:3].sum(), 1e-9))
        lifted = (field.renewal[seen].max(axis=1) > _RENEWED) | (field.coherence[seen] > 1.0)
        lifted &= strong[seen] | (field.coherence[seen] > _SURELY_DRIFTS)
        lifted |= field.glide[seen] > GLIDES
        duty = middle(field.duty[seen])
        # What glides or keeps its pattern is no eruption, however steadily it moves.
        late = middle(field.renewal[seen].max(axis=1))
        renewed = float(np.interp(_SOON_S, field.lags_s, np.median(field.renewal[seen], axis=0)))
        erupts = late > (_RENEWED if middle(field.glide[seen]) < _SMOOTH else 2 * _RENEWED)
        return ZoneEvidence(
            known=True,
            cells=len(seen),
            live=float(np.average(field.cells.live[seen] * lifted, weights=self.cells.area_mm2[seen])),
            restless=restlessness(duty, width, length_mm, renewed) if erupts else math.nan,
            glides=float(np.average(field.glide[seen] > GLIDES, weights=self.cells.area_mm2[seen])),
            duty=duty,
            width=width,
            length_mm=length_mm,
            renewed=renewed,
            speed_mm_s=float(field.zones.speed_mm_s[number]),
            speed_error_mm_s=float(field.zones.speed_error_mm_s[number]),
            clear_mm_s=self._clear_mm_s(field, number, troubled, beside),
        )


def restlessness(duty: float, width: float, length_mm: float, renewed: float) -> float:
    """4 ln(duty / mark) + ln(width / mark) + ln(length / mark), but no more than 6 ln(renewed / mark).

    All are ratios, so that contrast and light drop out and their logarithms add up. No one of the first three tells good from
    violent zones apart in pictures of every making: small dense eruptions keep a spot busy, width depends on how sharp the
    eruptions' edges look, length on how deep their shadows are. Together they do, and a pattern that outlasts a fifteenth of a
    second is not violent, whatever else it does.
    """
    if duty <= 0:
        return math.nan
    lively = 4 * math.log(duty / _DUTY_MARK)
    lively += math.log(max(width, 0.02) / _WIDTH_MARK) + math.log(max(length_mm, 0.1) / _LENGTH_MARK_MM)
    return min(lively, 6 * math.log(max(renewed, 0.02) / _RENEWAL_MARK))
