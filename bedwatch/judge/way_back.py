"""The way back to a saved setting: how far off each zone is, which move comes first, and when one is there.

The route is that of air balancing: stir, bring the supply a little over, throttle the richest zones, come down to the mark. From
below the same marks stop at another bed, since packed powder must first be broken (common practice, no source).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.apart import ALIKE, Apart, Common, How, Livelier, ZoneApart, apart
from bedwatch.judge.causes import causes_of
from bedwatch.judge.route import Step, next_move
from bedwatch.judge.setting import Setting
from bedwatch.judge.steady import WINDOW_S, Steady, mean_of
from bedwatch.judge.together import Together, chance_alike, common_of, compared, deeper_by, level_of, together
from bedwatch.judge.toward import Toward, first_toward
from bedwatch.judge.types import ALL_ZONES, Did, Done, Move, Reading, State

# A look must be this long before anything is said of it.
LEAST_S = 8.0
# One is back when the chance that every zone is within ALIKE is this share of what the errors would allow with no offset at
# all; a look is long enough when that itself is such a share of what the longest look would allow.
_SURE, _LONG_ENOUGH = 0.92, 0.8
_NEARLY = 0.8  # and so near where no turn that can be made would bring it nearer
_ADDED_UP = 6  # looks between which the bed is changed little, on the way
_SHORT = 0.04  # of the saved bed: so near to it counts as there
_STIRRED = (0.1, 0.2)  # what a stir may do to each zone, and to all of them
_STILL, _STILL_ERROR = 1.0, 0.5  # offset of a zone that only one of the two looks saw moving
_FIXED = "No valve: zones that have none are off what was saved, and the supply moves all alike: look at their lines and holes."
_KEPT = 600  # readings: more than two minutes of the densest


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """The bed against a setting. apart: None while there is no honest reading. next: the move on the way back, None at
    its end. causes: what turning valves does not explain, in sentences, the likeliest first.
    """

    setting: str
    step: Step
    apart: Apart | None = None
    next: Move | None = None
    causes: tuple[str, ...] = ()

    @property
    def sure(self) -> float | None:
        """How likely it is that every zone is within a tenth; None while it cannot be told."""
        return None if self.apart is None or not math.isfinite(self.apart.sure) else self.apart.sure


class WayBack:
    """Follows one bed on its way to a setting. Give it every reading and every move; `against` may be asked at any time.

    level_mm: where the powder stands now below the rim, and its standard error, if that is known. valves: names of the zones that
    have a valve of their own; None for all.
    """

    def __init__(
        self,
        setting: Setting,
        level_mm: tuple[float, float | None] | None = None,
        valves: Collection[str] | None = None,
    ) -> None:
        self.setting = setting
        self._free = [n for n, zone in enumerate(setting.zones) if valves is None or zone.zone in valves]
        self.stands_at(level_mm)
        self._names = [zone.zone for zone in setting.zones]
        self._since: deque[Reading] = deque(maxlen=_KEPT)
        self._now_s = -math.inf
        self._fresh_s = -math.inf
        self._stirred = False
        self._over = False
        self._turned: dict[str, float] = {}
        self._before = first_toward(len(setting.zones))  # what was believed when the readings since began

    def stands_at(self, level_mm: tuple[float, float | None] | None) -> None:
        """Where the powder stands now, once that is known; a lower bed shows smaller domes with the same air."""
        self.level_mm = level_mm
        self._deeper = deeper_by(level_of(self.setting), level_mm)

    def add(self, event: Reading | Did) -> None:
        """What came next. Readings of before a move count no more."""
        if isinstance(event, Reading):
            if event.time_s < self._now_s:  # another clip, another clock
                self._take_in()
                self._fresh_s = -math.inf
            self._now_s = event.time_s
            if event.time_s >= self._fresh_s and event.state in (State.READING, State.BLOCKED, State.NO_PICTURE):
                self._since.append(event)
            return
        self._take_in()
        self._fresh_s = self._now_s + WINDOW_S  # until then a reading looks back at the bed before the move
        if event.do is Done.STIRRED:
            self._stirred = True
            self._before = self._before.loosened(*_STIRRED)
        if event.do in (Done.MORE_AIR, Done.LESS_AIR) and event.zone is not None and event.amount:
            signed = event.amount if event.do is Done.MORE_AIR else -event.amount
            self._turned[event.zone] = self._turned.get(event.zone, 0.0) + signed
            self._before = self._before.moved(self._valve(event.zone), signed)

    def against(self) -> Against:
        """Where the bed stands now."""
        steady = self._steady()
        if steady is None:
            return Against(setting=self.setting.name, step=Step.WAIT)
        toward, told = self._believed(steady)
        believed = _Believed(log=np.where(np.isfinite(told.log), toward.offset, math.nan), toward=toward, told=told)
        found = apart(steady.zones, self.setting.zones, believed.zones(), believed.common())
        if self._stirred and found.livelier > -_SHORT:
            self._over = True
        step, move = self._next(found, toward, believed)
        causes = causes_of(
            self.setting, found, self._turned, self.level_mm, back=step is Step.BACK, stirred=self._stirred
        )
        if step is Step.TRIM and move is None:
            causes = (*causes, _FIXED)
        return Against(
            setting=self.setting.name,
            step=step,
            apart=found,
            next=move,
            causes=causes,
        )

    def _valve(self, zone: str) -> int | None:
        return None if zone == ALL_ZONES else self._names.index(zone)

    def _steady(self) -> Steady | None:
        steady = mean_of(tuple(self._since))
        if steady is None or steady.seen_s < LEAST_S or [zone.zone for zone in steady.zones] != self._names:
            return None
        return steady

    def _take_in(self) -> None:
        """The look that ends here is taken for seen."""
        steady = self._steady()
        if steady is not None:
            self._before, _ = self._believed(steady)
        self._since.clear()

    def _believed(self, steady: Steady) -> tuple[Toward, Together]:
        """What is believed of every zone after this look and those before; the look by itself."""
        told = together(steady.zones, self.setting.zones, self._deeper, looks=_ADDED_UP)
        alone = compared(steady.zones, self.setting.zones, self._deeper)
        scores = [_score(zone, told.of(number)) for number, zone in enumerate(alone.zones)]
        chance = told.again + np.diag([more**2 for _, more in scores])
        return self._before.seen([value for value, _ in scores], chance), told

    def _next(self, found: Apart, toward: Toward, believed: _Believed) -> tuple[Step, Move | None]:
        offsets = {
            number: float(toward.offset[number])
            for number, zone in enumerate(found.zones)
            if zone.how is not How.UNKNOWN
        }
        if not offsets:
            return Step.WAIT, None
        long_enough, at_best = False, math.nan
        if found.alike:
            at_best = believed.alike(off=False)
            long_enough = at_best >= _LONG_ENOUGH * believed.alike(off=False, long=True)
            if believed.alike() >= _SURE * at_best and long_enough:
                return Step.BACK, None
            if believed.alike(long=True) >= _SURE * believed.alike(off=False, long=True):
                return Step.LOOK, None
        step, move = next_move(self._names, offsets, self._free, toward, stirred=self._stirred, over=self._over)
        if step is Step.LOOK and found.alike and long_enough and believed.alike() >= _NEARLY * at_best:
            return Step.BACK, None
        return step, move


@dataclass(frozen=True, slots=True, kw_only=True)
class _Believed:
    """How much livelier each zone is; log: (n,), NaN where it cannot be told."""

    log: NDArray[np.float64]
    toward: Toward
    told: Together

    def zones(self) -> list[Livelier]:
        """Each zone by itself."""
        return [
            Livelier(
                log=float(log), again=float(again) if math.isfinite(log) else math.nan, fixed=self.told.of(n).fixed
            )
            for n, (log, again) in enumerate(zip(self.log, self.toward.spread, strict=True))
        ]

    def common(self) -> Common:
        """All zones together."""
        return common_of(self.log, self.told.fixed + self._spread())

    def _spread(self) -> NDArray[np.float64]:
        return self.toward.cov[: len(self.log), : len(self.log)]

    def alike(self, *, off: bool = True, long: bool = False) -> float:
        """The chance that all zones of which it is known are within ALIKE. not off: if none were. long: after endless looks."""
        cov = self.told.fixed if long else self.told.fixed + self._spread()
        return chance_alike(self.log if off else 0.0 * self.log, cov)


def _score(zone: ZoneApart, told: Livelier) -> tuple[float, float]:
    """How much livelier a zone is, as a logarithm, and an error beside the look's own; what its live share lacks counts too."""
    if zone.how is How.UNKNOWN:
        return math.nan, 0.0
    if not math.isfinite(told.log):
        still = {How.LIVELIER: _STILL, How.QUIETER: -_STILL}.get(zone.how, 0.0)
        return still, _STILL_ERROR if still else ALIKE
    if abs(zone.live) > ALIKE:
        return told.log + zone.live, zone.live_error
    return told.log, 0.0


__all__ = ["Against", "Step", "WayBack"]
