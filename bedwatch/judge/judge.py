"""From motion to meaning: one reading after another, with memory of what was said."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed, Cells
from bedwatch.judge.advisor import Advice, Advisor, Look
from bedwatch.judge.belief import Seen
from bedwatch.judge.common import AirChange, heaves
from bedwatch.judge.evidence import ZoneEvidence, ZoneView
from bedwatch.judge.faults import FaultWatch
from bedwatch.judge.hints import Air, air_of, because, hint_of
from bedwatch.judge.history import History
from bedwatch.judge.trouble import hint_for
from bedwatch.judge.types import (
    ALL_ZONES,
    BedReading,
    Did,
    Fault,
    FaultKind,
    HintWord,
    Move,
    Outcome,
    Reading,
    Signs,
    State,
    Verdict,
    ZoneReading,
)
from bedwatch.judge.uniformity import uniformity_index
from bedwatch.middle import middle
from bedwatch.motion.field import MotionField

# Live share up to which a bed is asleep throughout: no air was changed.
ASLEEP = 0.12
# Undisturbed picture needed before a hint is given: eruptions of a gentle bed visit each spot every second or two, so
# that a zone's middle has shown what it does after six.
ENOUGH_S = 5.8
# Before it a zone has hardly had an eruption: no figure of it means anything.
_FIRST_S = 1.0
_STILL_LIVE = 0.15
_CALM = 0.15  # of the supply's travel, against heaving
_LIFTED, _CALM_BED = (
    0.5,
    -4.0,
)  # share of a middle from which a zone is; restlessness of a bed that is far from too lively
# A plan holds for so long while every zone is taken for what it was: it is the dearest part of a reading.
_PLAN_S = 4.0

_WAITING = {
    State.SETTLING: "Not enough has been seen yet to judge the air.",
    State.BLOCKED: "Something hides the surface.",
    State.NO_PICTURE: "There is no picture of the bed.",
}

_HEAVES = (
    "The whole surface heaves as one with a beat: that is the plate or the plenum under it, not a zone; "
    "less air for all first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Advised:
    """What was advised, when, and the zones' hints it was worked out with."""

    time_s: float
    words: tuple[HintWord, ...]
    advice: Advice


