"""The words of the help page."""

from __future__ import annotations

from rich.text import Text

from bedwatch.show.key_bar import ALWAYS, KEYS, LARGE_KEY
from bedwatch.show.look import Look
from bedwatch.show.parts import CAUTIONS
from bedwatch.show.words import HINTS

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
