"""Spouts: places that are busier than their surroundings nearly all the time, which chance visits of bubbles are not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.judge.rises import Rises, busy_rises, haste_of, haste_rises
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.types import FaultKind
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import highest

# How long is looked back, and by how much (logarithm of energy, most of the time) a plume must then stand out of its
# surroundings. In units of the bed's own scatter it must be beyond _SIGMAS: over some 200 independent places of a bed and a
# thousand looks, chance reaches 4.5 of them.
_WINDOWS_S = (8.0, 15.0, 30.0)
_RISES = (0.9, 0.75, 0.6)
_SIGMAS = (3.6, 3.5, 3.4)
# In a lively bed a plume shows by its haste, and its energy may help: so hasty, and so many sigmas of both together.
_HASTES = (0.5, 0.45, 0.4)
_MARKED = (4.8, 4.5, 4.4)
# In a zone that stands still but for so small a part, a channel blows through settled powder: it outdoes that by far, while a
# zone on the brink of moving has places that stir a little more than others.
_SETTLED, _CHANNEL_RISE = 0.6, 2.5
# Where it has been told before it may be this much weaker.
_SLACK = 0.75
# In powder that does not move otherwise: energy in units of noise.
_ABOVE_NOISE = 12.0
# It is a plume now: also over the last seconds.
_NOW_S, _NOW_SHARE = 4.0, 0.45
# It stands out by this part of its rise in so many of the seconds since it began: a shadow or a splash does not.
_STEADY_RISE, _STEADY_SHARE = 0.35, 0.78
_WIDEST_MM = 110.0
_CLEAR_OF_WALL_MM = 11.0
_APART_MM = 24.0


def find_plumes(ground: Ground, places: Places, known: list[Suspect]) -> list[Suspect]:
    """Spouts and channels. known: those told before, which may be weaker now."""
    seen_s = ground.seen_s
    found: list[Suspect] = []
    now, now_hasty = busy_rises(ground, places, _NOW_S), haste_rises(ground, places, _NOW_S)
    settled = places.live_shares(ground) < _SETTLED

    def add(plume: Suspect | None) -> None:
        if plume is not None and all(_apart(plume, other) for other in found):
            found.append(plume)

    for number, seconds in enumerate(_WINDOWS_S):
        if seconds > _WINDOWS_S[0] and seen_s < 0.8 * seconds:
            break
        busy, hasty = busy_rises(ground, places, seconds), haste_rises(ground, places, seconds)
        marked = np.hypot(*(np.maximum(np.nan_to_num(of.rise), 0.0) / of.spread for of in (busy, hasty)))
        for seed in _peaks(busy.rise, places):
            slack = _SLACK if _is_known(seed, places, known) else 1.0
            high = float(busy.rise[seed])
            zone = int(places.zone[seed])
            if settled[zone] and float(busy.value[seed] - busy.medians[zone]) < _CHANNEL_RISE * slack:
                continue
            if high >= _RISES[number] * slack and high >= _SIGMAS[number] * slack * busy.spread:
                add(_plume(seed, busy, now, ground.busy, ground, places, seconds))
        for seed in _peaks(np.where(np.isfinite(hasty.rise), marked, np.nan), places) if hasty.shows else []:
            slack = _SLACK if _is_known(seed, places, known) else 1.0
            if settled[int(places.zone[seed])]:
                continue
            if float(hasty.rise[seed]) >= _HASTES[number] * slack and float(marked[seed]) >= _MARKED[number] * slack:
                add(_plume(seed, hasty, now_hasty, _haste(ground), ground, places, seconds))
    return found


def _haste(ground: Ground) -> Array:
    return haste_of(np.exp(ground.quick), np.exp(ground.slow), ground)


def _apart(one: Suspect, other: Suspect) -> bool:
    return math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) > _APART_MM


def _is_known(seed: tuple[int, int], places: Places, known: list[Suspect]) -> bool:
    x, y = places.x_mm[seed], places.y_mm[seed]
    return any(math.hypot(one.x_mm - x, one.y_mm - y) < _APART_MM for one in known)


def _peaks(rise: Array, places: Places) -> list[tuple[int, int]]:
    """Places that rise most within an eruption's width, highest first."""
    height = np.where(places.inside & np.isfinite(rise) & (places.wall_mm > _CLEAR_OF_WALL_MM), rise, -9.0).astype(
        np.float32
    )
    top = highest(height, places.disc(_APART_MM))
    rows, cols = np.nonzero((height >= top) & (height > 0.5))
    order = np.argsort(-height[rows, cols])[:24]
    return [(int(rows[k]), int(cols[k])) for k in order]


def _plume(
    seed: tuple[int, int],
    rises: Rises,
    now: Rises,
    each: Array,
    ground: Ground,
    places: Places,
    window_s: float,
) -> Suspect | None:
    """The plume around a peak, if it is one: compact, alive, well above noise, there also now. each: (n, rows, cols) the measure
    second by second."""
    high = float(rises.rise[seed])
    group = places.grown(seed, np.nan_to_num(rises.rise, nan=-9.0) > max(high / 2, high - 1.2))
    energy = math.exp(float(mean_over(ground, ground.busy, window_s)[seed])) - ground.floor
    if energy < _ABOVE_NOISE * ground.noise or not ground.live[group].any():
        return None
    recent = float(np.nanmean(now.rise[group]))
    if recent < _NOW_SHARE * float(np.nanmean(rises.rise[group])):
        return None
    rows, cols = np.nonzero(group)
    if max(np.ptp(rows), np.ptp(cols)) * places.step_mm > _WIDEST_MM:
        return None
    series = each[ground.recent(window_s)][:, group].mean(axis=1)
    up = series > float(np.nanmean(rises.level[group]) + _STEADY_RISE * np.nanmean(rises.rise[group]))
    if up.mean() < _STEADY_SHARE:
        return None
    weight: Array = np.exp(np.clip(rises.rise, 0.0, 6.0))
    x, y = places.middle(group, np.nan_to_num(weight))
    return Suspect(
        kind=FaultKind.SPOUT,
        x_mm=x,
        y_mm=y,
        area_mm2=places.area_mm2(group),
        zone=places.zone_at(group),
        since_s=_began(group, rises, each, ground),
        strength=high,
        group=group,
    )


def _began(group: Mask, rises: Rises, each: Array, ground: Ground) -> float:
    """The end of the last slab in which the place was no busier than half way between its surroundings and the plume."""
    series: NDArray[np.floating[Any]] = each[:, group].mean(axis=1)
    half = float(np.nanmean(rises.level[group]) + 0.4 * np.nanmean(rises.rise[group]))
    # One quiet second is not a pause.
    calm = np.minimum(series, np.append(series[1:], series[-1])) < half
    calm &= np.maximum(series, np.append(series[1:], series[-1])) < half + 0.3
    quiet = np.flatnonzero(calm)
    return float(ground.start_s[0] if not len(quiet) else ground.end_s[quiet[-1]])
