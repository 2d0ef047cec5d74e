"""`bedwatch practise`: a badly set make-believe bed to tune by typing, with or without the advice."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from bedwatch.bed import Bed
from bedwatch.errors import UserError
from bedwatch.judge.advisor import Advice, Advisor, Look
from bedwatch.judge.belief import Seen
from bedwatch.judge.types import ALL_ZONES, Did, Done, HintWord, Outcome
from bedwatch.sim.demo import demo_bed
from bedwatch.sim.trainer import Trainer

_HELP = """\
Turn valves until every zone simmers alike. Type and press Enter:
  4 less 0.2    close zone 4's valve by a fifth of its travel
  all more 0.1  open the supply by a tenth
  stir          stir the whole bed
  a             do what is advised
  truth         how the bed really stands
  q             give up
A pretended bed hurts nobody; a real one can: codes, the powder's safety data sheet and licensed practice come first."""
_WORDS = {"more": Done.MORE_AIR, "less": Done.LESS_AIR}


def run_practise(seed: int, *, advice: bool) -> int:
    """Until the bed is even, the input ends, or it is given up. advice: whether it is shown. Exit status 0."""
    if seed < 0:
        raise UserError(f"--seed: found {seed}, expected 0, 1, 2 or more")
    bed = demo_bed()
    trainer = Trainer(bed, seed)
    advisor = Advisor([zone.name for zone in bed.zones])
    print(_HELP)
    moves = 0
    while True:
        advised = _look(bed, trainer, advisor, moves, shown=advice)
        did = _asked(bed, trainer, advised)
        if did is None:
            print(f"Stopped after {moves} moves. {_truth(bed, trainer)}")
            return 0
        moves += 1
        if did.amount is not None:
            _turn(bed, trainer, did)
        advisor.did(did)
        if trainer.even():
            print(f"Even after {moves} moves. {_truth(bed, trainer)}")
            return 0


def _look(bed: Bed, trainer: Trainer, advisor: Advisor, moves: int, *, shown: bool) -> Advice:
    look = trainer.look()
    print(f"\nLook {moves + 1}")
    for zone, one in zip(bed.zones, look, strict=True):
        bar = "#" * round(one.speed_mm_s / 5)
        print(f"  zone {zone.name}: {100 * one.live:3.0f} % moves, {one.speed_mm_s:4.0f} mm/s  {bar}")
    seen = tuple(Seen(known=True, live=one.live, speed_mm_s=one.speed_mm_s, restless=one.restless) for one in look)
    advised = advisor.look(Look(seen=seen, by_hand=(None,) * len(seen)))
    if shown:
        print(f"  advice: {_told(advised)}")
    return advised


def _told(advice: Advice) -> str:
    move = advice.move
    if move is None:
        return {
            Outcome.EVEN: "as even as can be seen.",
            Outcome.SUPPLY_TOO_SMALL: "the supply has no more to give.",
        }.get(advice.outcome, "nothing that a valve could do.")
    if move.amount is None:
        return f"{move.do.value.replace('_', ' ')}, zone {move.zone}. {move.because}"
    word = "more" if move.do is HintWord.MORE_AIR else "less"
    return f"{move.zone} {word} {move.amount:g}. {move.because}"


def _asked(bed: Bed, trainer: Trainer, advised: Advice) -> Did | None:
    """What is typed next; None at the end. What makes no sense is asked for again."""
    while True:
        print("> ", end="", flush=True)
        line = sys.stdin.readline()
        words = line.split()
        if not line or words == ["q"]:
            return None
        if words == ["truth"]:
            print(_truth(bed, trainer))
            continue
        if words == ["a"]:
            did = _advised(advised)
            if did is not None:
                return did
            print("there is nothing to do by the advice; type a move, or q")
            continue
        found = _move(words, [zone.name for zone in bed.zones])
        if isinstance(found, Did):
            return found
        if found:
            print(found)


def _advised(advice: Advice) -> Did | None:
    move = advice.move
    if move is None:
        return None
    if move.amount is None:
        return Did(do=Done.STIRRED if move.do is HintWord.STIR else Done.CHECKED_PLATE, zone=move.zone)
    return Did(do=Done(move.do.value), zone=move.zone, amount=move.amount)


def _move(words: Sequence[str], names: Sequence[str]) -> Did | str:
    """The move, or what is wrong with it; an empty line is nothing at all."""
    if not words:
        return ""
    if list(words) == ["stir"]:
        return Did(do=Done.STIRRED)
    zones = f"{', '.join(names)} or {ALL_ZONES}"
    if len(words) != 3 or words[1] not in _WORDS:
        return f'found "{" ".join(words)}", expected a zone ({zones}), more or less, and a share, such as: 4 less 0.2'
    if words[0] not in names and words[0] != ALL_ZONES:
        return f'found the zone "{words[0]}", expected {zones}'
    try:
        amount = float(words[2])
    except ValueError:
        amount = -1.0
    if not 0 < amount <= 1:
        return f'found "{words[2]}", expected a share of the valve\'s travel, above 0 up to 1'
    return Did(do=_WORDS[words[1]], zone=words[0], amount=amount)


def _turn(bed: Bed, trainer: Trainer, did: Did) -> None:
    assert did.amount is not None
    zone = None if did.zone == ALL_ZONES else [one.name for one in bed.zones].index(did.zone or "")
    went = trainer.turn(zone, did.amount if did.do is Done.MORE_AIR else -did.amount)
    if abs(went) < did.amount - 1e-9:
        print(f"  the valve is at its end after {abs(went):.2f} of its travel")


def _truth(bed: Bed, trainer: Trainer) -> str:
    air = ", ".join(f"{zone.name}: {r:.2f}" for zone, r in zip(bed.zones, trainer.air(), strict=True))
    return f"Air in times the least that lifts, by zone: {air}. Even is 1.35 to 3 and no more than 1.6 apart."
