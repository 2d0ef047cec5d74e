"""The way back to a saved setting: how far off each zone is, which move comes first, and when one is there.

The route is that of air balancing: stir, bring the supply a little over, throttle the richest zones, come down to the mark. From
below the same marks stop at another bed, since packed powder must first be broken (common practice, no source).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

from bedwatch.judge.apart import ALIKE, Apart, How, apart
from bedwatch.judge.causes import causes_of
from bedwatch.judge.setting import Setting
from bedwatch.judge.steady import WINDOW_S, mean_of
from bedwatch.judge.types import ALL_ZONES, Did, Done, HintWord, Move, Reading, State

# A look must be this long before anything is said of it.
LEAST_S = 8.0
# So near nothing is turned: the scatter of seven zones reaches as far.
NEAR = 0.06
SURE = 0.6
OVER = 0.08  # how far over the setting the supply goes before one comes down
# What a zone's speed answers to a turn of a valve, in logarithms per whole travel, before it has answered to one.
_GAIN = 1.5
_GAINS = (0.4, 6.0)
_LEAST, _MOST = 0.03, 0.25
_FIXED = "No valve: zones that have none are off what was saved, and the supply moves all alike: look at their lines and holes."
_KEPT = 600  # readings: more than two minutes of the densest


class Step(StrEnum):
    """Where on the route one is."""

    WAIT = "wait"
    STIR = "stir"
    OVER = "over"
    TRIM = "trim"
    DOWN = "down"
    BACK = "back"


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
        self._fixed = frozenset(zone.zone for zone in setting.zones if valves is not None and zone.zone not in valves)
        self.level_mm = level_mm
        self._since: deque[Reading] = deque(maxlen=_KEPT)
        self._now_s = -math.inf
        self._fresh_s = -math.inf
        self._stirred = False
        self._over = False
        self._turned: dict[str, float] = {}
        self._gains: dict[str, float] = {}
        self._last: tuple[str, float, dict[str, float]] | None = None

    def add(self, event: Reading | Did) -> None:
        """What came next. Readings of before a move count no more."""
        if isinstance(event, Reading):
            if event.time_s < self._now_s:  # another clip, another clock
                self._fresh_s = -math.inf
            self._now_s = event.time_s
            if event.time_s >= self._fresh_s and event.state in (State.READING, State.BLOCKED, State.NO_PICTURE):
                self._since.append(event)
            return
        found = self._apart()
        self._since.clear()
        self._fresh_s = self._now_s + WINDOW_S  # until then a reading looks back at the bed before the move
        if event.do is Done.STIRRED:
            self._stirred = True
        if event.do in (Done.MORE_AIR, Done.LESS_AIR) and event.zone is not None and event.amount:
            signed = event.amount if event.do is Done.MORE_AIR else -event.amount
            self._turned[event.zone] = self._turned.get(event.zone, 0.0) + signed
            self._last = None if found is None else (event.zone, signed, _scores(found))

    def against(self) -> Against:
        """Where the bed stands now."""
        found = self._apart()
        if found is None:
            return Against(setting=self.setting.name, step=Step.WAIT)
        scores = _scores(found)
        self._learn(scores)
        if self._stirred and found.speed > -0.02:
            self._over = True
        step, move = self._next(found, scores)
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

    def _apart(self) -> Apart | None:
        steady = mean_of(tuple(self._since))
        names = [zone.zone for zone in self.setting.zones]
        if steady is None or steady.seen_s < LEAST_S or [zone.zone for zone in steady.zones] != names:
            return None
        return apart(steady.zones, self.setting.zones)

    def _learn(self, scores: dict[str, float]) -> None:
        """What the last turn did tells what the next one of the same valve will do."""
        if self._last is None:
            return
        zone, signed, before = self._last
        self._last = None
        if abs(signed) < _LEAST / 2:
            return
        told = (_of(scores, zone) - _of(before, zone)) / signed
        if math.isfinite(told):
            gain = min(max(told, _GAINS[0]), _GAINS[1])
            self._gains[zone] = math.sqrt(gain * self._gains.get(zone, _GAIN))

    def _next(self, found: Apart, scores: dict[str, float]) -> tuple[Step, Move | None]:
        if not scores:
            return Step.WAIT, None
        top, low = max(scores.values()), min(scores.values())
        near = found.alike and (max(top, -low) <= NEAR or found.sure >= SURE)
        unknown = [zone.zone for zone in found.zones if zone.how is How.UNKNOWN]
        if near and not unknown:
            return Step.BACK, None
        common = _of(scores, ALL_ZONES)
        if top < NEAR and common < -NEAR:
            return self._up(common)
        if low > -NEAR and common > NEAR / 2 and top - low < 2 * ALIKE:
            because = f"All zones are livelier than saved, by {100 * math.expm1(common):.0f} % together: come down to the mark."
            return Step.DOWN, self._turn(ALL_ZONES, -common, because)
        with_valve = [zone for zone in scores if zone not in self._fixed]
        richest = max(with_valve, key=lambda zone: scores[zone], default=ALL_ZONES)
        poorest = min(with_valve, key=lambda zone: scores[zone], default=ALL_ZONES)
        top, low = scores.get(richest, 0.0), scores.get(poorest, 0.0)
        if self._fixed and max(top, -low) < NEAR:
            if abs(common) <= NEAR:
                return Step.TRIM, None
            because = f"The zones that have valves are as saved; all together are {_percent(common)} off."
            return Step.DOWN, self._turn(ALL_ZONES, -common, because)
        if top >= NEAR:
            far = f"{100 * math.expm1(top):.0f} %"
            because = f"Zone {richest} is furthest over its saved speed, by {far}; closing it feeds the others."
            return Step.TRIM, self._turn(richest, -top, because)
        because = f"No zone is over its saved speed, and zone {poorest} is {-100 * math.expm1(low):.0f} % below it."
        return Step.TRIM, self._turn(poorest, -low, because)

    def _up(self, common: float) -> tuple[Step, Move | None]:
        if not self._stirred:
            because = (
                "All zones are duller than saved: powder that has stood must be broken before its air can be judged."
            )
            return Step.STIR, Move(zone=ALL_ZONES, do=HintWord.STIR, amount=None, because=because)
        because = (
            f"All zones are {-100 * math.expm1(common):.0f} % duller than saved: go a little over, then come down."
        )
        return Step.OVER, self._turn(ALL_ZONES, OVER - common if not self._over else -common, because)

    def _turn(self, zone: str, wanted: float, because: str) -> Move:
        amount = min(max(abs(wanted) / self._gains.get(zone, _GAIN), _LEAST), _MOST)
        word = HintWord.MORE_AIR if wanted > 0 else HintWord.LESS_AIR
        return Move(zone=zone, do=word, amount=amount, because=because)


def _scores(found: Apart) -> dict[str, float]:
    """By zone, how much livelier it is than saved: the logarithm of the speeds' ratio, and what its live share lacks."""
    scores = {}
    for zone in found.zones:
        if zone.how is How.UNKNOWN:
            continue
        still = {How.LIVELIER: 1.0, How.QUIETER: -1.0}.get(zone.how, 0.0)  # one of the two looks saw it lie still
        score = math.log1p(zone.speed) if math.isfinite(zone.speed) else still
        if abs(zone.live) > ALIKE:
            score += zone.live
        scores[zone.zone] = score
    return scores


def _of(scores: dict[str, float], zone: str) -> float:
    if zone != ALL_ZONES:
        return scores.get(zone, math.nan)
    return _middle(list(scores.values()))


def _percent(log: float) -> str:
    return f"{100 * math.expm1(log):+.0f} %"


def _middle(values: Sequence[float]) -> float:
    some = sorted(values)
    return math.nan if not some else (some[(len(some) - 1) // 2] + some[len(some) // 2]) / 2


__all__ = ["Against", "Step", "WayBack"]
