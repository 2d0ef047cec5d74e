"""Which pixels of the real picture colour and mains light are read from, once it is known where the bed is."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.bed.zones import wall_distance
from bedwatch.motion.beside import SECTORS, Beside
from bedwatch.motion.hue import PER_BLOCK, Hue
from bedwatch.motion.mains import COLUMNS, ROWS, RowLight

CLEAR_MM = 4.0  # so far from the powder stands what is still
_BESIDE_MM, _BESIDE_EVERY_MM = (8.0, 48.0), 5.0  # a strip round the bed, looked at in places so far apart


def row_light_of(aim: Aim, bed: Bed, size_px: tuple[int, int], rectifier: Rectifier) -> RowLight:
    """What reads the light of each row, from the surroundings of the powder."""
    width, height = size_px
    u, v = (
        np.rint(np.linspace(0, side - 1, count)).astype(np.intp) for side, count in ((width, COLUMNS), (height, ROWS))
    )
    at_px = np.stack(np.meshgrid(u, v), axis=-1)
    places = aim.places(at_px.reshape(-1, 2).astype(np.float64))
    still = (wall_distance(bed, places) < -CLEAR_MM) | ~np.isfinite(places).all(axis=1)
    row_px = aim.pixels(rectifier.xy_mm.reshape(-1, 2))[:, 1].reshape(rectifier.shape)
    return RowLight(at_px, still.reshape(at_px.shape[:2]), row_px)


def hue_of(aim: Aim, size_px: tuple[int, int], rectifier: Rectifier, blocks: tuple[int, int]) -> Hue:
    """What reads the colour of so many blocks (across, down) of the rectified grid."""
    rows, cols = (
        ((np.arange(PER_BLOCK * count) + 0.5) / (PER_BLOCK * count) * side).astype(np.intp)
        for count, side in ((blocks[1], rectifier.shape[0]), (blocks[0], rectifier.shape[1]))
    )
    places = rectifier.xy_mm[rows][:, cols]
    pixels = aim.pixels(places.reshape(-1, 2))
    whole = np.rint(np.nan_to_num(np.clip(pixels, 0, np.array(size_px) - 1))).astype(np.intp)
    return Hue(whole.reshape(places.shape))


def beside_of(aim: Aim, bed: Bed, size_px: tuple[int, int]) -> Beside:
    """What watches the surroundings, in a strip along the wall as far as it is in the picture."""
    reach = _BESIDE_MM[1]
    x, y = np.meshgrid(
        np.arange(-bed.width_mm / 2 - reach, bed.width_mm / 2 + reach, _BESIDE_EVERY_MM),
        np.arange(-bed.length_mm / 2 - reach, bed.length_mm / 2 + reach, _BESIDE_EVERY_MM),
    )
    places = np.column_stack([x.ravel(), y.ravel()])
    gap = -wall_distance(bed, places)
    places = places[(gap > _BESIDE_MM[0]) & (gap < reach)]
    pixels = aim.pixels(places)
    inside = np.isfinite(pixels).all(axis=1) & (pixels >= 0).all(axis=1) & (pixels <= np.array(size_px) - 1).all(axis=1)
    turn = np.arctan2(places[inside, 1], places[inside, 0]) / (2 * np.pi) % 1.0
    return Beside(np.rint(pixels[inside]), np.minimum((turn * SECTORS).astype(np.intp), SECTORS - 1))
