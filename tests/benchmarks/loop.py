"""The next move in closed loop over hidden beds: advised, made, looked at again, until the advice says it is done.

No threshold was chosen on the seeds that are counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bedwatch.judge.advisor import Advice, Advisor
from bedwatch.judge.types import ALL_ZONES, Did, Done, HintWord, Move, Outcome
from tests.benchmarks.group import Group, Row
from tests.benchmarks.loop_beds import HiddenBed, fewest_moves, hidden_bed, is_even, tenth_by_tenth
from tests.benchmarks.loop_looks import Eye

SEEDS = range(7000, 7120)
MOST_MOVES = 60
_DONE = {
    HintWord.MORE_AIR: Done.MORE_AIR,
    HintWord.LESS_AIR: Done.LESS_AIR,
    HintWord.STIR: Done.STIRRED,
    HintWord.CHECK_PLATE: Done.CHECKED_PLATE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One bed from start to stop. even_looks: of every look, whether the bed was even then. reversals: turns of one valve against
    its turn before, the most of any valve. fewest, tenth: moves of the two operators who know more; None: not at all."""

    seed: int
    kind: str
    patch: bool
    zones: int
    outcome: Outcome
    valve_moves: int
    moves: int
    even_looks: tuple[bool, ...]
    air: tuple[float, ...]
    reversals: int
    fewest: int | None
    tenth: int | None
    story: tuple[str, ...]


def did_of(move: Move) -> Did:
    valve = move.do in (HintWord.MORE_AIR, HintWord.LESS_AIR)
    return Did(do=_DONE[move.do], zone=move.zone, amount=move.amount if valve else None)


def make(bed: HiddenBed, move: Move) -> None:
    """The operator does what is advised; the patch is beyond stirring."""
    if move.amount is None:
        return
    valve = -1 if move.zone == ALL_ZONES else int(move.zone) - 1
    bed.turn(valve, move.amount if move.do is HintWord.MORE_AIR else -move.amount)


def play(seed: int, *, references: bool = True) -> Run:
    bed = hidden_bed(seed)
    eye = Eye.of(seed, bed.zones)
    rng = np.random.default_rng([seed, 17])
    advisor = Advisor([str(zone + 1) for zone in range(bed.zones)])
    even, story, by_hand = [], [], 0
    while True:
        air = bed.air()
        even.append(is_even(air))
        advice: Advice = advisor.look(eye.look(air, bed.patch, rng))
        move = advice.move
        shown = "-" if move is None else f"{move.zone} {move.do} {move.amount}"
        about = np.round(np.exp(advice.belief.air), 2)
        story.append(f"{np.round(air, 2)} thought {about} {_chance(advice)} {shown} {advice.outcome}")
        if move is None or len(even) > MOST_MOVES:
            break
        by_hand += move.amount is None
        make(bed, move)
        advisor.did(did_of(move))
    kind = bed.kind
    return Run(
        seed=seed,
        kind=kind,
        patch=bed.patch is not None,
        zones=bed.zones,
        outcome=advice.outcome,
        valve_moves=len(even) - 1 - by_hand,
        moves=len(even) - 1,
        even_looks=tuple(even),
        air=tuple(float(r) for r in bed.air()),
        reversals=_reversals(bed),
        fewest=fewest_moves(hidden_bed(seed)) if references and kind == "even" else None,
        tenth=tenth_by_tenth(hidden_bed(seed)) if references and kind == "even" else None,
        story=tuple(story),
    )


def _chance(advice: Advice) -> str:
    chance = advice.chance
    return "-" if chance is None else f"even {chance.even:.2f} alike {chance.alike:.2f}"


def _reversals(bed: HiddenBed) -> int:
    counts = []
    for valve in range(-1, bed.zones):
        turns = [by for which, by in bed.turned if which == valve]
        counts.append(sum(one * other < 0 for one, other in pairwise(turns)))
    return max(counts)


def in_time(run: Run) -> bool:
    """Whether it stopped at the first even look, or at the next."""
    return True in run.even_looks and len(run.even_looks) - 1 - run.even_looks.index(True) <= 1 + _hand_moves(run)


def _hand_moves(run: Run) -> int:
    return run.moves - run.valve_moves


def rows(runs: Sequence[Run]) -> list[Row]:
    able = [run for run in runs if run.kind == "even"]
    unable = [run for run in runs if run.kind == "hopeless"]
    even = [run for run in able if run.even_looks[-1]]
    if not even:
        return []
    said = [run for run in runs if run.outcome is Outcome.EVEN]
    wrong = [run for run in said if not run.even_looks[-1]]
    named = [run for run in unable if run.outcome in (Outcome.SUPPLY_TOO_SMALL, Outcome.NOT_VALVES)]
    false = [
        run
        for run in able
        if run.outcome is Outcome.SUPPLY_TOO_SMALL or (run.outcome is Outcome.NOT_VALVES and not run.patch)
    ]
    stopped = [run for run in even if in_time(run)]
    mine = np.array([run.valve_moves for run in even])
    known = np.array([run.fewest or 0 for run in even])
    tenth = np.array([run.tenth if run.tenth is not None else 80 for run in even])
    median = [float(np.median(one)) for one in (mine, known, tenth)]
    ninety = [float(np.percentile(one, 90)) for one in (mine, known, tenth)]
    to_known, to_tenth = float(mine.sum() / max(known.sum(), 1)), float(mine.sum() / max(tenth.sum(), 1))
    turned = float(np.median([run.reversals for run in runs]))
    return [
        _share("reaches an even bed where one exists", ">= 98 %", len(even), len(able), 0.98, _told(able, even)),
        Row(
            figure="valve moves, median / 90th percentile; whole network known; true air known, by tenths",
            asked="",
            reached=" | ".join(f"{m:.0f} / {n:.0f}" for m, n in zip(median, ninety, strict=True)),
        ),
        Row(
            figure="moves over those of who knows the network",
            asked="<= 1.7",
            reached=f"{to_known:.2f}",
            met=to_known <= 1.7,
        ),
        Row(
            figure="moves over those of who goes by tenths",
            asked="<= 0.6",
            reached=f"{to_tenth:.2f}",
            met=to_tenth <= 0.6,
        ),
        _share("stops within one look of being even", ">= 98 %", len(stopped), len(even), 0.98, _told(even, stopped)),
        _share(
            "calls an uneven bed even", "<= 1 %", len(wrong), len(said), -0.01, tuple(str(run.seed) for run in wrong)
        ),
        _share("hopeless beds named", ">= 95 %", len(named), len(unable), 0.95, _told(unable, named)),
        _share("false ones", "<= 2 %", len(false), len(able), -0.02, tuple(str(run.seed) for run in false)),
        Row(figure="reversals of one valve, median", asked="<= 1", reached=f"{turned:.0f}", met=turned <= 1),
    ]


def _told(of: Sequence[Run], good: Sequence[Run]) -> tuple[str, ...]:
    return tuple(f"{run.seed} {run.outcome}" for run in of if run not in good)


def _share(figure: str, asked: str, count: int, of: int, mark: float, failures: tuple[str, ...]) -> Row:
    share = count / max(of, 1)
    met = share >= mark if mark > 0 else share <= -mark
    return Row(figure=figure, asked=asked, reached=f"{100 * share:.1f} % of {of}", met=met, failures=failures)


GROUP = Group(
    name="The next move in closed loop",
    jobs=lambda quick: SEEDS[:20] if quick else SEEDS,
    run=play,
    rows=rows,
    words="closed loops",
)
