"""What the live screen knows beside the newest reading: moves made, the saved setting, the camera, its own switches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bedwatch.judge.types import Move, Reading, ZoneReading
from bedwatch.judge.way_back import Against
from bedwatch.show.words import known, share

# A change of live share that is worth naming, and speeds further apart than so many standard errors.
_LIVE_STEP = 0.05
_ERRORS = 2.0
AS_BEFORE = "as before"


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """The saved setting that is aimed at, as far as the screen shows it. evenness: None when it was not known then."""

    name: str
    evenness: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """How pictures arrive, over the last few seconds. per_s: pictures looked at; dropped: share of those that were not."""

    per_s: float
    dropped: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How things stand beside the reading.

    told: the move that was told last and not made yet; it stays while the bed settles, since a valve is moved first and
    the key pressed after. earlier: one told before it that nobody reported, though the air was changed since. made: the
    last thing that was done, in words, and made_s the source time of it. before: the last reading given before it; None
    when there was none. against: where the bed stands on the way back to a setting; None when that is not what is wanted.
    ended: why no more readings come.
    """

    told: Move | None = None
    earlier: Move | None = None
    made: str | None = None
    made_s: float | None = None
    before: Reading | None = None
    saved: Saved | None = None
    against: Against | None = None
    camera: Camera | None = None
    keys: bool = False
    muted: bool = False
    paused: bool = False
    ended: str | None = None


NOTHING_BESIDE = Standing()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trends:
    """What became of each zone since the last thing that was done, or how far it is from a setting; empty before."""

    heading: str = "since move"
    words: Mapping[str, str] = field(default_factory=dict)

    def of(self, zone: str) -> str | None:
        """The words for a zone, None when there is nothing to compare with."""
        return self.words.get(zone)


def trends(now: Reading | None, before: Reading | None) -> Trends:
    """Each zone against itself before the last move: its live share or its speed, whichever tells more."""
    if now is None or before is None:
        return Trends()
    then = {zone.zone: zone for zone in before.zones}
    told = {zone.zone: _trend(zone, then[zone.zone]) for zone in now.zones if zone.zone in then}
    return Trends(words={zone: words for zone, words in told.items() if words is not None})


def _trend(now: ZoneReading, then: ZoneReading) -> str | None:
    live, was_live = known(now.live), known(then.live)
    if live is not None and was_live is not None and abs(live - was_live) >= _LIVE_STEP:
        return f"{share(was_live, space='')}→{share(live)}"
    speed, was = known(now.speed_mm_s), known(then.speed_mm_s)
    if speed is None or was is None:
        return None
    errors = [known(now.speed_error_mm_s), known(then.speed_error_mm_s)]
    doubt = sum(error**2 for error in errors if error is not None) ** 0.5
    if None not in errors and abs(speed - was) > _ERRORS * doubt:
        return f"{was:.0f}→{speed:.0f} mm/s"
    return AS_BEFORE
