"""Dead patches: places that stand still while the bed around them moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.types import FaultKind
from bedwatch.middle import middle, percentile
from bedwatch.motion.gliding import GLIDES
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import grow, median3, shrink

# Still: below this share of what the fed part of the bed does around it, noise taken out; less where noise must be guessed. Its
# rim lies at half.
_STILL, _STILL_GROWTH, _RIM = 0.10, 0.2, 0.42
_NOISE_DOUBT = 0.35
# So much above noise the bed must be for stillness to show at all.
_ABOVE_NOISE = 3.0
# The noise first guessed may be too small by this; rounding to grey levels gives at least so much (per cent squared times grey
# levels squared).
_NOISE_AT_MOST, _ROUNDING = 5.0, 450.0
# In a bed that glides over this share of its area a place is still that glides this much less than usual; at the wall there is
# too little to see.
_MOSTLY, _STILL_GLIDE, _CLEAR_MM, _TORN = 0.5, 0.45, 26.0, 2.5
# What is left of noise in the growth is its scatter, over some fifty looks at a place: this part of it.
_SCATTER = 0.3
# So much of the change must come after the first frame for its growth to tell.
_OUTLASTS = 0.6
# Where noise is more than this share of what a fed place does, nobody can tell.
_SURE = 0.3
# A patch must hold a disc of this radius; a gap between eruptions does not.
_CORE_MM = 8.0
_LEAST_MM2 = 300.0
# The wall holds the powder beside it; a patch there reaches further in than that.
_DEPTH_MM = 18.0
_WALL_STEP_MM, _WALL_STEPS = 6.0, 6
# Chance that a place of a fed bed has not been visited in the window: e to the minus this.
_VISITS = 4.5
_SHORTEST_S, _LONGEST_S = 7.0, 30.0
# A zone whose interior, out of its neighbours' reach, is still by this share gets too little air itself.
_STARVED, _REACH_MM = 0.62, 20.0
_PATCH, _LIVELY, _MOVES = 0.2, 0.4, 0.3
# So does one that does not move, by the measure that tells motion from noise, where its still places leave it free to; and one
# whose livelier half does less than this part of what the calmest zone does that moves all over.
_MOVING, _FREE = 0.55, 0.25
_ALL_OVER, _FAINT = 0.9, 0.35
# What is darker or brighter than its surroundings by this much (natural logarithm) is not the bed's powder: a thing lying there,
# a glint. Clipped white shows nothing.
_OTHER = 0.3
_HALO_MM, _TAKES = 8.0, 0.06
_WHITE = 249.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """What stands still. starved: (zones,) whether the zone as a whole does. patches: the dead patches elsewhere. others: (rows,
    cols) still places that show no powder: things lying there, glare. alive: (zones,) share of a zone's powder that does not
    stand still, where such things or patches take up a part of it; NaN elsewhere."""

    starved: tuple[bool, ...]
    patches: tuple[Suspect, ...]
    others: Mask
    alive: tuple[float, ...]


def find_still(ground: Ground, places: Places) -> Stillness:
    """Dead patches over the last seconds, as many as it takes for chance to have visited every place."""
    others = np.zeros(places.inside.shape, np.bool_)
    count = len(places.bed.zones)
    none = Stillness(starved=(False,) * count, patches=(), others=others, alive=(math.nan,) * count)
    seen_s = ground.seen_s
    window_s = _window_s(ground, places)
    if seen_s < min(_SHORTEST_S, 0.95 * window_s) or seen_s < 0.8 * window_s:
        return none
    grows = _outlasts(ground, places, window_s)
    each = ground.growth if grows else ground.energy
    mean = median3(mean_over(ground, each, window_s))
    noise = _noise(mean, ground, places, _SCATTER if grows else _NOISE_AT_MOST)
    usual: Array | None = _usual(mean, noise, places)
    smooth = places.inside & (places.wall_mm > _CLEAR_MM)
    if float(np.mean(ground.glide[smooth] > GLIDES)) > _MOSTLY:
        # No bubbles anywhere: what does not glide stands still, however little it takes to show.
        mean = np.asarray(ground.glide, np.float64)
        usual = np.full(mean.shape, middle(mean[smooth]))
        torn = mean_over(ground, ground.energy, window_s)
        net = np.where(smooth & (torn < _TORN * middle(torn[smooth])), mean, usual)
        limit = _STILL_GLIDE * usual
        noise = np.zeros(mean.shape)
    elif usual is None:
        return none
    else:
        net = np.maximum(mean - noise, 0.0)
        usual = usual * _by_the_wall(net, usual, places)
        limit = (_STILL_GROWTH if grows else _STILL) * usual + _NOISE_DOUBT * np.minimum(noise, 0.5 * usual)
    still: Mask = places.inside & (net < limit) & (noise < _SURE * usual)
    kernel = places.disc(_CORE_MM)
    solid = np.where(places.inside, still, True)  # beyond the wall nothing moves either
    core = shrink(solid, kernel) & places.inside
    opened = grow(core, kernel) & still
    asleep = _asleep(opened, net, ground, places)
    starved = [a or b for a, b in zip(_starved(opened, net / usual, places), asleep, strict=True)]
    rim: Mask = places.inside & (net < _RIM * usual)
    patches = []
    for group in places.groups(opened):
        wide = _whole(group, rim, starved, places)
        if wide is None:
            continue
        if _is_powder(group, ground, places):
            patches.append(_patch(group, wide, mean, usual, each, ground, places))
        else:
            others |= wide
    others = others | (grow(others, places.disc(_HALO_MM)) & places.inside)
    alive = _alive(net > _MOVES * usual, others, patches, places)
    alive = tuple(math.nan if zone else share for zone, share in zip(asleep, alive, strict=True))
    return Stillness(starved=tuple(starved), patches=tuple(patches), others=others, alive=alive)


def _outlasts(ground: Ground, places: Places, window_s: float) -> bool:
    """Whether the bed's pattern outlasts a frame, so that stillness shows by how much the change grows with time: the camera's
    noise, rounding and coding change a still place as much after one frame as after eight."""
    growth, energy = (middle(mean_over(ground, of, window_s)[places.inside]) for of in (ground.growth, ground.energy))
    return growth > _OUTLASTS * (energy - ground.noise)


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


def _noise(mean: Array, ground: Ground, places: Places, at_most: float) -> Array:
    """(rows, cols) energy that noise gives a place: what the quietest places do, if that can be noise at all, but never less than
    rounding does. In grey levels it is alike all over the bed."""
    grey2 = np.maximum(ground.grey, 4.0) ** 2
    inside = places.inside
    quiet = min(percentile((mean * grey2)[inside], 4), at_most * ground.noise * middle(grey2[inside]))
    return np.asarray(np.maximum(quiet, _ROUNDING) / grey2, np.float64)


def _usual(mean: Array, noise: Array, places: Places) -> Array | None:
    """(rows, cols) energy that a fed place has there: of its zone's livelier half, or of the bed where the zone is still."""
    zones = len(places.bed.zones)
    own, level = np.full(zones, np.nan), np.full(zones, np.nan)
    for number in range(zones):
        here = places.inside & (places.zone == number)
        if here.sum() >= 12:
            own[number] = percentile((mean - noise)[here], 65)
            level[number] = middle(noise[here])
    lively = own[own > _ABOVE_NOISE * level]
    if not len(lively):
        return None
    common = middle(lively)
    of_zone = np.where(np.isfinite(own), np.clip(own, 0.3 * common, 3.0 * common), common)
    return np.asarray(np.where(places.zone >= 0, of_zone[places.zone], common), np.float64)


