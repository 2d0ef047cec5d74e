"""Which valve is which, over hidden set-ups: lines swapped, dead, joined, reversed, chambers that leak, and healthy ones.

No threshold was chosen on the seeds that are counted. The operator does what is asked, as far as a valve goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.judge.line_test import LineTest
from bedwatch.judge.lines import LineFault, Lines
from tests.benchmarks.group import Group, Row
from tests.benchmarks.loop_looks import Eye
from tests.benchmarks.valve_beds import KINDS, Kind, Plumbing, plumbing

SEEDS = range(8000, 8100)
_MOST_LOOKS = 150


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """One set-up. right: named as it is. feeds: valves whose zone was told, of how many, and how many of those wrongly."""

    seed: int
    kind: Kind
    zones: int
    right: bool
    told: int
    wrong: int
    looks: int
    words: str


def test_lines(seed: int) -> Tested:
    made = plumbing(seed)
    eye, rng = Eye.of(seed, made.zones), np.random.default_rng([seed, 29])
    names = [str(zone + 1) for zone in range(made.zones)]
    test = LineTest(names, made.zones, {name: zone for zone, name in enumerate(names)}, made.touching)
    test.seen(eye.look(made.air(), None, rng).seen)
    looks = 1
    while (ask := test.ask()) is not None and looks < _MOST_LOOKS:
        valve = names.index(ask.valve)
        went = made.turn(valve, ask.by)
        if abs(went) < 0.1 and not ask.back:  # it is at its end: the other way
            went = made.turn(valve, -ask.by)
        test.turned(ask.valve, went if not ask.back else ask.by)
        made.wander()
        test.seen(eye.look(made.air(), None, rng).seen)
        looks += 1
    lines = test.lines()
    wrong = sum(zone not in made.port[names.index(valve)] for valve, zone in lines.feeds.items())
    found = [
        (one.kind.value, one.valves, tuple(z + 1 for z in one.zones), round(one.sure, 3)) for one in lines.findings
    ]
    return Tested(
        seed=seed,
        kind=made.kind,
        zones=made.zones,
        right=is_right(made, lines),
        told=len(lines.feeds),
        wrong=wrong,
        looks=looks,
        words=f"valves {[v + 1 for v in made.faulty_valves]}: {found}",
    )


def is_right(made: Plumbing, lines: Lines) -> bool:
    """Whether what is wrong is named with its valves and zones, and nothing else."""
    found = {(one.kind, frozenset(one.valves), frozenset(one.zones)) for one in lines.findings}
    valves = frozenset(str(valve + 1) for valve in made.faulty_valves)
    zones = frozenset(made.faulty_zones)
    if made.kind == "healthy":
        return not found
    kind = LineFault(made.kind)
    return found == {(kind, valves, zones)}


def rows(runs: Sequence[Tested]) -> list[Row]:
    right = [run for run in runs if run.right]
    found = [_row("set-ups named as they are", right, runs, 0.98)]
    for kind in KINDS:
        of = [run for run in runs if run.kind == kind]
        found.append(_row(f"{kind}", [run for run in of if run.right], of, None))
    unsure = [run for run in runs if not run.right and "unsure" in run.words]
    wrong = [run for run in runs if not run.right and "unsure" not in run.words]
    told = sum(run.told for run in runs)
    moves = np.array([run.looks / run.zones for run in runs])
    found += [
        Row(
            figure="told wrongly, rather than left open",
            asked="",
            reached=f"{len(wrong)} of {len(runs)}; {len(unsure)} left open",
        ),
        Row(
            figure="valves given to a wrong zone",
            asked="",
            reached=f"{sum(run.wrong for run in runs)} of {told}",
        ),
        Row(figure="looks per valve, mean", asked="", reached=f"{moves.mean():.1f}"),
    ]
    return found


def _row(figure: str, right: Sequence[Tested], of: Sequence[Tested], mark: float | None) -> Row:
    share = len(right) / max(len(of), 1)
    return Row(
        figure=figure,
        asked="" if mark is None else f">= {100 * mark:.0f} %",
        reached=f"{100 * share:.0f} % of {len(of)}",
        met=None if mark is None else share >= mark,
        failures=() if mark is None else tuple(f"{r.seed} {r.kind} {r.words}" for r in of if not r.right),
    )


VALVES = Group(
    name="valves",
    jobs=lambda quick: SEEDS[:24] if quick else SEEDS,
    run=test_lines,
    rows=rows,
    words="lines",
)
