"""The instrument for one bed as one aim shows it."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, Cells, cell_index, zone_index
from bedwatch.motion.meter import MotionMeter

_UNKNOWN_ERROR_MM = 1.5  # of places, where the aim does not tell
_LEAST_ERROR, _MOST_ERROR = 0.003, 0.1


def bed_meter(rectifier: Rectifier, bed: Bed, cells: Cells, aim: Aim) -> MotionMeter:
    """A meter that reads the cells and zones of the bed in what the rectifier lays flat."""
    visible = rectifier.visible
    xy = rectifier.xy_mm.reshape(-1, 2)
    return MotionMeter(
        visible=visible,
        step_mm=rectifier.step_mm,
        cell=cell_index(bed, cells, xy).reshape(visible.shape),
        zone=zone_index(bed, xy).reshape(visible.shape),
        cell_count=len(cells.zone),
        zone_count=len(bed.zones),
        position_error=_scale_error(aim, bed),
        place_error_mm=_place_error_mm(aim),
    )


def _place_error_mm(aim: Aim) -> float:
    return _UNKNOWN_ERROR_MM if aim.error_mm is None else aim.error_mm


def _scale_error(aim: Aim, bed: Bed) -> float:
    """Relative error of lengths, from the error of places at the wall."""
    return float(np.clip(_place_error_mm(aim) / (max(bed.width_mm, bed.length_mm) / 2), _LEAST_ERROR, _MOST_ERROR))
