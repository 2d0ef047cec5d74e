"""Why a reading says what it says, in words: on the screen when it is asked for, and under plain lines."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from bedwatch.bed import Valves
from bedwatch.judge.types import HintWord, Reading
from bedwatch.show.look import Look
from bedwatch.show.next_move import told
from bedwatch.show.words import HINTS, NO_MARKS, OUTCOMES, PROBLEMS, VERDICTS, fault_act


def why_page(reading: Reading | None, look: Look, valves: Valves = NO_MARKS, notes: Sequence[str] = ()) -> Text:
    """Why the reading says what it says. valves: as the bed file tells them. notes: the program's own, told last."""
    page = Text()
    sentence, why = told(reading, valves)
    page.append(look.text(sentence), "bold")
    page.append(f" {look.text(why)}\n\n" if why else "\n\n")
    if reading is not None:
        _reasons(page, reading, look)
    for note in notes:
        page.append("\n! ", "bold")
        page.append(f"{look.text(note)}\n")
    return page


def _reasons(page: Text, reading: Reading, look: Look) -> None:
    verdict = VERDICTS[reading.bed.verdict] if reading.bed.verdict else "can't tell"
    page.append(f"The bed: {verdict}; {OUTCOMES[reading.outcome]}.\n\n")
    for zone in reading.zones:
        page.append(
            look.text(f"{look.mark(zone.hint)} Zone {zone.zone}: {HINTS[zone.hint]}. "),
            "" if zone.hint in (HintWord.HOLD, HintWord.WAIT) else "bold",
        )
        page.append(f"{look.text(zone.because)}\n")
    for fault in reading.faults:
        page.append(f"\n{look.fault_mark(fault.kind)} ", "bold")
        page.append(f"{look.text(fault_act(fault))}\n")
    for problem in reading.problems:
        page.append(f"\n! {PROBLEMS[problem.kind]}: ", "bold")
        page.append(f"{look.text(problem.advice)}\n")
