"""How far the places of a bed stand out of their surroundings, in how busy they are and in how hastily they change."""

from __future__ import annotations

import numpy as np

from bedwatch.judge.places import Array, Mask, Places, mean_over
from bedwatch.motion.ground import Ground
from bedwatch.motion.maps import disc_mean

_LEAST_SPREAD, _MOST_SPREAD = 0.14, 0.5
_LEAST_SPREAD_HASTE = 0.08
_ENOUGH_LIVE = 0.25  # share of the bed that must be live for it to show its own scatter
_CLEAR_OF_WALL_MM = 11.0
# Haste is a ratio of two small numbers where little happens; so much above noise the change over the longer time must be.
_ABOVE_NOISE = 12.0
# It is also where much less happens than around, as on the rim of a dead patch: logarithm of energy.
_MUCH_LESS = 0.9
# An eruption of a plume is about so wide; haste is meant over that.
_DISC_MM = 9.0


class Rises:
    """How far each place stands out in one measure over one window; arrays (rows, cols).

    value: the measure, NaN where it is not known. medians: (zones,) of it. level: the surroundings, the zone and zones near by,
    whichever is most. rise: above that. spread: the bed's own scatter; infinite where too little of it is live to show one.
    """

    def __init__(self, value: Array, places: Places, among: Mask, lively: Mask, least_spread: float) -> None:
        """among: the places that are read. lively: those that move, by which others are measured."""
        told = among & lively & (places.wall_mm > _CLEAR_OF_WALL_MM)
        self.value = value
        self.medians = places.zone_medians(value, among)
        around = places.around(value, among & lively)
        level = around
        for number, median in enumerate(self.medians):
            if np.isfinite(median):
                level = np.where(places.beside[number], np.fmax(level, median), level)
        self.level = level
        self.rise: Array = np.where(among, value - level, np.nan)
        self.spread = least_spread
        self.shows = told.sum() > _ENOUGH_LIVE * places.inside.sum()
        if self.shows:
            plain = value[told] - around[told]
            plain = plain[np.isfinite(plain)]
            spread = 1.4826 * float(np.median(np.abs(plain - np.median(plain)))) if plain.size else _MOST_SPREAD
            self.spread = float(np.clip(spread, least_spread, _MOST_SPREAD))


def busy_rises(ground: Ground, places: Places, seconds: float) -> Rises:
    """By the mean logarithm of energy: what a place is like most of the time."""
    return Rises(mean_over(ground, ground.busy, seconds), places, places.inside, ground.live, _LEAST_SPREAD)


def haste_rises(ground: Ground, places: Places, seconds: float) -> Rises:
    """By haste: which part of what changes within a quarter of a second has changed after one frame already.

    In a lively bed every place is another one after a quarter of a second, the plume's like all others, so that the energy of
    change is alike all over; but a plume's pattern is gone at once. A ratio, free of contrast and light.
    """
    quick, slow = (np.exp(mean_over(ground, of, seconds)) for of in (ground.quick, ground.slow))
    told = places.inside & ground.live & (places.wall_mm > _CLEAR_OF_WALL_MM)
    told &= slow - ground.floor > _ABOVE_NOISE * ground.noise
    if told.any():
        told &= np.log(slow) > np.nan_to_num(places.around(np.log(slow), told), nan=np.inf) - _MUCH_LESS
    haste = disc_mean(haste_of(quick, slow, ground), told, places.disc(_DISC_MM))
    return Rises(haste, places, told, told, _LEAST_SPREAD_HASTE)


def haste_of(quick: Array, slow: Array, ground: Ground) -> Array:
    """Logarithm of the share, noise taken out. quick, slow: usual energies over one frame and over eight."""
    noise = ground.noise
    least = max(noise, 1e-6)
    return np.asarray(
        np.log(np.maximum(quick - noise, 0.2 * least)) - np.log(np.maximum(slow - noise, least)), np.float64
    )
