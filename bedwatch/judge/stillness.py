"""Dead patches: places that stand still while the bed around them moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedwatch.frames.cv import cv2
from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.types import FaultKind
from bedwatch.motion.ground import Ground

# Still: below this share of what the fed part of the bed does around it, noise taken out. Its rim lies at half.
_STILL, _RIM = 0.10, 0.42
_NOISE_DOUBT = 0.35
# So much above noise the bed must be for stillness to show at all.
_ABOVE_NOISE = 3.0
# A patch must hold a disc of this radius; a gap between eruptions does not.
_CORE_MM = 8.0
_LEAST_MM2 = 300.0
# Chance that a place of a fed bed has not been visited in the window: e to the minus this.
_VISITS = 4.5
_SHORTEST_S, _LONGEST_S = 7.0, 30.0
# A zone whose interior, out of its neighbours' reach, is still by this share gets too little air itself.
_STARVED, _REACH_MM = 0.62, 20.0
# What is darker or brighter than its surroundings by this much (natural logarithm) is not the bed's powder: a thing lying there,
# a glint. Clipped white shows nothing.
_OTHER = 0.45
_WHITE = 249.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """What stands still. starved: (zones,) whether the zone as a whole does. patches: the dead patches elsewhere."""

    starved: tuple[bool, ...]
    patches: tuple[Suspect, ...]


def find_still(ground: Ground, places: Places) -> Stillness:
    """Dead patches over the last seconds, as many as it takes for chance to have visited every place."""
    none = Stillness(starved=(False,) * len(places.bed.zones), patches=())
    seen_s = float(ground.end_s[-1] - ground.start_s[0])
    window_s = _window_s(ground, places)
    if seen_s < min(_SHORTEST_S, 0.95 * window_s) or seen_s < 0.8 * window_s:
        return none
    mean = mean_over(ground, ground.energy, window_s)
    usual = _usual(mean, ground, places)
    if usual is None:
        return none
    net = np.maximum(mean - ground.noise, 0.0)
    limit = _STILL * usual + _NOISE_DOUBT * np.minimum(ground.noise, 0.5 * usual)
    still: Mask = places.inside & (net < limit)
    kernel = places.disc(_CORE_MM)
    solid = np.where(places.inside, still, True).astype(np.uint8)  # beyond the wall nothing moves either
    core = (cv2.erode(solid, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=1) > 0) & places.inside
    opened = (cv2.dilate(core.astype(np.uint8), kernel) > 0) & still
    starved = _starved(opened, places)
    rim: Mask = places.inside & (net < _RIM * usual)
    patches = []
    for group in places.groups(opened):
        patch = _patch(group, rim, starved, mean, usual, ground, places)
        if patch is not None:
            patches.append(patch)
    return Stillness(starved=tuple(starved), patches=tuple(patches))


def _window_s(ground: Ground, places: Places) -> float:
    """Seconds in which chance visits nearly every place of the live part, from how often it visits one in a second."""
    alive = places.inside & ground.live
    if not alive.any():
        return _LONGEST_S
    energy = ground.energy[:, alive]
    usual = np.median(energy.mean(axis=0))
    visited = float(np.mean(energy > 0.3 * usual))
    rate = -np.log(max(1e-3, 1.0 - min(visited, 0.99)))
    return float(np.clip(_VISITS / rate, _SHORTEST_S + 1.0, _LONGEST_S))


def _usual(mean: Array, ground: Ground, places: Places) -> Array | None:
    """(rows, cols) energy that a fed place has there: of its zone's livelier half, or of the bed where the zone is still."""
    zones = len(places.bed.zones)
    own = np.full(zones, np.nan)
    for number in range(zones):
        here = places.inside & (places.zone == number)
        if here.sum() >= 12:
            own[number] = np.percentile(mean[here], 65) - ground.noise
    lively = own[own > _ABOVE_NOISE * ground.noise]
    if not len(lively):
        return None
    common = float(np.median(lively))
    level = np.where(np.isfinite(own), np.clip(own, 0.3 * common, 3.0 * common), common)
    return np.asarray(np.where(places.zone >= 0, level[places.zone], common), np.float64)


def _starved(still: Mask, places: Places) -> list[bool]:
    found = []
    for number in range(len(places.bed.zones)):
        here = places.inside & (places.zone == number)
        deep = here & (places.border_mm > _REACH_MM)
        if deep.sum() < 12:
            deep = here & (places.border_mm >= np.median(places.border_mm[here])) if here.any() else here
        found.append(bool(deep.any()) and float(still[deep].mean()) > _STARVED)
    return found


def _patch(
    group: Mask, rim: Mask, starved: list[bool], mean: Array, usual: Array, ground: Ground, places: Places
) -> Suspect | None:
    zones = np.bincount(places.zone[group], minlength=len(starved))
    poor = float(zones[np.array(starved)].sum()) if any(starved) else 0.0
    if poor > 0.75 * zones.sum():
        return None
    if poor and poor >= zones.sum() - _LEAST_MM2 / places.step_mm**2:
        return None
    if poor:  # what of it lies in a starved zone is that zone's air
        group = group & ~np.array(starved)[places.zone]
        core = cv2.erode(group.astype(np.uint8), places.disc(_CORE_MM)) > 0
        if not core.any():
            return None
    wide = (cv2.dilate(group.astype(np.uint8), places.disc(1.6 * places.step_mm + 4.0)) > 0) & rim
    if poor:
        wide &= ~np.array(starved)[np.maximum(places.zone, 0)]
    if places.area_mm2(wide) < _LEAST_MM2 or not _is_powder(wide, ground, places):
        return None
    x, y = places.middle(wide)
    return Suspect(
        kind=FaultKind.DEAD_SPOT,
        x_mm=x,
        y_mm=y,
        area_mm2=places.area_mm2(wide),
        zone=places.zone_at(wide),
        since_s=_fell_still(group, usual, ground),
        strength=float(np.log(max(1e-3, mean[group].mean() / usual[group].mean()))),
        group=wide,
    )


def _is_powder(group: Mask, ground: Ground, places: Places) -> bool:
    """Whether it looks like the powder around it: not clipped, not much darker or brighter."""
    grey = ground.grey[group]
    if float(np.mean(grey > _WHITE)) > 0.3 or not float(np.mean(ground.known[group])) > 0.5:
        return False
    ring = (cv2.dilate(group.astype(np.uint8), places.disc(22.0)) > 0) & ~group & places.inside
    if ring.sum() < 8:
        return True
    return bool(abs(np.log(max(1.0, float(np.median(grey))) / max(1.0, float(np.median(ground.grey[ring]))))) < _OTHER)


def _fell_still(group: Mask, usual: Array, ground: Ground) -> float:
    """The end of the last slab in which the patch was alive."""
    series = ground.energy[:, group].mean(axis=1) - ground.noise
    alive = np.flatnonzero(series > 0.25 * float(usual[group].mean()))
    return float(ground.start_s[0] if not len(alive) else ground.end_s[alive[-1]])
