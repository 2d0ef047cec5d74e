"""How far apart two looks at one bed are, zone by zone, with what can be said for sure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from bedwatch.judge.setting import Measured

# Zones are alike within 10 %: what air-balancing trades work to (common practice, no source).
ALIKE = 0.10
# What another place of the camera and another light do to the speed and live share of a bubbling zone though nothing in the
# bed was changed: on make-believe beds of 1.5 to 3 times the minimum, with the lamp on another side.
_SETUP_SPEED, _SETUP_LIVE = 0.04, 0.02
# By how much the logarithm of the apparent speed, restlessness, and the logarithm of the length change with that of
# what really moves, where zones erupt: light and shadow of the domes hardly quicken with the air. In between for
# renderers that share no code; known to a share.
SPEED_SAYS, RESTLESS_SAYS, LENGTH_SAYS, SAYS_SPREAD = 0.5, 4.0, 0.45, 0.3
_SETUP_EVENNESS = 0.02
# Below this a surface is as good as still, and a ratio of two such speeds says nothing.
STILL_MM_S = 3.0


class Zone(Protocol):
    """What both a zone of a setting and a zone's mean have."""

    @property
    def zone(self) -> str: ...
    @property
    def live(self) -> Measured: ...
    @property
    def speed_mm_s(self) -> Measured: ...
    @property
    def evenness(self) -> Measured: ...
    @property
    def restless(self) -> Measured: ...
    @property
    def length_mm(self) -> Measured: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Livelier:
    """How much more of a zone moves, as a logarithm; NaN when it cannot be told or one of the looks saw it still.

    again: the part of its standard error that another look at the same bed draws anew. fixed: the part that stays, from the
    look it is compared with and from another set-up of camera and light.
    """

    log: float
    again: float
    fixed: float

    @property
    def share(self) -> float:
        """0.2: a fifth more."""
        return math.expm1(self.log)

    @property
    def error(self) -> float:
        """Standard error of the share."""
        return math.exp(self.log) * math.hypot(self.again, self.fixed, SAYS_SPREAD * self.log)


@dataclass(frozen=True, slots=True, kw_only=True)
class Common:
    """How much livelier all zones are together: the mean logarithm and its standard error.

    alike: how likely it is that each of them is within ALIKE.
    """

    log: float
    error: float
    alike: float


class How(StrEnum):
    """One look against the other."""

    ALIKE = "alike"
    LIVELIER = "livelier"
    QUIETER = "quieter"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneApart:
    """One zone now against then.

    speed: share by which it is faster (0.2: a fifth faster), NaN when it cannot be told or one of them is still. live,
    evenness: differences. livelier: share by which more moves, from the speed and, where the zone erupts, from its restlessness;
    NaN as speed. Each with its standard error, for another set-up of camera and light too. sure: how likely it is that both
    livelier and the live share are within ALIKE; NaN when unknown.
    """

    zone: str
    how: How
    speed: float
    speed_error: float
    live: float
    live_error: float
    evenness: float
    evenness_error: float
    livelier: float
    livelier_error: float
    sure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """All zones. speed: the share by which they all are faster together as it appears, and its error, for another light too.
    livelier: by how much more of them moves, and its error. NaN when no zone can be told.

    sure: how likely it is that every zone is within ALIKE; NaN when one of them cannot be told.
    """

    zones: tuple[ZoneApart, ...]
    speed: float
    speed_error: float
    livelier: float
    livelier_error: float
    sure: float

    @property
    def alike(self) -> bool:
        """Whether every zone reads within ALIKE."""
        return all(zone.how is How.ALIKE for zone in self.zones)


