"""The mean of the last steady part of some readings, with its error and how well it would repeat."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Literal

from bedwatch.judge.setting import Measured
from bedwatch.judge.types import BedReading, Reading, State, ZoneReading

# A reading looks back over about so long; readings nearer to each other share most of what they saw.
WINDOW_S = 10.0
# More than this tells nothing of the bed as it is now: powder turns over once in about a minute or two (common
# practice, no source).
MOST_S = 120.0
# Readings farther apart than this are not one look: pictures were missing, or it was another run.
GAP_S = 3.0
# One window differs from the next by this share in speed and this much in live share and evenness, though nothing was
# changed: what make-believe beds of 1.5 to 3 times the minimum scatter by, rounded up.
WINDOW_SPEED = 0.025
WINDOW_SHARE = 0.01
# Of the signs of eruptions: restlessness by so much, their length by this share.
WINDOW_RESTLESS, WINDOW_LENGTH = 0.17, 0.02
# A bed whose speed was so much another one has been changed since.
ANOTHER_SPEED = 0.12
_CHANGED_AT_ONCE = 2.5  # mm/s: a bed that hardly moves does not change by scattering


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneMean:
    """One zone over the steady part. restless, length_mm: as in `Signs`."""

    zone: str
    live: Measured
    speed_mm_s: Measured
    evenness: Measured
    restless: Measured
    length_mm: Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """The last steady part. seen_s: source time it rests on, the first reading's own window counted in.

    last: its last reading, for all that has no mean.
    """

    seen_s: float
    last: Reading
    live: Measured
    speed_mm_s: Measured
    evenness: Measured
    zones: tuple[ZoneMean, ...]


def steady_part(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings at the end that belong to one undisturbed look at one state of the bed; empty when there are none.

    What comes after the last honest reading (a hand, no picture) is passed over; from there it goes back until the state
    is another one, the time jumps, or the bed was livelier or quieter than since.
    """
    found: list[Reading] = []
    sums: list[tuple[float, int]] = []
    for reading in reversed(readings):
        if reading.state is not State.READING:
            if found:
                break
            continue
        if found and not _goes_with(reading, found, sums):
            break
        before = sums or [(0.0, 0)] * len(reading.zones)
        sums = [_plus(one, zone.speed_mm_s) for one, zone in zip(before, reading.zones, strict=True)]
        found.append(reading)
    return tuple(reversed(found))


def _plus(total: tuple[float, int], speed_mm_s: float | None) -> tuple[float, int]:
    return total if speed_mm_s is None else (total[0] + speed_mm_s, total[1] + 1)


def _goes_with(reading: Reading, later: Sequence[Reading], sums: Sequence[tuple[float, int]]) -> bool:
    """Whether it is of the same look as the later ones (latest first), whose speeds are summed up by zone."""
    step_s = later[-1].time_s - reading.time_s
    if not 0.0 <= step_s <= GAP_S or later[0].time_s - reading.time_s > MOST_S:
        return False
    if [zone.zone for zone in reading.zones] != [zone.zone for zone in later[-1].zones]:
        return False
    for zone, (total, count) in zip(reading.zones, sums, strict=True):
        one, other = zone.speed_mm_s, total / count if count else None
        if one is None or other is None:
            if (one is None) != (other is None):
                return False
        elif abs(one - other) > max(ANOTHER_SPEED * max(one, other), _CHANGED_AT_ONCE):
            return False
    return True


def mean_of(readings: Sequence[Reading]) -> Steady | None:
    """The mean over the last steady part; None when there is no honest reading at all.

    A figure that is unknown in more than half of the readings stays unknown. Errors: a reading's own error is nearly all
    common to them (scale, what the method makes of this powder), so it does not shrink with their number; the
    scatter does, by the number of windows that share nothing.
    """
    part = steady_part(readings)
    if not part:
        return None
    # The first reading looked back as far as it could, of which the time before it is all we know.
    seen_s = part[-1].time_s - part[0].time_s + min(WINDOW_S, part[0].time_s)
    windows = max(1.0, seen_s / WINDOW_S)

    def bed(value: Callable[[BedReading], float | None], error: Callable[[BedReading], float | None]) -> Measured:
        return _measured([value(one.bed) for one in part], [error(one.bed) for one in part], windows)

    def zone(
        number: int, value: Callable[[ZoneReading], float | None], error: Callable[[ZoneReading], float | None]
    ) -> Measured:
        return _measured(
            [value(one.zones[number]) for one in part], [error(one.zones[number]) for one in part], windows
        )

    return Steady(
        seen_s=seen_s,
        last=part[-1],
        live=bed(lambda one: one.live, _no_error),
        speed_mm_s=bed(lambda one: one.speed_mm_s, lambda one: one.speed_error_mm_s),
        evenness=bed(lambda one: one.evenness, _no_error),
        zones=tuple(
            ZoneMean(
                zone=name.zone,
                live=zone(number, lambda one: one.live, _no_error),
                speed_mm_s=zone(number, lambda one: one.speed_mm_s, lambda one: one.speed_error_mm_s),
                evenness=zone(number, lambda one: one.evenness, _no_error),
                restless=_sign([one.zones[number] for one in part], "restless", windows),
                length_mm=_sign([one.zones[number] for one in part], "length_mm", windows),
            )
            for number, name in enumerate(part[-1].zones)
        ),
    )


def _no_error(_: object) -> float | None:
    return None


def _sign(zones: Sequence[ZoneReading], name: Literal["restless", "length_mm"], windows: float) -> Measured:
    values = [None if zone.signs is None else getattr(zone.signs, name) for zone in zones]
    usual = WINDOW_RESTLESS if name == "restless" else WINDOW_LENGTH * (_mean(values) or 0.0)
    return _measured(values, [], windows, usual)


def _measured(
    values: Sequence[float | None], errors: Sequence[float | None], windows: float, share: float = WINDOW_SHARE
) -> Measured:
    """share: by how much one window differs from the next where no errors are given."""
    mean = _mean(values)
    if mean is None or 2 * sum(value is not None for value in values) < len(values):
        return Measured()
    known = [value for value in values if value is not None]
    scatter = math.sqrt(fmean([(value - mean) ** 2 for value in known]))
    own = _mean(errors)
    usual = share if own is None else WINDOW_SPEED * mean
    repeat = max(usual, scatter) / math.sqrt(windows)
    return Measured(value=mean, error=math.hypot(own or 0.0, repeat), repeat=repeat)


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None and math.isfinite(value)]
    return fmean(known) if known else None


__all__ = ["WINDOW_S", "Steady", "ZoneMean", "mean_of", "steady_part"]
