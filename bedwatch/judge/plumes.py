"""Spouts: places that are busier than their surroundings nearly all the time, which chance visits of bubbles are not."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bedwatch.judge.busy import Busy, quickly, usually
from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.judge.standing import Standing
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.types import FaultKind
from bedwatch.middle import middle
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import highest

# How long is looked back, and by how much (logarithm of energy, most of the time) a plume must then stand out of its
# surroundings. In units of the bed's own scatter it must be beyond _SIGMAS: over some 200 independent places of a bed and a
# thousand looks, chance reaches 4.5 of them. What is far beyond chance shows sooner and need not be waited for.
_WINDOWS_S = (6.0, 8.0, 15.0, 30.0)
_RISES = (1.3, 0.9, 0.75, 0.6)
_SIGMAS = (6.0, 4.4, 3.9, 3.6)
_LEAST_SPREAD, _MOST_SPREAD = 0.14, 0.5
_PLAIN_SIGMAS = 6.0
# From one frame to the next a lively bed's powder has not yet become another one everywhere, so that a plume stands out further
# there. Three shares are added up: of a rise, of so many sigmas, and of steadiness, which is the mean of what it leads its
# surroundings by, second by second, in standard errors of that mean; where bubbles come by chance, seconds differ more. It must
# be beyond the bed's scatter in any case, and over the longer time too. What is quickest at the wall is a leak.
_RISES_QUICK = (0.9, 0.68, 0.58, 0.52)
_SIGMAS_QUICK = (5.5, 4.8, 4.4, 4.2)
_STEADY, _MOST_STEADY = 8.0, 12.0
_ENOUGH = (3.3, 3.3, 3.25, 3.1)
_LEAST_SPREAD_QUICK, _LEAST_SIGMAS, _ALSO_SIGMAS = 0.1, 3.0, 1.5
_CLEAR_QUICK_MM = 20.0
# What stands in the picture while powder moves through it is a fourth share; then less of a rise will do. A speck on the lens
# stands too: it counts as far as the place leads its surroundings more steadily than chance does.
_STANDS_LESS = 0.35
_NO_LEAD, _LEAD = 2.0, 4.0
_ENOUGH_LIVE = 0.25  # share of the bed that must be live for it to show its own scatter
# In a zone that stands still but for so small a part, a channel blows through settled powder: it outdoes that by far, while a
# zone on the brink of moving has places that stir a little more than others.
_SETTLED, _CHANNEL_RISE = 0.6, 2.5
# Where it has been told before it may be this much weaker; where it is suspected, this much.
_SLACK, _SOME_SLACK = 0.75, 0.88
# In powder that does not move otherwise: energy in units of noise.
_ABOVE_NOISE = 12.0
# It is a plume now: also over the last seconds.
_NOW_S, _NOW_SHARE = 4.0, 0.45
# It stands out by this part of its rise in so many of the seconds since it began: a shadow or a splash does not.
_STEADY_RISE, _STEADY_SHARE, _STEADY_SHORT = 0.35, 0.74, 0.9
_WIDEST_MM = 110.0
_ACROSS_MM = 9.0
_CLEAR_OF_WALL_MM = 11.0
_APART_MM = 24.0


class Rises:
    """How far each place stands out of its surroundings over one window; arrays (rows, cols).

    value: mean logarithm of energy; medians: (zones,) of it. rise: above the surroundings, the zone and zones near by. spread:
    the bed's own scatter.
    """

    def __init__(self, value: Array, ground: Ground, places: Places, least_spread: float) -> None:
        self.value = value
        medians = self.medians = places.zone_medians(value)
        around = places.around(value, ground.live)  # what lies still is no measure of what moves
        known = np.isfinite(medians)
        beside = np.where(places.beside[known], medians[known][:, None, None], -np.inf)
        level = np.fmax(around, beside.max(axis=0, initial=-np.inf))
        level = np.where(np.isfinite(level), level, np.nan)
        self.level = level
        self.rise: Array = np.where(places.inside, value - level, np.nan)
        told = places.inside & ground.live & (places.wall_mm > _CLEAR_OF_WALL_MM)
        self.spread = least_spread
        if told.sum() > _ENOUGH_LIVE * places.inside.sum():
            plain = value[told] - around[told]
            plain = plain[np.isfinite(plain)]
            spread = 1.4826 * middle(np.abs(plain - middle(plain)))
            self.spread = float(np.clip(spread, least_spread, _MOST_SPREAD))


class _Measure:
    """One way to tell how busy places are, and what rises by it. now: of the last seconds."""

    def __init__(self, busy: Busy, ground: Ground, places: Places, least_spread: float) -> None:
        self.busy = busy
        self._ground, self._places, self._least_spread = ground, places, least_spread
        self.now = self.over(_NOW_S)

    def over(self, seconds: float) -> Rises:
        return Rises(self.busy.over(seconds), self._ground, self._places, self._least_spread)


def find_plumes(
    ground: Ground, places: Places, known: Sequence[Suspect], suspected: Sequence[Suspect] = ()
) -> list[Suspect]:
    """Spouts and channels. known: those told before, which may be weaker now; suspected: those seen, but not told yet."""
    seen_s = ground.seen_s
    found: list[Suspect] = []
    long = _Measure(usually(ground), ground, places, _LEAST_SPREAD)
    short = _Measure(quickly(ground), ground, places, _LEAST_SPREAD_QUICK)
    settled = places.live_shares(ground) < _SETTLED
    # What outdoes a zone beside it that moves needs no other proof; deep in a settled one there is only that zone to go by.
    moving = np.flatnonzero(~settled)
    beside_moving: Mask = np.asarray(places.beside[moving].any(axis=0), np.bool_)
    only_settled = np.isin(places.zone, np.flatnonzero(settled)) & ~beside_moving

    def told(seed: tuple[int, int]) -> bool:
        x, y = places.x_mm[seed], places.y_mm[seed]
        return any(math.hypot(one.x_mm - x, one.y_mm - y) < _APART_MM for one in found)

    def add(seed: tuple[int, int], rises: Rises, measure: _Measure, seconds: float, stands: float = 0.0) -> None:
        plume = _plume(seed, rises, measure, ground, places, seconds, settled, stands)
        if plume is not None and all(_apart(plume, other) for other in found):
            found.append(plume)

    for number, seconds in reversed(tuple(enumerate(_WINDOWS_S))):  # the longest tells the place best
        if number > 1 and seen_s < 0.8 * seconds:
            continue
        busy, quick = long.over(seconds), short.over(seconds)
        least = max(_RISES[number], _SIGMAS[number] * busy.spread)
        for seed in _peaks(busy.rise, places, _SLACK * least):
            if told(seed):
                continue
            slack = _slack(seed, places, known, suspected)
            zone = int(places.zone[seed])
            if only_settled[seed] and float(busy.value[seed] - busy.medians[zone]) < _CHANNEL_RISE * slack:
                continue
            if float(busy.rise[seed]) >= slack * least:
                add(seed, busy, long, seconds)
        per_rise = 1 / _RISES_QUICK[number] + 1 / (quick.spread * _SIGMAS_QUICK[number])
        lowest = (_SLACK * _ENOUGH[number] - _MOST_STEADY / _STEADY) / per_rise
        standing = Standing(ground, places, seconds)
        for seed in [*_peaks(quick.rise, places, lowest, clear_mm=0.0), *standing.seeds(quick.rise)]:
            by_wall = places.wall_mm[seed] < _CLEAR_QUICK_MM
            if by_wall or only_settled[seed] or told(seed):
                continue
            stands = standing.share(seed)
            slack = _slack(seed, places, known, suspected)
            gate = slack * (1 - _STANDS_LESS * min(stands, 1.0))
            if float(busy.rise[seed]) < gate * _ALSO_SIGMAS * busy.spread:
                continue
            if float(quick.rise[seed]) < gate * _LEAST_SIGMAS * quick.spread:
                continue
            shares = float(quick.rise[seed]) * per_rise
            least = slack * _ENOUGH[number]
            if shares + stands > least - _MOST_STEADY / _STEADY:
                group = _group(seed, quick, places)
                steady = short.busy.steadiness(group, places.ring(seed) & ground.live, seconds)
                stands *= float(np.clip((steady - _NO_LEAD) / (_LEAD - _NO_LEAD), 0.0, 1.0))
                if shares + stands + min(steady, _MOST_STEADY) / _STEADY >= least:
                    add(seed, quick, short, seconds, stands)
    return found


def _apart(one: Suspect, other: Suspect) -> bool:
    return math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) > _APART_MM


def _slack(seed: tuple[int, int], places: Places, known: Sequence[Suspect], suspected: Sequence[Suspect]) -> float:
    """By what share of the marks a place is measured."""
    x, y = places.x_mm[seed], places.y_mm[seed]
    for before, slack in ((known, _SLACK), (suspected, _SOME_SLACK)):
        if any(math.hypot(one.x_mm - x, one.y_mm - y) < _APART_MM for one in before):
            return slack
    return 1.0


def _peaks(rise: Array, places: Places, lowest: float, clear_mm: float = _CLEAR_OF_WALL_MM) -> list[tuple[int, int]]:
    """Places that rise most within an eruption's width and by no less than the lowest, highest first, so far from the wall."""
    height = np.where(places.inside & np.isfinite(rise) & (places.wall_mm > clear_mm), rise, -9.0).astype(np.float32)
    top = highest(height, places.disc(_APART_MM))
    rows, cols = np.nonzero((height >= top) & (height >= np.float32(lowest)))
    order = np.argsort(-height[rows, cols])[:24]
    return [(int(rows[k]), int(cols[k])) for k in order]


