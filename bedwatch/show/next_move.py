"""The one move to make now, in letters that are read from across the shop."""

from __future__ import annotations

from rich.style import Style
from rich.text import Text

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Valves
from bedwatch.judge.types import ALL_ZONES, HintWord, Move, Outcome, Reading, State, Verdict
from bedwatch.show.letters import big
from bedwatch.show.lines import Lines, cut, wrapped
from bedwatch.show.look import Look
from bedwatch.show.words import FAULTS, HINTS, NEEDED_S, NO_MARKS, fault_act, instruction, travel_in_short

_WARM = Style(bold=True, color="#d97a00")
_COOL = Style(bold=True, color="#2b8fd6")
_PLAIN = Style(bold=True)
# both read on black and on white, and apart with any common colour vision; the arrow and words say it too


def next_move(
    reading: Reading | None,
    look: Look,
    *,
    width: int,
    words_rows: int = 2,
    double: bool = False,
    amount: bool = False,
    noted: str | None = None,
    back: bool = False,
    paused: bool = False,
    valves: Valves = NO_MARKS,
) -> Lines:
    """A block of full width: the move (or why there is none) large, then how to do it, then why.

    words_rows: how many lines of words at most stand below the large ones. double: letters of twice the size
    where they fit. amount: large letters too for how far to turn. noted: what was just done, told instead until a newer
    reading comes. back: the bed is as it was saved. paused: nothing is read. valves: as the bed file tells them.
    Always as many lines for the same arguments, whatever the reading,
    unless no large letters fit: then one line of spaced capitals, and blank ones to make up for the others.
    """
    sentence, why = _BACK_TOLD if back else told(reading, valves)
    choices = ("YOU ARE BACK", "BACK") if back else headlines(reading)
    if noted is not None:
        sentence, why, choices = f"Noted: {noted}.", _NOTED_WHY, ("NOTED",)
    if paused:
        (sentence, why), choices = _PAUSED_TOLD, ("PAUSED",)
    style = _PLAIN if noted or paused else _style(reading, look)
    lines = [Text(row, style=style, no_wrap=True, end="") for row in _headline(choices, look, width, double)]
    if amount:
        far = _large_amount(None if noted or paused else reading, look, width)
        lines += [Text(row, style=style, no_wrap=True, end="") for row in far]
    words = wrapped(sentence, width, look, most=max(1, words_rows))
    lines += [Text(line, style=_PLAIN, no_wrap=True, end="") for line in words]
    if why and words_rows > len(words):
        more = wrapped(why, width, look, most=words_rows - len(words))
        lines += [Text(line, no_wrap=True, end="") for line in more]
        words = words + more
    return lines + [Text(end="") for _ in range(words_rows - len(words))]


_BACK_TOLD = ("The bed is as it was saved. Leave the valves as they are.", "")
_PAUSED_TOLD = (
    "Nothing is read or noted while your hands are at the bed. P goes on.",
    f"The figures below are from before; afterwards a reading needs about {NEEDED_S} s of picture.",
)
_NOTED_WHY = "Wait until the bed has settled, a minute is best, then look again."


def told(reading: Reading | None, valves: Valves = NO_MARKS) -> tuple[str, str]:
    """What to do in a sentence, and why in another (empty when there is nothing more to say)."""
    if reading is None:
        return f"Waiting for the first pictures; a reading needs about {NEEDED_S} s of picture.", ""
    if problem := why_no_picture(reading):
        return problem.advice or "Aim the camera at the bed again.", ""
    if reading.state is State.NO_PICTURE:
        return "No picture of the bed to go by.", reading.problems[0].advice if reading.problems else ""
    if reading.state is State.BLOCKED:
        return (
            "Take hands, tools and parts out of the camera's view.",
            "If nothing is in the way, the camera has moved: aim again.",
        )
    if reading.state is State.SETTLING:
        return (
            "Leave the valves alone and keep out of the picture while the bed settles.",
            f"A reading needs about {NEEDED_S} s of picture.",
        )
    sentence, why = _reading_told(reading, valves)
    if reading.bed.verdict is Verdict.STILL:
        return _STILL_FIRST, f"If settled: {sentence[:1].lower()}{sentence[1:]} {why}".rstrip()
    return sentence, why


_STILL_FIRST = "Is the air on? Try an earthed rod: smooth fine powder can already be fluid."
_NO_BED = {
    ProblemKind.BED_NOT_FOUND: ("BED NOT FOUND", "NO BED"),
    ProblemKind.BED_LOST: ("BED LOST",),
}


def why_no_picture(reading: Reading | None) -> Problem | None:
    """The problem by which there are pictures but no bed in them, when that is the state; else None."""
    if reading is None or reading.state is not State.NO_PICTURE:
        return None
    return next((problem for problem in reading.problems if problem.kind in _NO_BED), None)