class Judge:
    """Gives readings of one bed. Keeps what each zone was taken for, so that hints do not flutter."""

    def __init__(self, bed: Bed, cells: Cells, past: Iterable[Reading | Did] = ()) -> None:
        """past: what was seen and done before, in order."""
        self.history = History(past)
        self._advisor = Advisor([zone.name for zone in bed.zones], bed.with_valve)
        self._advisor.replay(self.history.events)
        self._bed = bed
        self._cells = cells
        self._view = ZoneView(bed, cells)
        self._air = [Air.UNKNOWN] * len(bed.zones)
        self._faults = FaultWatch(bed, cells)
        self._air_change = AirChange()
        self._advised: _Advised | None = None

    def did(self, did: Did) -> None:
        """The operator did something: what is seen from now on is its answer."""
        self.history.add(did)
        self._advisor.did(did)
        self._advised = None

    def nothing(self, time_s: float, state: State, problems: Sequence[Problem] = (), *, keep: bool = False) -> Reading:
        """A reading that says only in which state we are: every figure unknown, every hint `wait`.

        keep: what was found before goes on to hold, after a mere hiccup.
        """
        self._advised = None
        if not keep:
            self._air = [Air.UNKNOWN] * len(self._bed.zones)
            self._faults.forget()
        return Reading(
            time_s=time_s,
            state=state,
            bed=BedReading(evenness=None, live=None, speed_mm_s=None, speed_error_mm_s=None, verdict=None),
            zones=tuple(
                ZoneReading(
                    zone=zone.name,
                    live=None,
                    speed_mm_s=None,
                    speed_error_mm_s=None,
                    hint=HintWord.WAIT,
                    because=_WAITING[state],
                )
                for zone in self._bed.zones
            ),
            problems=tuple(problems),
        )

    def changed_s(self, field: MotionField | None) -> float | None:
        """Since when the air of a zone has been another one, if it was just changed: what was seen before tells nothing of it."""
        if field is None or field.ground is None:
            return None
        live = field.cells.live[np.isfinite(field.cells.live)]
        if not len(live) or float(live.mean()) < ASLEEP:  # noise and coding come and go over a surface that lies still
            return None
        return self._air_change.since_s(field.ground, self._faults.places(field.ground)[0])

    def read(
        self, time_s: float, field: MotionField | None, problems: Sequence[Problem] = (), *, last: bool = False
    ) -> Reading:
        """The reading of the window that ends at time_s. Too short a window: `settling`, with the figures seen so far, if any.

        last: nothing comes after it, so that the move is worked out from all that was seen.
        """
        if field is None:
            return self.nothing(time_s, State.SETTLING, problems)
        if field.seconds < _FIRST_S:
            return self.nothing(time_s, State.SETTLING, problems, keep=True)
        settled = field.seconds >= ENOUGH_S
        faults = self._faults.find(time_s, field.ground)  # what is known from before a hand came in is followed at once
        if not settled:
            faults = ()
        evidence = [
            replace(one, live=max(one.live, alive)) if settled and alive > one.live else one
            for one, alive in zip(self._view.read(field, self._faults.troubled), self._faults.alive, strict=True)
        ]
        if settled:
            self._air = [air_of(one, before) for one, before in zip(evidence, self._air, strict=True)]
        hazy = any(problem.kind is ProblemKind.DUST_CLOUD for problem in problems)  # a veil pales all of it together
        heaving = settled and not hazy and field.ground is not None and heaves(field.ground) and _may_heave(evidence)
        if heaving:
            self._air = [Air.VIOLENT if one is Air.FED else one for one in self._air]
        air = self._air if settled else [Air.UNKNOWN] * len(evidence)
        faults = tuple(fault for fault in faults if not self._is_air(fault, air))
        names = [zone.name for zone in self._bed.zones]
        hints = [
            (settled and hint_for(one, troubles))
            or (hint_of(one), because(seen, one) if settled else _WAITING[State.SETTLING])
            for one, troubles, seen in zip(air, self._faults.troubles(), evidence, strict=True)
        ]
        if heaving:
            hints = [
                (word, _HEAVES if one is Air.VIOLENT else why) for one, (word, why) in zip(air, hints, strict=True)
            ]
        advice = self._advice(time_s, evidence, hints, last=last) if settled else None
        move, outcome = (None, Outcome.LOOKING) if advice is None else (advice.move, advice.outcome)
        if heaving and Air.VIOLENT in air:
            zone = names[0] if len(names) == 1 and self._bed.with_valve else ALL_ZONES
            move, outcome = Move(zone=zone, do=HintWord.LESS_AIR, amount=_CALM, because=_HEAVES), Outcome.MOVING
        elif advice is not None:
            air, hints = _agreed(advice, air, hints)
        reading = Reading(
            time_s=time_s,
            state=State.READING if settled else State.SETTLING,
            bed=self._bed_reading(field, air, bool(faults)) if settled else self._figures(field),
            zones=tuple(
                ZoneReading(
                    zone=name,
                    live=_or_none(field.zones.live[number]),
                    speed_mm_s=_or_none(field.zones.speed_mm_s[number]),
                    speed_error_mm_s=_or_none(field.zones.speed_error_mm_s[number]),
                    hint=hints[number][0],
                    because=hints[number][1],
                    evenness=self._zone_evenness(field, number),
                    signs=_signs(evidence[number]) if settled and air[number] is not Air.UNKNOWN else None,
                )
                for number, name in enumerate(names)
            ),
            faults=faults,
            next=move,
            outcome=outcome,
            problems=tuple(problems),
        )
        self.history.add(reading)
        return reading

    def _advice(
        self, time_s: float, evidence: Sequence[ZoneEvidence], hints: Sequence[tuple[HintWord, str]], *, last: bool
    ) -> Advice:
        """The plan; that of a moment ago while every zone is taken for what it was taken for then."""
        seen = tuple(
            Seen(
                known=one.known,
                live=one.live if one.known else 0.0,
                speed_mm_s=_or_none(one.clear_mm_s),
                restless=_or_none(one.restless),
                glides=_or_none(one.glides),
            )
            for one in evidence
        )
        by_hand = tuple(hint if hint[0] in (HintWord.STIR, HintWord.CHECK_PLATE) else None for hint in hints)
        look, words = Look(seen=seen, by_hand=by_hand), tuple(word for word, _ in hints)
        before = self._advised
        if before is not None and not last and before.words == words and 0 <= time_s - before.time_s < _PLAN_S:
            self._advisor.note(look)
            return before.advice
        advice = self._advisor.look(look)
        self._advised = _Advised(time_s=time_s, words=words, advice=advice)
        return advice

    def _is_air(self, fault: Fault, air: Sequence[Air]) -> bool:
        """Whether what looks like a fault is the zone's air: stillness if it gets too little, a surging wall if too much."""
        one = next(one for zone, one in zip(self._bed.zones, air, strict=True) if zone.name == fault.zone)
        if fault.kind is FaultKind.DEAD_SPOT:
            return one is Air.STARVED
        return fault.kind is FaultKind.RIM_LEAK and one is Air.VIOLENT

    def _zone_evenness(self, field: MotionField, number: int) -> float | None:
        mine = self._cells.zone == number
        if field.zones.speed_mm_s[number] == 0:
            return 0.0  # as of the bed: what is left of the cells' speeds is noise
        return _or_none(uniformity_index(field.cells.speed_mm_s[mine], self._cells.area_mm2[mine]))

    def _figures(self, field: MotionField, verdict: Verdict | None = None) -> BedReading:
        evenness = uniformity_index(field.cells.speed_mm_s, self._cells.area_mm2)
        if field.bed.speed_mm_s[0] == 0:
            evenness = 0.0  # what is left of the cells' speeds is noise
        return BedReading(
            evenness=_or_none(evenness),
            live=_or_none(field.bed.live[0]),
            speed_mm_s=_or_none(field.bed.speed_mm_s[0]),
            speed_error_mm_s=_or_none(field.bed.speed_error_mm_s[0]),
            verdict=verdict,
        )

    def _bed_reading(self, field: MotionField, air: Sequence[Air], faulty: bool) -> BedReading:
        known = [one for one in air if one is not Air.UNKNOWN]
        live = float(field.bed.live[0])
        verdict: Verdict | None
        if not known or not math.isfinite(live):
            verdict = None
        elif all(one is Air.STARVED for one in known) and live < _STILL_LIVE:
            verdict = Verdict.STILL
        elif all(one is Air.VIOLENT for one in known):
            verdict = Verdict.VIOLENT
        elif all(one is Air.FED for one in air) and not faulty:
            verdict = Verdict.EVEN
        else:
            verdict = Verdict.UNEVEN
        return self._figures(field, verdict)


