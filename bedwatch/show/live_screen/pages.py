"""The words of the help page and of the page that explains a reading."""

from __future__ import annotations

from rich.text import Text

from bedwatch.bed import Valves
from bedwatch.judge.types import HintWord, Reading
from bedwatch.show.key_bar import ALWAYS, KEYS, LARGE_KEY
from bedwatch.show.look import Look
from bedwatch.show.next_move import told
from bedwatch.show.parts import CAUTIONS
from bedwatch.show.words import HINTS, NO_MARKS, OUTCOMES, PROBLEMS, VERDICTS, fault_act

_MEANINGS = {
    LARGE_KEY: "Done as told: the move on the screen was made. ENTER, PAGE DOWN and any foot pedal that sends one of them do the "
    "same. It goes into the log, and what every zone answers is followed from then on.",
    "M": "You made another move: which valve, which way, how far.",
    "S": "You stirred by hand.",
    "T": "You topped powder up.",
    "V": "Save this setting: the mean of the last minutes, under a name and with the valves' marks in your own words.",
    "X": "Why: every zone's reason, every fault, what ails the picture.",
    "P": "Pause while you work at the bed: nothing is read or noted. Once more: go on.",
    "A": "See where the bed was found, keep that for the next time, or look anew.",
    "O": "Sounds off, or on. Once: a move to make now. Three times: look at the bed.",
    "K": "Keep the last 30 s as a clip, the bed only.",
    "N": "Write a note into the log.",
    "C": "You looked at the plate.",
    "H": "This page.",
    "Q": "End. The bed and its valves stay as they are.",
}


def help_page(look: Look) -> Text:
    """The cautions first, then what every key does, then the marks."""
    page = Text()
    for caution in CAUTIONS:
        page.append(f"{look.text(caution)}\n", "bold")
    page.append("\n")
    for key, _ in ((LARGE_KEY, ""), *KEYS, *ALWAYS):
        page.append(f" {key} ", "bold reverse")
        page.append(f"  {look.text(_MEANINGS[key])}\n")
    page.append("\n")
    marks = "  ".join(f"{look.mark(hint)} {words}" for hint, words in HINTS.items())
    page.append(f"Marks: {marks}\n")
    page.append(
        look.text(
            "Live: share of the area that moved in the last 10 s. Speed: of the surface as it appears, with one standard "
            "error. Evenness: 1 is even, 0 is still.\n"
        )
    )
    return page


def why_page(reading: Reading | None, look: Look, valves: Valves = NO_MARKS) -> Text:
    """Why the reading says what it says. valves: as the bed file tells them."""
    page = Text()
    sentence, why = told(reading, valves)
    page.append(look.text(sentence), "bold")
    page.append(f" {look.text(why)}\n\n" if why else "\n\n")
    if reading is None:
        return page
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
    return page
