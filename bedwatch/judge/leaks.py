"""Rim leaks: air that runs up the wall over part of its length."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed import Bed
from bedwatch.judge.busy import Busy, quickly
from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.judge.suspect import Suspect
from bedwatch.judge.types import FaultKind
from bedwatch.middle import middle
from bedwatch.motion.ground import Ground

_WINDOW_S = 8.0
# The strip along the wall against the powder further in, in pieces along the wall.
_STRIP_MM, _WITHIN_MM = 13.0, (24.0, 48.0)
_PIECE_MM = 10.0
# A leak: the strip is busier than further in by this (logarithm of energy), and more so than along the rest of the wall. Shares
# of such a lead over the rest, of so many sigmas of the wall's own scatter and of steadiness, second by second, are added up.
_ABOVE_WITHIN, _EDGE = 0.2, 0.4
_ABOVE_REST, _SIGMAS, _STEADY, _MOST_STEADY = 0.65, 4.2, 8.0, 12.0
_ENOUGH = 3.2
# It reaches over this length at least and this share of the wall at most.
_LEAST_MM, _MOST_SHARE = 32.0, 0.5
_SLACK = 0.75
# Where the powder further in stands still it outdoes that by far.
_SETTLED, _SETTLED_LEAD = 0.5, 2.5
_ABOVE_NOISE = 12.0
_NOW_S, _NOW_SHARE = 4.0, 0.3  # also over the last seconds
_INSET_MM = 8.0


class Wall:
    """The wall of one bed cut into pieces: which places lie before each, in the strip and further in."""

    def __init__(self, places: Places) -> None:
        along, self.length_mm = _along_wall(places.bed, places.x_mm, places.y_mm)
        self.count = max(8, round(self.length_mm / _PIECE_MM))
        piece = np.floor(along / self.length_mm * self.count).astype(np.intp) % self.count
        self.strip: Mask = places.inside & (places.wall_mm < _STRIP_MM)
        self.within: Mask = places.inside & (places.wall_mm > _WITHIN_MM[0]) & (places.wall_mm < _WITHIN_MM[1])
        self.piece: NDArray[np.intp] = piece

    def along(self, run: NDArray[np.intp]) -> Mask:
        """The places that lie along a run of pieces, however far in."""
        here = np.zeros(self.count, np.bool_)
        here[run] = True
        return np.asarray(here[self.piece], np.bool_)

    def mean(self, values: Array, mask: Mask) -> Array:
        """(pieces,) mean of values over the mask, NaN where it has no place; smoothed over three pieces."""
        weight = np.bincount(self.piece[mask], minlength=self.count).astype(np.float64)
        total = np.bincount(self.piece[mask], values[mask], minlength=self.count)
        weight = weight + np.roll(weight, 1) + np.roll(weight, -1)
        total = total + np.roll(total, 1) + np.roll(total, -1)
        return np.where(weight > 0, total / np.maximum(weight, 1), np.nan)


def find_leaks(ground: Ground, places: Places, wall: Wall, known: list[Suspect]) -> list[Suspect]:
    """Stretches of wall along which powder runs up. known: leaks told before, which may be weaker now."""
    busy = quickly(ground)
    quick = busy.over(_WINDOW_S)
    strip, within = wall.mean(quick, wall.strip), wall.mean(quick, wall.within)
    # Powder further in that stands still is another fault; the strip must outdo its zone as well.
    medians = places.zone_medians(quick)
    zone = wall.mean(np.where(places.zone >= 0, np.nan_to_num(medians, nan=-9.0)[places.zone], -9.0), wall.strip)
    lead = strip - np.fmax(within, zone)
    usable = np.isfinite(lead)
    if usable.sum() < 0.4 * wall.count:
        return []
    usual = middle(lead[usable])
    spread = max(0.12, 1.4826 * middle(np.abs(lead[usable] - usual)))
    slack = _SLACK if known else 1.0
    found = []
    for run in _runs(usable & (lead > 0.0) & (lead - usual > _EDGE * slack)):
        if not _LEAST_MM <= len(run) * wall.length_mm / wall.count <= _MOST_SHARE * wall.length_mm:
            continue
        strength = float(np.nanmax(lead[run]))
        more = strength - usual
        along = wall.along(run)
        steady = busy.steadiness(wall.strip & along, wall.strip & ~along, _WINDOW_S)
        enough = more / _ABOVE_REST + more / (_SIGMAS * spread) + min(steady, _MOST_STEADY) / _STEADY >= slack * _ENOUGH
        leak = _leak(run, strength, busy, ground, places, wall) if enough else None
        if leak is not None and strength > slack * _ABOVE_WITHIN:
            found.append(leak)
    return found


def _leak(
    run: NDArray[np.intp], strength: float, quick: Busy, ground: Ground, places: Places, wall: Wall
) -> Suspect | None:
    """The leak along a stretch of wall, if it is one."""
    along = wall.along(run)
    group = wall.strip & along
    busy = float(mean_over(ground, ground.busy, _WINDOW_S)[group].max())
    if math.exp(busy) - ground.floor < _ABOVE_NOISE * ground.noise or not ground.live[group].any():
        return None
    within = wall.within & along
    if strength < _SETTLED_LEAD and within.any() and float(ground.live[within].mean()) < _SETTLED:
        return None
    series, inner = quick.series(group), quick.series(within)
    if float(np.mean((series - inner)[ground.recent(_NOW_S)])) < _NOW_SHARE * strength:
        return None
    x, y = _wall_point(places.bed, (run[0] + len(run) / 2) % wall.count / wall.count * wall.length_mm)
    calm = np.flatnonzero(series - inner < 0.4 * strength)
    return Suspect(
        kind=FaultKind.RIM_LEAK,
        x_mm=x,
        y_mm=y,
        area_mm2=places.area_mm2(group),
        zone=places.zone_at(group),
        since_s=float(ground.start_s[0] if not len(calm) else ground.end_s[calm[-1]]),
        strength=strength,
        group=group,
    )


def _runs(marked: Mask) -> list[NDArray[np.intp]]:
    """Unbroken stretches round a closed ring."""
    if marked.all():
        return [np.arange(len(marked))]
    start = int(np.flatnonzero(~marked)[0])
    order = (np.arange(len(marked)) + start) % len(marked)
    runs, now = [], []
    for piece in order:
        if marked[piece]:
            now.append(piece)
        elif now:
            runs.append(np.array(now, np.intp))
            now = []
    return [*runs, np.array(now, np.intp)] if now else runs


def _along_wall(bed: Bed, x: Array, y: Array) -> tuple[Array, float]:
    """How far along the wall, clockwise from 12 o'clock (or from the corner at -x, +y), the wall nearest to each point lies."""
    if bed.shape == "round":
        length = math.pi * bed.width_mm
        return np.asarray(np.arctan2(x, y) / (2 * math.pi) % 1.0 * length, np.float64), length
    w, h = bed.width_mm, bed.length_mm
    gaps = np.stack([h / 2 - y, w / 2 - x, h / 2 + y, w / 2 + x])
    side = gaps.argmin(axis=0)
    places = np.stack([x + w / 2, w + (h / 2 - y), w + h + (w / 2 - x), 2 * w + h + (y + h / 2)])
    length = 2 * (w + h)
    return np.asarray(np.take_along_axis(places, side[None], 0)[0] % length, np.float64), length


def _wall_point(bed: Bed, along_mm: float) -> tuple[float, float]:
    """The point _INSET_MM inside the wall, so far along it."""
    if bed.shape == "round":
        way, out = 2 * along_mm / bed.width_mm, bed.width_mm / 2 - _INSET_MM
        return out * math.sin(way), out * math.cos(way)
    w, h = bed.width_mm, bed.length_mm
    if along_mm < w:
        return along_mm - w / 2, h / 2 - _INSET_MM
    if along_mm < w + h:
        return w / 2 - _INSET_MM, h / 2 - (along_mm - w)
    if along_mm < 2 * w + h:
        return w / 2 - (along_mm - w - h), -h / 2 + _INSET_MM
    return -w / 2 + _INSET_MM, along_mm - 2 * w - h - h / 2