def _by_the_wall(net: Array, usual: Array, places: Places) -> Array:
    """(rows, cols) what the bed does near its wall, as a share of what it does further in: the wall drags, shades and hides."""
    steps = np.clip(places.wall_mm / _WALL_STEP_MM, 0, None).astype(np.intp)
    share = np.ones(places.inside.shape)
    for step in range(_WALL_STEPS):
        here = places.inside & (steps == step)
        if here.any():
            share[here] = np.clip(middle(net[here] / usual[here]), 0.1, 1.0)
    return share


def _starved(still: Mask, share: Array, places: Places) -> list[bool]:
    """Which zones stand still as a whole. share: (rows, cols) of what a fed place does there."""
    halo = grow(still, places.disc(_HALO_MM))
    found = []
    for number in range(len(places.bed.zones)):
        here = places.inside & (places.zone == number)
        deep = here & (places.border_mm > _REACH_MM)
        if deep.sum() < 12:
            deep = here & (places.border_mm >= middle(places.border_mm[here])) if here.any() else here
        part = float(still[deep].mean()) if deep.any() else 0.0
        rest = deep & ~halo
        # A patch leaves the rest of its zone as lively as ever.
        poor = part > _PATCH and (not rest.any() or middle(share[rest]) < _LIVELY)
        found.append(part > _STARVED or poor)
    return found