def _may_heave(evidence: Sequence[ZoneEvidence]) -> bool:
    """Whether the bed is one that too much air may heave: what beats in a calm bed, or in one that partly sleeps, is something
    else, and less air would only put more of it to rest."""
    known = [one for one in evidence if one.known]
    restless = [one.restless for one in known if math.isfinite(one.restless)]
    return all(one.live >= _LIFTED for one in known) and (not restless or middle(np.array(restless)) > _CALM_BED)


def _agreed(
    advice: Advice, air: Sequence[Air], hints: Sequence[tuple[HintWord, str]]
) -> tuple[list[Air], list[tuple[HintWord, str]]]:
    """Air and hints that do not say otherwise than the plan, which knows more: all zones, and what was seen before."""
    air, hints = list(air), list(hints)
    for zone, hint in advice.zones.items():
        hints[zone] = hint
    if advice.outcome is Outcome.EVEN:
        for zone, one in enumerate(air):
            if one is Air.VIOLENT:
                air[zone] = Air.FED
                hints[zone] = HintWord.HOLD, hints[zone][1]
    return air, hints


def _signs(evidence: ZoneEvidence) -> Signs:
    return Signs(
        live=evidence.live,
        duty=_or_none(evidence.duty),
        restless=_or_none(evidence.restless),
        glides=_or_none(evidence.glides),
        length_mm=None if math.isnan(evidence.restless) else _or_none(evidence.length_mm),
        speed_mm_s=_or_none(evidence.clear_mm_s),
    )


def _or_none(value: float | np.floating) -> float | None:
    return float(value) if math.isfinite(value) else None