def _reading_told(reading: Reading, valves: Valves) -> tuple[str, str]:
    if reading.next is not None:
        return instruction(reading.next, valves), reading.next.because
    left = _OUTCOME_TOLD[reading.outcome]
    if reading.outcome is not Outcome.NOT_VALVES:
        return left, ""
    for zone in reading.zones:
        if zone.hint not in (HintWord.HOLD, HintWord.WAIT):
            by_hand = zone.hint in (HintWord.STIR, HintWord.CHECK_PLATE)
            act = instruction(Move(zone=zone.zone, do=zone.hint, amount=None, because="")) if by_hand else left
            return act, f"Zone {zone.zone}: {zone.because}"
    return (fault_act(reading.faults[0]), left) if reading.faults else (left, "")


_OUTCOME_TOLD = {
    Outcome.LOOKING: "Watching. Leave the valves as they are.",
    Outcome.MOVING: "Watching. Leave the valves as they are.",
    Outcome.EVEN: "The bed is even. Leave the valves as they are.",
    Outcome.SUPPLY_TOO_SMALL: "The supply does not give enough air for all zones together.",
    Outcome.NOT_VALVES: "What is left is not a matter of valves.",
}


def headlines(reading: Reading | None) -> tuple[str, ...]:
    """The few words to draw large, from the fullest to the shortest; ▲ and ▼ stand for more and less air."""
    if reading is None or reading.state is State.SETTLING:
        return ("WAIT",)
    if problem := why_no_picture(reading):
        return _NO_BED[problem.kind]
    if reading.state is State.NO_PICTURE:
        return ("NO PICTURE",)
    if reading.state is State.BLOCKED:
        return ("VIEW BLOCKED", "BLOCKED")
    if reading.next is not None:
        return _move_headlines(reading.next)
    if reading.outcome is Outcome.EVEN:
        return ("EVEN",)
    if reading.outcome is Outcome.SUPPLY_TOO_SMALL:
        return ("SUPPLY TOO SMALL", "TOO LITTLE AIR", "TOO LITTLE")
    if reading.outcome is Outcome.NOT_VALVES:
        return _left_headlines(reading)
    return ("WATCHING", "WAIT")


def _left_headlines(reading: Reading) -> tuple[str, ...]:
    for zone in reading.zones:
        if zone.hint in (HintWord.STIR, HintWord.CHECK_PLATE):
            return _move_headlines(Move(zone=zone.zone, do=zone.hint, amount=None, because=""))
    if reading.faults and not any(zone.hint not in (HintWord.HOLD, HintWord.WAIT) for zone in reading.zones):
        kind, zone_name = FAULTS[reading.faults[0].kind].upper(), reading.faults[0].zone
        return (f"{kind} ZONE {zone_name}", kind)
    return ("NOT THE VALVES", "NOT VALVES")


def _move_headlines(move: Move) -> tuple[str, ...]:
    what = HINTS[move.do].upper()
    sign = {HintWord.MORE_AIR: "▲ ", HintWord.LESS_AIR: "▼ "}.get(move.do, "")
    if move.zone == ALL_ZONES:
        where = "SUPPLY" if move.do in (HintWord.MORE_AIR, HintWord.LESS_AIR) else "WHOLE BED"
        return (f"{sign}{where} {what}", f"{where} {what}", what)
    name = move.zone
    return (f"{sign}ZONE {name} {what}", f"ZONE {name} {what}", f"{name} {what}", f"{name} {sign or what}".strip())


def _headline(choices: tuple[str, ...], look: Look, width: int, double: bool) -> list[str]:
    rows = 7 if double or not look.unicode else 4
    for size in (True, False) if double else (False,):
        for words in choices:
            if size and words == choices[-1] and len(choices) > 2:
                continue  # rather smaller letters than the mere mark
            if (drawn := big(words, width, look, double=size)) is not None:
                return _centred(drawn, rows)
    plain = look.text(choices[1] if choices[0][0] in "▲▼" else choices[0])
    spaced = " ".join(plain)
    return _centred([spaced if len(spaced) <= width else cut(plain, width, look)], rows)


def _large_amount(reading: Reading | None, look: Look, width: int) -> list[str]:
    """How far to turn, in large letters; blank rows when there is no such thing to say."""
    rows = 4 if look.unicode else 7
    move = reading.next if reading is not None and reading.state is State.READING else None
    words = None if move is None else travel_in_short(move.amount)
    drawn = big(f"BY {words.upper()}", width, look) if words else None
    return [""] * rows if drawn is None else _centred(drawn, rows)


def _centred(drawn: list[str], rows: int) -> list[str]:
    above = (rows - len(drawn)) // 2
    return [""] * above + drawn + [""] * (rows - len(drawn) - above)


def _style(reading: Reading | None, look: Look) -> Style:
    if not look.colour or reading is None or reading.state is not State.READING or reading.next is None:
        return _PLAIN
    return {HintWord.MORE_AIR: _COOL, HintWord.LESS_AIR: _WARM}.get(reading.next.do, _PLAIN)