def _group(seed: tuple[int, int], rises: Rises, places: Places) -> Mask:
    """The places around a peak that belong to it."""
    high = float(rises.rise[seed])
    return places.grown(seed, np.nan_to_num(rises.rise, nan=-9.0) > max(high / 2, high - 1.2))


def _plume(
    seed: tuple[int, int],
    rises: Rises,
    measure: _Measure,
    ground: Ground,
    places: Places,
    window_s: float,
    settled: Mask,
    stands: float,
) -> Suspect | None:
    """The plume around a peak, if it is one: compact, alive, well above noise, there also now."""
    gate = 1 - _STANDS_LESS * min(stands, 1.0)
    high = float(rises.rise[seed])
    group = _group(seed, rises, places)
    energy = math.exp(float(mean_over(ground, ground.busy, window_s)[seed])) - ground.floor
    if energy < _ABOVE_NOISE * ground.noise or not ground.live[group].any():
        return None
    recent = float(np.nanmean(measure.now.rise[group]))
    if recent < gate * _NOW_SHARE * float(np.nanmean(rises.rise[group])):
        return None
    rows, cols = np.nonzero(group)
    if max(np.ptp(rows), np.ptp(cols)) * places.step_mm > _WIDEST_MM:
        return None
    series = measure.busy.series(group, window_s)
    up = series > float(np.nanmean(rises.level[group]) + _STEADY_RISE * np.nanmean(rises.rise[group]))
    if up.mean() < (gate + 1) / 2 * (_STEADY_SHARE if window_s > _WINDOWS_S[0] else _STEADY_SHORT):
        return None
    weight: Array = np.exp(np.clip(max(1.0, 2.5 / high) * rises.rise, 0.0, 6.0))
    x, y = places.middle(group, np.nan_to_num(weight))
    return Suspect(
        kind=FaultKind.SPOUT,
        x_mm=x,
        y_mm=y,
        area_mm2=places.area_mm2(group),
        zone=_zone_of(group, (x, y), places, settled),
        since_s=_began(group, rises, measure.busy.series(group), ground),
        strength=high,
        plain=high >= _PLAIN_SIGMAS * rises.spread,
        group=group,
    )


def _zone_of(group: Mask, at_mm: tuple[float, float], places: Places, settled: Mask) -> int:
    """The zone whose air it is: where it lies across a border, the one that stands still, since a channel blows through settled
    powder. settled: (zones,) whether each stands still."""
    away = np.hypot(places.x_mm - at_mm[0], places.y_mm - at_mm[1])
    near = np.unique(places.zone[(away < _ACROSS_MM) & (places.zone >= 0)])
    still = [int(zone) for zone in near if settled[zone]]
    return still[0] if len(still) == 1 and len(near) > 1 else places.zone_at(group)


def _began(group: Mask, rises: Rises, series: Array, ground: Ground) -> float:
    """The end of the last slab in which the place was no busier than half way between its surroundings and the plume."""
    half = float(np.nanmean(rises.level[group]) + 0.4 * np.nanmean(rises.rise[group]))
    # One quiet second is not a pause.
    calm = np.minimum(series, np.append(series[1:], series[-1])) < half
    calm &= np.maximum(series, np.append(series[1:], series[-1])) < half + 0.3
    quiet = np.flatnonzero(calm)
    return float(ground.start_s[0] if not len(quiet) else ground.end_s[quiet[-1]])
