"""Which valve to move next to find out what it feeds, how far, and when that is known or given up."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from bedwatch.judge.answers import Trial, Turn, answers
from bedwatch.judge.belief import Seen
from bedwatch.judge.lines import Lines, owners_and_lines
from bedwatch.judge.owners import Owner
from bedwatch.judge.types import ALL_ZONES

# Shares of travel that are tried, one after the other until the answer is sure; each is brought back. -1: shut; 1: fully open.
STEPS = (0.25, -0.5, -1.0, 1.0, -1.0, 0.6, -0.6, 1.0, -1.0, 0.6)
# Where nothing but opening can show: its zone lies still.
STEPS_STILL = (0.25, 1.0, -1.0, 0.6, 1.0, -1.0)
END = 1.0
RAISE, MOST_RAISES = 0.15, 2  # of the supply, where zones lie still that nothing is known of
ENOUGH_MOVES = 0.5  # share of the zones that must move, or what a valve does is not seen
_ASLEEP = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A move the operator is asked for. by: share of travel, over 0 opens; 1 and -1: as far as it goes. back: it brings the valve
    back to where it stood. valve: "all" for the supply. attempt: 0 for the first move of a valve; more, when what was seen lay
    within the noise."""

    valve: str
    by: float
    back: bool
    attempt: int

    @property
    def supply(self) -> bool:
        return self.valve == ALL_ZONES

    @property
    def end(self) -> bool:
        """Whether it is to be turned as far as it goes."""
        return not self.back and abs(self.by) >= END


class LineTest:
    """One test of all lines. `seen` after every look, the first one before anything was moved; `turned` before that, if a valve
    was. `ask` says what to move next; None when all is known or given up.

    zones: how many. marked: the zone a valve's mark says it feeds, where it says so. touching: pairs of zones that touch, the
    lower number first.
    """

    def __init__(
        self,
        valves: Sequence[str],
        zones: int,
        marked: Mapping[str, int] | None = None,
        touching: Collection[tuple[int, int]] = (),
    ) -> None:
        self.valves = tuple(valves)
        self._zones = zones
        self._marked = dict(marked or {})
        self._touching = frozenset(touching)
        self._skipped: set[str] = set()
        self.restart()

    def restart(self) -> None:
        """Forget all looks: the next one is the first."""
        self._trials: list[Trial] = []
        self._turn: Turn | None = None
        self._tried: dict[str, int] = {}
        self._away: dict[str, float] = {}  # how far a valve stands from where it stood
        self._owners: dict[str, Owner] = {}
        self._lying: frozenset[int] = frozenset()  # zones that lie still with all valves where they stood
        self._lines = Lines(feeds={}, reversed=(), findings=(), without=())

    def seen(self, look: Sequence[Seen]) -> None:
        """A look at the bed as it stands now."""
        self._trials.append(Trial(turn=self._turn, seen=tuple(look)))
        supply = self._turn is not None and self._turn.valve == ALL_ZONES
        self._turn = None
        if not any(away for valve, away in self._away.items() if valve != ALL_ZONES):
            woken = self._lying - (lying := _still(look))
            self._lying = lying
            if supply:  # what could not be seen then may be seen now
                for valve in self._in_doubt():
                    if self._marked.get(valve) in woken:
                        self._tried[valve] = 0
        self._owners, self._lines = owners_and_lines(
            answers(self._trials), self.valves, self._zones, self._marked, self._touching, self._always_still
        )

    def turned(self, valve: str, by: float, *, end: bool = False) -> None:
        """A valve was opened by so much of its travel (less than 0: closed). end: as far as it goes."""
        self._turn = Turn(valve=valve, by=by, end=end or abs(by) >= END)
        away = self._away.get(valve, 0.0) + by
        if abs(away) > 1e-3 and abs(away) >= abs(self._away.get(valve, 0.0)):
            self._tried[valve] = self._tried.get(valve, 0) + 1
        self._away[valve] = away if abs(away) > 1e-3 else 0.0

    def skip(self, valve: str) -> None:
        """The operator cannot move it; it is not asked for any more."""
        self._skipped.add(valve)

    @property
    def _always_still(self) -> frozenset[int]:
        """Zones that lay still in the first look, and do now."""
        return self._lying & _still(self._trials[0].seen if self._trials else ())

    @property
    def too_still(self) -> bool:
        """Whether so much of the bed lay still in the first look that moving valves would not show."""
        if not self._trials:
            return False
        awake = [one.known and one.live >= _ASLEEP for one in self._trials[0].seen]
        return sum(awake) < ENOUGH_MOVES * len(awake)

    def owner(self, valve: str) -> Owner | None:
        """What is known of a valve; None before it was moved."""
        return self._owners.get(valve)

    @property
    def done(self) -> int:
        """Turns so far."""
        return sum(trial.turn is not None for trial in self._trials)

    @property
    def left(self) -> int:
        """About how many turns are to come: away and back for every valve that is not known."""
        open_ones = [valve for valve in self.valves if self._is_open(valve)]
        return 2 * len(open_ones) + sum(bool(away) for away in self._away.values())

    def ask(self) -> Ask | None:
        """The next move: a valve is brought back first; then the one that was tried least of those that are not known."""
        for valve, away in self._away.items():
            if away and valve not in self._skipped and valve != ALL_ZONES:
                return self._back(valve)
        left = [valve for valve in self.valves if self._is_open(valve)]
        if not left:
            return self._supply()
        least = min(left, key=lambda valve: self._tried.get(valve, 0))
        tried = self._tried.get(least, 0)
        return Ask(valve=least, by=self._steps(least)[tried], back=False, attempt=tried)

    def _back(self, valve: str) -> Ask:
        return Ask(valve=valve, by=-self._away[valve], back=True, attempt=self._tried.get(valve, 1) - 1)

    def _supply(self) -> Ask | None:
        """Raised where a zone lies still, so that its valve may show; brought back at the end."""
        lies = any(self._marked.get(valve) in self._lying for valve in self._in_doubt())
        raised = self._tried.get(ALL_ZONES, 0)
        if ALL_ZONES in self._skipped:
            return None
        if lies and raised < MOST_RAISES and (raised == 0 or self._away.get(ALL_ZONES)):
            return Ask(valve=ALL_ZONES, by=RAISE, back=False, attempt=raised)
        return self._back(ALL_ZONES) if self._away.get(ALL_ZONES) else None

    def _in_doubt(self) -> list[str]:
        return [valve for valve, one in self._owners.items() if not one.known and valve not in self._skipped]

    def lines(self) -> Lines:
        """What is known of all lines so far."""
        return self._lines

    def _is_open(self, valve: str) -> bool:
        """Whether more is to be found out about it, and can be."""
        owner = self._owners.get(valve)
        known = owner is not None and owner.known
        return valve not in self._skipped and not known and self._tried.get(valve, 0) < len(self._steps(valve))

    def _steps(self, valve: str) -> tuple[float, ...]:
        return STEPS_STILL if self._marked.get(valve) in self._lying else STEPS


def _still(look: Sequence[Seen]) -> frozenset[int]:
    return frozenset(zone for zone, one in enumerate(look) if one.known and one.live < _ASLEEP)


__all__ = ["Ask", "LineTest"]
