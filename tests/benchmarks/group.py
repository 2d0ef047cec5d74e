"""What every group of figures has in common: jobs, a way to run one, rows of the table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bedwatch.aim.outline import mm_per_px, outline_of
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame
from bedwatch.judge.types import Reading
from bedwatch.sim import MadeSource
from bedwatch.watch import End, Watch

JPEG_QUALITY = 90  # what a webcam that sends MJPEG does to its pictures


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table. met: whether the figure is what was asked; None where nothing was."""

    figure: str
    asked: str
    reached: str
    met: bool | None = None
    note: str = ""
    failures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Figures that come from the same runs.

    jobs: what is to be run, fewer with quick=True. run: one job in a process of its own. rows: results in the order of
    the jobs to rows. words: what the progress bar says. alone: nothing else may run beside it, since it measures cost.
    section: what several groups are known by together.
    """

    name: str
    jobs: Callable[[bool], Sequence[Any]]
    run: Callable[[Any], Any]
    rows: Callable[[Sequence[Any]], list[Row]]
    words: str
    alone: bool = False
    section: str = ""


def as_webcam(frames: Iterable[Frame], quality: int = JPEG_QUALITY) -> Iterator[Frame]:
    """The same frames with their pictures through JPEG and back."""
    for frame in frames:
        _, data = cv2.imencode(".jpg", frame.picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        picture = np.asarray(cv2.imdecode(data, cv2.IMREAD_UNCHANGED), np.uint8)
        picture.setflags(write=False)
        yield replace(frame, picture=picture)


def follow(
    source: MadeSource, bed: Bed, aim: Aim | None = None, beside: Callable[[Frame], None] | None = None
) -> tuple[Watch, list[Reading]]:
    """Watch a source to its end, as the command does; the watch and its readings. beside: is given every frame too."""
    cv2.setNumThreads(1)
    watch = Watch(bed, aim)
    readings = []
    for frame in as_webcam(source):
        reading = watch.step(frame)
        if beside is not None:
            beside(frame)
        if reading is not None:
            readings.append(reading)
        if watch.not_found is not None:
            return watch, readings
    last = watch.step(End())
    return watch, [*readings, *([] if last is None else [last])]


def true_aim(source: MadeSource, bed: Bed) -> Aim:
    """Where the bed really is, for figures that are not about aiming."""
    homography = source.truth.bed_to_picture
    return Aim(
        surface=outline_of(homography, bed),
        rim=None,
        bed_to_picture=homography,
        mm_per_px=mm_per_px(homography),
        size_px=source.size_px,
        error_mm=0.5,
    )
