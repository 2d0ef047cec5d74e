"""What stays in the picture of powder that moves: the standing mound or crater of a plume.

Powder that is mixed leaves next to nothing in a mean over seconds. What two such means, one after the other, have in common is
no chance: their product, over about a plume's width, is held against what it comes to all over the bed.
"""

from __future__ import annotations

import numpy as np

from bedwatch.judge.places import Array, Places
from bedwatch.middle import middle, percentile
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import disc_mean, highest, softened

# Wider shades than this are light and lens; what is told is about so wide.
_SHADE_MM, _WIDE_MM = 15.0, 14.0
# The wall and its shade stand in the picture as well.
CLEAR_MM = 18.0
_LEAST_SLABS, _LEAST_PLACES = 4, 60
# A share of what tells a plume: nothing up to so many times the usual amplitude, and one more for each so many beyond.
_NOTHING, _PER_SHARE, _MOST = 3.8, 3.0, 2.0
# The edge of a shadow is long: it stands out in its surroundings as well.
_ALONE = 2.0
_MOST_SEEDS = 6


class Standing:
    """amplitude: (rows, cols) of what stands, in the bed's usual one, over the last so many seconds; 0 near the wall and where it
    cannot be told."""

    def __init__(self, ground: Ground, places: Places, seconds: float) -> None:
        self._places = places
        self._reach = places.disc(2 * _WIDE_MM)
        self.amplitude: Array = np.zeros(ground.seen.shape)
        slabs = np.flatnonzero(ground.recent(seconds))
        told = places.inside & (places.wall_mm > CLEAR_MM)
        among = told & ground.live
        if len(slabs) < _LEAST_SLABS or among.sum() < _LEAST_PLACES:
            return
        half = len(slabs) // 2
        before, after = (self._relief(ground.shade[part].mean(axis=0)) for part in (slabs[:half], slabs[half:]))
        common = disc_mean(before * after, places.inside, places.disc(_WIDE_MM))
        usual = middle(common[among])
        scatter = 1.4826 * middle(np.abs(common[among] - usual))
        if scatter > 0:
            self.amplitude = np.where(told, np.sqrt(np.maximum(common - usual, 0.0) / scatter), 0.0)

    def _relief(self, shade: Array) -> Array:
        return shade - softened(shade, self._places.inside, _SHADE_MM / self._places.step_mm)

    def seeds(self, rise: Array) -> list[tuple[int, int]]:
        """Places that rise most within a plume's width of what stands, the most standing first. rise: (rows, cols)."""
        high = self.amplitude.astype(np.float32)
        rows, cols = np.nonzero((high >= highest(high, self._reach)) & (high > _NOTHING + _PER_SHARE))
        found = []
        for k in np.argsort(-high[rows, cols])[:_MOST_SEEDS]:
            near = np.where(self._away((int(rows[k]), int(cols[k]))) < _WIDE_MM, np.nan_to_num(rise, nan=-9.0), -9.0)
            row, col = np.unravel_index(int(near.argmax()), near.shape)
            found.append((int(row), int(col)))
        return found

    def _away(self, place: tuple[int, int]) -> Array:
        places = self._places
        return np.asarray(np.hypot(places.x_mm - places.x_mm[place], places.y_mm - places.y_mm[place]))

    def share(self, seed: tuple[int, int]) -> float:
        """What stands within a plume's width of a place, as a share of what tells a plume; 0 where it does not stand alone."""
        places = self._places
        high = float(self.amplitude[self._away(seed) < _WIDE_MM].max(initial=0.0))
        ring = places.ring(seed) & (places.wall_mm > CLEAR_MM)
        if not ring.any() or high < _ALONE * percentile(self.amplitude[ring], 90):
            return 0.0
        return min(max(0.0, (high - _NOTHING) / _PER_SHARE), _MOST)
