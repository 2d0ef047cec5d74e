"""Which valve to move next to find out what it feeds, how far, and when that is known or given up."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from bedwatch.judge.answers import Trial, Turn, answers
from bedwatch.judge.belief import Seen
from bedwatch.judge.lines import Lines, lines_of
from bedwatch.judge.whose import Owner, owner_of

# Shares of travel that are tried, one after the other until the answer is sure; each is brought back.
STEPS = (0.25, -0.5, -1.0)  # the last one: shut
ENOUGH_MOVES = 0.5  # share of the zones that must move, or what a valve does is not seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A move the operator is asked for. by: share of travel, over 0 opens. back: it brings the valve back to where it stood.
    attempt: 0 for the first move of a valve; more, when what was seen lay within the noise."""

    valve: str
    by: float
    back: bool
    attempt: int


class LineTest:
    """One test of all lines. `seen` after every look, the first one before anything was moved; `turned` before that, if a valve
    was. `ask` says what to move next; None when all is known or given up.

    zones: how many. marked, touching: as `lines_of` takes them.
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

    def seen(self, look: Sequence[Seen]) -> None:
        """A look at the bed as it stands now."""
        self._trials.append(Trial(turn=self._turn, seen=tuple(look)))
        self._turn = None
        found = answers(self._trials)
        self._owners = {
            valve: owner_of([one for one in found if one.valve == valve])
            for valve in dict.fromkeys(one.valve for one in found)
        }

    def turned(self, valve: str, by: float) -> None:
        """A valve was opened by so much of its travel (less than 0: closed)."""
        self._turn = Turn(valve=valve, by=by)
        away = self._away.get(valve, 0.0) + by
        if abs(away) > 1e-3 and abs(away) >= abs(self._away.get(valve, 0.0)):
            self._tried[valve] = self._tried.get(valve, 0) + 1
        self._away[valve] = away if abs(away) > 1e-3 else 0.0

    def skip(self, valve: str) -> None:
        """The operator cannot move it; it is not asked for any more."""
        self._skipped.add(valve)

    @property
    def too_still(self) -> bool:
        """Whether so much of the bed lay still in the first look that moving valves would not show."""
        if not self._trials:
            return False
        awake = [one.known and one.live >= 0.5 for one in self._trials[0].seen]
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

    def _is_open(self, valve: str) -> bool:
        """Whether more is to be found out about it, and can be."""
        owner = self._owners.get(valve)
        known = owner is not None and owner.known
        return valve not in self._skipped and not known and self._tried.get(valve, 0) < len(STEPS)

    def ask(self) -> Ask | None:
        """The next move."""
        for valve, away in self._away.items():
            if away and valve not in self._skipped:
                return Ask(valve=valve, by=-away, back=True, attempt=self._tried.get(valve, 1) - 1)
        for valve in self.valves:
            if self._is_open(valve):
                tried = self._tried.get(valve, 0)
                return Ask(valve=valve, by=STEPS[tried], back=False, attempt=tried)
        return None

    def lines(self) -> Lines:
        """What is known of all lines so far."""
        owners = [self._owners[valve] for valve in self.valves if valve in self._owners]
        return lines_of(owners, self._zones, self._marked, self._touching)