def apart(now: Sequence[Zone], then: Sequence[Zone], believed: Sequence[Livelier], common: Common) -> Apart:
    """Now against then, both of the same zones in the same order. Raises ValueError when they are not.

    believed: how much livelier each zone is. common: how much all are of which that is known.
    """
    check_same(now, then)
    zones = tuple(_zone(one, other, more) for one, other, more in zip(now, then, believed, strict=True))
    known = [(zone.speed, zone.speed_error) for zone in zones if math.isfinite(zone.speed)]
    speed = speed_error = math.nan
    if known:
        # In logarithms, in which a zone half as fast weighs as much as one twice as fast.
        logs = [math.log1p(value) for value, _ in known]
        speed = math.expm1(sum(logs) / len(logs))
        own = math.sqrt(sum((error / (1 + value)) ** 2 for value, error in known)) / len(known)
        # Another light moves all zones together by about as much as it moves one.
        speed_error = (1 + speed) * math.hypot(own, _SETUP_SPEED)
    sure = common.alike * math.prod(within(zone.live, zone.live_error) for zone in zones)
    if not all(math.isfinite(zone.sure) for zone in zones):
        sure = math.nan
    return Apart(
        zones=zones,
        speed=speed,
        speed_error=speed_error,
        livelier=math.expm1(common.log),
        livelier_error=math.exp(common.log) * math.hypot(common.error, SAYS_SPREAD * common.log),
        sure=sure,
    )


def _zone(now: Zone, then: Zone, more: Livelier) -> ZoneApart:
    speed, speed_error = _faster(now.speed_mm_s, then.speed_mm_s)
    live, live_error = _difference(now.live, then.live, _SETUP_LIVE)
    evenness, evenness_error = _difference(now.evenness, then.evenness, _SETUP_EVENNESS)
    both_still = is_still(now.speed_mm_s) and is_still(then.speed_mm_s)
    return ZoneApart(
        zone=now.zone,
        how=_how(now, then, more.share, live, both_still=both_still),
        speed=speed,
        speed_error=speed_error,
        live=live,
        live_error=live_error,
        evenness=evenness,
        evenness_error=evenness_error,
        livelier=more.share,
        livelier_error=more.error,
        sure=within(live, live_error) * (1.0 if both_still else within(more.share, more.error)),
    )


def _how(now: Zone, then: Zone, livelier: float, live: float, *, both_still: bool) -> How:
    one, other = now.speed_mm_s.value, then.speed_mm_s.value
    if one is None or other is None or not math.isfinite(live):
        return How.UNKNOWN
    if both_still:
        return How.ALIKE if abs(live) <= ALIKE else How.LIVELIER if live > 0 else How.QUIETER
    if not math.isfinite(livelier):
        return How.LIVELIER if one > other else How.QUIETER
    if abs(livelier) <= ALIKE and abs(live) <= ALIKE:
        return How.ALIKE
    # A zone of which less is live is the poorer one, however fast the rest of it.
    more = live if abs(live) > ALIKE else livelier
    return How.LIVELIER if more > 0 else How.QUIETER


def check_same(now: Sequence[Zone], then: Sequence[Zone]) -> None:
    """Raises ValueError when two looks are not of the same zones in the same order."""
    if [zone.zone for zone in now] != [zone.zone for zone in then]:
        raise ValueError("two looks at different zones")


def is_still(speed: Measured) -> bool:
    """As good as still: a ratio of two such speeds says nothing."""
    return speed.value is not None and speed.value < STILL_MM_S


def _faster(now: Measured, then: Measured) -> tuple[float, float]:
    if now.value is None or then.value is None or is_still(now) or is_still(then):
        return math.nan, math.nan
    ratio = now.value / then.value
    parts = [one.relative if math.isfinite(one.relative) else ALIKE for one in (now, then)]
    return ratio - 1, ratio * math.sqrt(parts[0] ** 2 + parts[1] ** 2 + _SETUP_SPEED**2)


def _difference(now: Measured, then: Measured, setup: float) -> tuple[float, float]:
    if now.value is None or then.value is None:
        return math.nan, math.nan
    return now.value - then.value, math.sqrt((now.repeat or 0.0) ** 2 + (then.repeat or 0.0) ** 2 + setup**2)


def within(value: float, error: float) -> float:
    """How likely it is that the true figure is within ALIKE of 0, its error taken as normal."""
    if not (math.isfinite(value) and error > 0):
        return math.nan
    low, high = ((edge - value) / (error * math.sqrt(2)) for edge in (-ALIKE, ALIKE))
    return 0.5 * (math.erf(high) - math.erf(low))


__all__ = [
    "ALIKE",
    "Apart",
    "Common",
    "How",
    "Livelier",
    "Zone",
    "ZoneApart",
    "apart",
    "check_same",
    "is_still",
    "within",
]
