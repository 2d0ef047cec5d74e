"""The way back to a saved setting on the screen: its move in the reading's place, its words, and how far off each zone is."""

from __future__ import annotations

import math
from dataclasses import replace

from bedwatch.bed import Valves
from bedwatch.judge.apart import How
from bedwatch.judge.types import Outcome, Reading, State
from bedwatch.judge.way_back import Against, Step
from bedwatch.show.against import against_line
from bedwatch.show.standing import Trends
from bedwatch.show.words import NO_MARKS

_NOW = {How.ALIKE: "as saved", How.LIVELIER: "livelier", How.QUIETER: "quieter", How.UNKNOWN: "can't tell"}


def toward(reading: Reading, against: Against | None) -> Reading:
    """The reading with the move that leads back to the setting instead of the one that would only make the bed even."""
    if against is None or reading.state is not State.READING:
        return reading
    if against.next is not None:
        return replace(reading, next=against.next, outcome=Outcome.MOVING)
    return replace(reading, next=None, outcome=Outcome.EVEN if against.step is Step.BACK else Outcome.LOOKING)


def is_back(reading: Reading | None, against: Against | None) -> bool:
    """Whether the bed is again as it was saved, by a reading that can tell."""
    return reading is not None and reading.state is State.READING and against is not None and against.step is Step.BACK


def way_back_lines(reading: Reading | None, against: Against | None, valves: Valves = NO_MARKS) -> tuple[str, ...]:
    """Where one stands, and what turning valves does not explain; where one stood is not told while nothing can be read."""
    if against is None or not _can_tell(reading, against):
        return ()
    return (against_line(against, valves), *against.causes)


def off_saved(reading: Reading | None, against: Against) -> Trends:
    """Each zone against the setting, in the place of its trend."""
    if against.apart is None or not _can_tell(reading, against):
        return Trends()
    words = {}
    for zone in against.apart.zones:
        more = f"{100 * zone.livelier:+.0f} %" if math.isfinite(zone.livelier) else ""
        words[zone.zone] = more if more and zone.how is not How.ALIKE else _NOW[zone.how]
    return Trends(words=words, heading="to saved")


def _can_tell(reading: Reading | None, against: Against) -> bool:
    return against.step is Step.WAIT or (reading is not None and reading.state is State.READING)


__all__ = ["is_back", "off_saved", "toward", "way_back_lines"]
