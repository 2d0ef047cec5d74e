"""A saved setting: what a bed was like when somebody found it good, and what the operator wrote beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from bedwatch.aim.types import Problem
from bedwatch.judge.types import Fault, HintWord, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A mean over some time. None: not known.

    error: its standard error, everything counted in. repeat: by how much another look at the same bed from the same
    place would differ (one standard deviation), which is what counts when two looks are compared.
    """

    value: float | None = None
    error: float | None = None
    repeat: float | None = None

    @property
    def relative(self) -> float:
        """The repeatability as a share of the value; NaN when one of them is not known or the value is 0."""
        if self.value is None or self.repeat is None or self.value == 0:
            return math.nan
        return self.repeat / self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneSetting:
    """One zone of a setting. restless, length_mm: as in `Signs`. valve: where its valve stood, in the operator's own words."""

    zone: str
    live: Measured = Measured()
    speed_mm_s: Measured = Measured()
    evenness: Measured = Measured()
    restless: Measured = Measured()
    length_mm: Measured = Measured()
    hint: HintWord = HintWord.WAIT
    because: str = ""
    valve: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSetting:
    """The bed as a whole, and which one it was: a setting of another bed is told."""

    name: str
    shape: Literal["round", "rectangular"]
    width_mm: float
    length_mm: float
    live: Measured = Measured()
    speed_mm_s: Measured = Measured()
    evenness: Measured = Measured()
    verdict: Verdict | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What the camera cannot see, as the operator gave it. None: not given.

    level_mm: powder surface below the rim, air on, and its standard error. humidity: relative, of the room, 0 to 1.
    """

    supply: str | None = None
    powder: str | None = None
    note: str | None = None
    level_mm: float | None = None
    level_error_mm: float | None = None
    humidity: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A saved setting.

    saved: wall-clock time with its offset. version: of the program that measured it. source: what was looked at.
    seen_s: source time that the means rest on. aim: where the camera stood, as an aim file has it. picture: the
    name of a rectified picture in the same folder.
    """

    name: str
    saved: datetime
    version: str
    source: str
    seen_s: float
    bed: BedSetting
    zones: tuple[ZoneSetting, ...]
    around: Circumstances = Circumstances()
    faults: tuple[Fault, ...] = ()
    problems: tuple[Problem, ...] = ()
    aim: Mapping[str, Any] | None = None
    picture: str | None = None


__all__ = ["BedSetting", "Circumstances", "Measured", "Setting", "ZoneSetting"]
