"""The test of lines step by step: what to turn, a look, what answered."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence

from bedwatch.commands.valve_looks import Seens, TakeLook
from bedwatch.judge.line_test import Ask, LineTest
from bedwatch.show.valve_text import answer_words, ask_words

HELP = """\
Press Enter when a valve was turned as told. Or type how far it went, as a share of its travel (0.1 opened, -0.1 closed),
s to leave the valve out, q to stop with what is known. All zones at a gentle simmer show it best.
Powder in air can explode and must not be breathed: codes, the powder's safety data sheet and licensed practice come first."""

Typed = Callable[[str], str | None]  # a line for a prompt, None at the end of the input
Turn = Callable[[str, float], float]


def by_hand(_valve: str, by: float) -> float:
    """A real valve: it was turned as the person says."""
    return by


def guided(test: LineTest, names: Sequence[str], look: TakeLook, turn: Turn, typed: Typed) -> None:
    """Asks for one turn after another until all is known, given up, or the person stops. turn: how far a valve went that was to
    be turned so far. names: of the zones."""
    while True:
        seen = _look(look, typed)
        if seen is None:
            return
        test.seen(seen)
        if not test.too_still:
            break
        moving = sum(one.known and one.live >= 0.5 for one in seen)
        print(f"Only {moving} of {len(seen)} zones move: what a valve does would not show.")
        if typed("Raise the supply until most zones simmer, then press Enter: ") in (None, "q"):
            return
        test.restart()
    while (ask := test.ask()) is not None:
        print(f"\n[{test.done + 1} of about {test.done + test.left}] {ask_words(ask)}")
        by = _turned(test, ask, turn, typed)
        if by is None:
            return
        if by == 0.0:
            continue
        test.turned(ask.valve, by)
        seen = _look(look, typed)
        if seen is None:
            return
        test.seen(seen)
        if not ask.back:
            print(f"  {answer_words(test.owner(ask.valve), names)}")


def _look(look: TakeLook, typed: Typed) -> Seens | None:
    """A look that can be told from; None when the person stops."""
    while True:
        seen = look()
        if not isinstance(seen, str):
            return seen
        print(f"Nothing can be told: {seen}.")
        if typed("Press Enter to look again, q to stop: ") in (None, "q"):
            return None


def _turned(test: LineTest, ask: Ask, turn: Turn, typed: Typed) -> float | None:
    """How far the valve was turned; 0 when it was left out, None to stop."""
    while True:
        line = typed("> ")
        if line is None or line == "q":
            return None
        if line == "s":
            test.skip(ask.valve)
            return 0.0
        by = ask.by if line == "" else share_of(line)
        if by is not None:
            went = turn(ask.valve, by)
            if went:
                return went
            print(f"The valve is at its end; turn it the other way: {-by:g}")
            continue
        print(f'found "{line}", expected Enter, a share of the travel such as 0.1 or -0.1, s or q')


def typed_line(prompt: str) -> str | None:
    print(prompt, end="", flush=True)
    line = sys.stdin.readline()
    return line.strip() if line else None


def share_of(typed: str) -> float | None:
    """A share of a valve's travel as typed, less than 0 when closed; None when it is none."""
    try:
        by = float(typed)
    except ValueError:
        return None
    return by if 0 < abs(by) <= 1 else None
