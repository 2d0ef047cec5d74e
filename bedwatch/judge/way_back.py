"""The way back to a saved setting: how far off each zone is, which move comes first, and when one is there.

The route is that of air balancing: stir, bring the supply a little over, throttle the richest zones, come down to the mark. From
below the same marks stop at another bed, since packed powder must first be broken (common practice, no source).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from bedwatch.judge.apart import ALIKE, Apart, How, Livelier, ZoneApart, apart, livelier, within
from bedwatch.judge.causes import causes_of
from bedwatch.judge.route import Step, next_move
from bedwatch.judge.setting import Setting
from bedwatch.judge.steady import WINDOW_S, Steady, mean_of
from bedwatch.judge.toward import Toward, first_toward
from bedwatch.judge.types import ALL_ZONES, Did, Done, Move, Reading, State

# A look must be this long before anything is said of it.
LEAST_S = 8.0
# One is back when the chance that every zone is within ALIKE is this share of what the errors would allow with no offset at
# all; a look is long enough when that itself is such a share of what the longest look would allow.
_SURE, _LONG_ENOUGH = 0.92, 0.8
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
        self.level_mm = level_mm
        self._names = [zone.zone for zone in setting.zones]
        self._since: deque[Reading] = deque(maxlen=_KEPT)
        self._now_s = -math.inf
        self._fresh_s = -math.inf
        self._stirred = False
        self._over = False
        self._turned: dict[str, float] = {}
        self._before = first_toward(len(setting.zones))  # what was believed when the readings since began

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
        toward, believed = self._believed(steady)
        found = apart(steady.zones, self.setting.zones, believed)
        if self._stirred and found.speed > -0.02:
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

    def _believed(self, steady: Steady) -> tuple[Toward, list[Livelier]]:
        """What is believed of every zone after this look and those before."""
        told = [livelier(now, then) for now, then in zip(steady.zones, self.setting.zones, strict=True)]
        alone = apart(steady.zones, self.setting.zones, told)
        scores = [_score(zone, one) for zone, one in zip(alone.zones, told, strict=True)]
        toward = self._before.seen([value for value, _ in scores], [error for _, error in scores])
        return toward, [
            replace(one, log=float(log), again=float(again))
            for one, log, again in zip(told, toward.offset, toward.spread, strict=True)
        ]

    def _next(self, found: Apart, toward: Toward, believed: Sequence[Livelier]) -> tuple[Step, Move | None]:
        offsets = {
            number: float(toward.offset[number])
            for number, zone in enumerate(found.zones)
            if zone.how is not How.UNKNOWN
        }
        if not offsets:
            return Step.WAIT, None
        if found.alike:
            known = [one for one in believed if math.isfinite(one.error)]
            now, best = _chance(known), _chance([replace(one, log=0.0) for one in known])
            if now >= _SURE * best and best >= _LONG_ENOUGH * _chance(
                [replace(one, log=0.0, again=0.0) for one in known]
            ):
                return Step.BACK, None
            long = [replace(one, again=0.0) for one in known]
            if _chance(long) >= _SURE * _chance([replace(one, log=0.0) for one in long]):
                return Step.LOOK, None
        return next_move(self._names, offsets, self._free, toward, stirred=self._stirred, over=self._over)


def _chance(believed: Sequence[Livelier]) -> float:
    """That every one of them is within ALIKE."""
    return math.prod(within(one.share, one.error) for one in believed)


def _score(zone: ZoneApart, told: Livelier) -> tuple[float, float]:
    """How much livelier a zone is, as a logarithm, with its error; what its live share lacks counts too."""
    if zone.how is How.UNKNOWN:
        return math.nan, math.nan
    if not math.isfinite(told.log):
        still = {How.LIVELIER: _STILL, How.QUIETER: -_STILL}.get(zone.how, 0.0)
        return still, _STILL_ERROR if still else ALIKE
    if abs(zone.live) > ALIKE:
        return told.log + zone.live, math.hypot(told.again, zone.live_error)
    return told.log, told.again


__all__ = ["Against", "Step", "WayBack"]