def _asleep(still: Mask, net: Array, ground: Ground, places: Places) -> list[bool]:
    """Which zones hardly move, though what is left of them without the still places should. net: energy, noise taken out."""
    free = places.inside & ~grow(still, places.disc(_HALO_MM))
    whole, rest = places.live_shares(ground), places.live_shares(ground, free)
    strong = np.full(len(whole), np.nan)
    for number in range(len(whole)):
        here = places.inside & (places.zone == number)
        if here.sum() < 12:
            continue
        strong[number] = percentile(net[here], 65)
        if float(free[here].mean()) > _FREE:
            whole[number] = rest[number]
    moving = strong[whole > _ALL_OVER]
    least = _FAINT * float(moving.min()) if len(moving) else -np.inf
    return [bool(share < _MOVING or own < least) for share, own in zip(whole, strong, strict=True)]


def _alive(moves: Mask, others: Mask, patches: list[Suspect], places: Places) -> tuple[float, ...]:
    taken = others.copy()
    for patch in patches:
        taken |= grow(patch.group, places.disc(_HALO_MM))
    found = []
    for number in range(len(places.bed.zones)):
        here = places.inside & (places.zone == number)
        free = here & ~taken & (places.border_mm > _REACH_MM / 2)
        little = not here.any() or float(taken[here].mean()) < _TAKES or free.sum() < 20
        found.append(math.nan if little else float(moves[free].mean()))
    return tuple(found)


def _whole(group: Mask, rim: Mask, starved: list[bool], places: Places) -> Mask | None:
    """The group out to its rim, without what is a starved zone's air; None if too little of it is left."""
    poor: Mask = np.array(starved)[np.maximum(places.zone, 0)]
    share = float(poor[group].mean())
    if share > 0.75 or (share > 0 and places.area_mm2(group & ~poor) < _LEAST_MM2):
        return None
    if share > 0:
        group = group & ~poor
        if not shrink(group, places.disc(_CORE_MM)).any():
            return None
    wide: Mask = grow(group, places.disc(1.6 * places.step_mm + 4.0)) & rim
    if share > 0:
        wide &= ~poor
    if float(places.wall_mm[wide].max(initial=0.0)) < _DEPTH_MM:
        return None
    return wide if places.area_mm2(wide) >= _LEAST_MM2 else None


def _patch(group: Mask, wide: Mask, mean: Array, usual: Array, each: Array, ground: Ground, places: Places) -> Suspect:
    x, y = places.middle(wide)
    return Suspect(
        kind=FaultKind.DEAD_SPOT,
        x_mm=x,
        y_mm=y,
        area_mm2=places.area_mm2(wide),
        zone=places.zone_at(wide),
        since_s=_fell_still(group, usual, each, ground),
        strength=float(np.log(max(1e-3, mean[group].mean() / usual[group].mean()))),
        group=wide,
    )


def _is_powder(group: Mask, ground: Ground, places: Places) -> bool:
    """Whether it looks like the powder around it: not clipped, not much darker or brighter."""
    grey = ground.grey[group]
    if float(np.mean(grey > _WHITE)) > 0.3 or not float(np.mean(ground.known[group])) > 0.5:
        return False
    clear = grow(group, places.disc(12.0))
    ring = grow(group, places.disc(30.0)) & ~clear & places.inside
    if ring.sum() < 8:
        return True
    return bool(abs(np.log(max(1.0, middle(grey)) / max(1.0, middle(ground.grey[ring])))) < _OTHER)


def _fell_still(group: Mask, usual: Array, each: Array, ground: Ground) -> float:
    """The end of the last slab in which the patch was alive."""
    series = each[:, group].mean(axis=1) - ground.noise
    alive = np.flatnonzero(series > 0.25 * float(usual[group].mean()))
    return float(ground.start_s[0] if not len(alive) else ground.end_s[alive[-1]])
