"""A look at something that turns: measured as a bed is, but not judged, since all of it moves alike."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import chain

import numpy as np

from bedwatch.aim.cards.disc_find import find_turning
from bedwatch.aim.finding.search import find_bed
from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim, NotFound
from bedwatch.bed import Bed, make_cells
from bedwatch.commands.looks import first_look
from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Picture
from bedwatch.frames.open import open_source
from bedwatch.motion.bed_meter import bed_meter
from bedwatch.motion.field import MotionField
from bedwatch.motion.meter import MotionMeter

WINDOW_S = 10.0
_LEAST_S = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """speeds_mm_s: by zone, mean over the windows of ten seconds, and its standard error; NaN where not known."""

    speeds_mm_s: tuple[tuple[float, float], ...]
    frames_per_s: float


def look_at_turning(source: str, bed: Bed, aim: Aim | None, live_s: float, rate: float | None) -> Turned | NotFound:
    """Looks at a file to its end, at a live source for so long.

    Raises UserError when less than three seconds were seen, or the aim does not fit.
    """
    with closing(open_source(source, rate)) as frames:
        stream = iter(frames)
        kept: list[Frame] = []
        if aim is None:
            found = _find(stream, bed, kept)
            if isinstance(found, NotFound):
                return found
            aim = found
        seen = _measured(chain(kept, stream), bed, aim, live_s if frames.live else math.inf)
        for note in frames.notes:
            print(f"bedwatch: {note}", file=sys.stderr, flush=True)
    if not seen:
        raise UserError(f"{source}: found less than {_LEAST_S:g} s of pictures, expected 10 s or more")
    speeds = np.array([field.zones.speed_mm_s for field in seen]).mean(axis=0)
    errors = np.array([field.zones.speed_error_mm_s for field in seen]).mean(axis=0)
    return Turned(
        speeds_mm_s=tuple(zip(speeds.tolist(), errors.tolist(), strict=True)),
        frames_per_s=min(field.frames_per_s for field in seen),
    )


def _find(stream: Iterator[Frame], bed: Bed, kept: list[Frame]) -> Aim | NotFound:
    def noted() -> Iterator[Frame]:
        for frame in stream:
            kept.append(frame)
            yield frame

    pictures: list[Picture] = list(first_look(noted()).pictures)
    if not pictures:
        return NotFound(reason="there was no picture to look for it in", advice="Check the source.")
    # A disc by itself has no wall to be found by; a tub in which something turns has.
    return find_turning(pictures, bed.width_mm) if bed.surface_below_rim_mm == 0 else find_bed(pictures, bed)


def _measured(frames: Iterator[Frame], bed: Bed, aim: Aim, most_s: float) -> list[MotionField]:
    meter: MotionMeter | None = None
    rectifier: Rectifier | None = None
    seen: list[MotionField] = []
    began_s = now_s = 0.0
    for frame in frames:
        if frame.repeated:
            continue
        if meter is None or rectifier is None:
            size_px = (frame.picture.shape[1], frame.picture.shape[0])
            try:
                rectifier = Rectifier(aim, bed, size_px)
            except ValueError as error:
                raise UserError(f"the aim does not fit these pictures: {error}; aim again") from error
            meter, began_s = bed_meter(rectifier, bed, make_cells(bed), aim), frame.time_s
        now_s = frame.time_s
        meter.add(rectifier.rectify(frame.picture), now_s)
        if now_s - began_s >= WINDOW_S:
            seen += _field(meter)
            meter.forget()
            began_s = now_s
        if now_s >= most_s:
            break
    if meter is not None and now_s - began_s >= (_LEAST_S if not seen else WINDOW_S / 2):
        seen += _field(meter)
    return seen


def _field(meter: MotionMeter) -> list[MotionField]:
    field = meter.field()
    return [] if field is None else [field]


__all__ = ["look_at_turning"]
