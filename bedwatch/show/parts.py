"""The parts of the picture for people, each a pure function from a finished reading to lines of text."""

from __future__ import annotations

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import Fault, Reading, State
from bedwatch.show.bed_map import bed_map
from bedwatch.show.lines import Lines, cut, wrapped
from bedwatch.show.look import Look
from bedwatch.show.next_move import next_move, why_no_picture
from bedwatch.show.standing import NOTHING_BESIDE, Camera, Saved, Standing
from bedwatch.show.words import (
    CANT_TELL,
    FAULTS,
    PROBLEMS,
    STATES,
    VERDICTS,
    fault_place,
    known,
    seconds,
    share,
    speed_with_unit,
)
from bedwatch.show.zone_table import zone_table

__all__ = [
    "CAUTIONS",
    "SHORT_CAUTION",
    "bed_line",
    "bed_map",
    "cautions",
    "faults_list",
    "header",
    "next_move",
    "problems_list",
    "zone_table",
]

CAUTIONS = (
    "Powder in air can explode and must not be breathed: among other things, extraction on, no sparks, metal and people "
    "earthed, mask on.",
    "Hot parts and ovens burn, and a part that is too hot can light the powder.",
    "Follow local codes, the powder's safety data sheet and licensed practice.",
    "Not a safety device: it only sees pictures. It cannot detect explosive dust, ignition or grounding faults.",
)
SHORT_CAUTION = "Not a safety device, it sees pictures only. Dust can explode, hot parts burn."
_SHORTER_CAUTIONS = (
    SHORT_CAUTION,
    "Not a safety device. Dust can explode, hot parts burn.",
    "No safety device. Dust can explode.",
    "No safety device.",
)
_BOLD = Style(bold=True)
_DIM = Style(dim=True)


def header(
    reading: Reading | None,
    bed: Bed,
    look: Look,
    *,
    width: int,
    duration_s: float | None = None,
    standing: Standing = NOTHING_BESIDE,
) -> Text:
    """Bed, camera, state and time in one line; with `duration_s` (of a file) also how much of it is done."""
    right, waiting = "starting", False
    if reading is not None:
        waiting = reading.state is not State.READING
        state = "paused" if standing.paused else "ended" if standing.ended else STATES[reading.state]
        health = [_health(reading, standing.camera, look)] if standing.camera else []
        times = (_time(reading.time_s, duration_s, look), seconds(reading.time_s))
        dot = f" {look.dot} "
        choices = [dot.join([*health, state, time]) for time in times] + [dot.join([state, time]) for time in times]
        room = width - 2 - min(cell_len(bed.name), 16)
        right = next((words for words in choices if cell_len(words) <= room), choices[-1])
    right = cut(right, width, look)
    left = cut(bed.name, max(0, width - cell_len(right) - 2), look)
    gap = " " * max(0, width - cell_len(left) - cell_len(right))
    return Text.assemble((left, _BOLD), gap, (right, _BOLD if waiting else ""), no_wrap=True, end="")


def _health(reading: Reading, camera: Camera, look: Look) -> str:
    """The camera in three words: how many pictures a second, and whether anything ails it."""
    ailing = len(reading.problems)
    state = "ok" if not ailing else f"! {ailing} to see to"
    return look.text(f"camera {camera.per_s:.0f}/s {state}")


def _time(time_s: float, duration_s: float | None, look: Look) -> str:
    whole = known(duration_s)
    if whole is None or whole <= 0.0:
        return seconds(time_s)
    done = min(max(time_s / whole, 0.0), 1.0) if known(time_s) is not None else 0.0
    full, empty = ("█", "░") if look.unicode else ("#", ".")
    bar = round(done * 10)
    return f"{seconds(time_s)} of {seconds(whole)} {full * bar}{empty * (10 - bar)} {round(100 * done)} %"


def bed_line(reading: Reading | None, look: Look, *, width: int, saved: Saved | None = None) -> Text:
    """The bed as a whole in one line: verdict, evenness (beside the saved setting's), live share, speed with its error."""
    bed = reading.bed if reading else None
    verdict = VERDICTS[bed.verdict] if bed and bed.verdict else CANT_TELL
    even = known(bed.evenness) if bed else None
    pieces = [
        f"evenness {CANT_TELL if even is None else f'{even:.2f}'}" + _saved_evenness(saved),
        f"live {(share(bed.live) if bed else None) or CANT_TELL}",
        speed_with_unit(bed.speed_mm_s, bed.speed_error_mm_s) if bed else f"speed {CANT_TELL}",
    ]
    if bed and known(bed.speed_mm_s) is None:
        pieces[-1] = f"speed {CANT_TELL}"
    rest = f" {look.dot} ".join(["", *pieces]).rstrip()
    first = cut(f"Bed: {verdict}", width, look)
    room = max(0, width - cell_len(first))
    return Text.assemble((first, _BOLD), cut(rest, room, look), no_wrap=True, end="")


def _saved_evenness(saved: Saved | None) -> str:
    if saved is None:
        return ""
    then = known(saved.evenness)
    return f" (saved: {CANT_TELL if then is None else f'{then:.2f}'})"


def faults_list(reading: Reading | None, look: Look, *, width: int, rows: int) -> Lines:
    """One line a fault: its mark, kind, zone, place by the clock, since when. The last line counts what is over."""
    lines = []
    for fault in reading.faults if reading else ():
        text = next((t for t in _fault_words(fault, look) if cell_len(t) <= width), _fault_words(fault, look)[-1])
        lines.append(Text(cut(text, width, look), style=_BOLD, no_wrap=True, end=""))
    return _at_most(lines, rows, width, "more faults", look)


def _fault_words(fault: Fault, look: Look) -> tuple[str, str, str]:
    """The same fault in three lengths."""
    size = known(fault.area_mm2)
    area = f"size {CANT_TELL}" if size is None else f"{size:.0f} mm²"
    what = f"{look.fault_mark(fault.kind)} {FAULTS[fault.kind]}, zone {fault.zone}"
    place = fault_place(fault.x_mm, fault.y_mm)
    since = f"since {seconds(fault.since_s)}"
    full = look.text(f"{what}: {place}, {area}, {since}")
    return full, look.text(f"{what}: {place}, {since}"), look.text(f"{what}: {place.partition(',')[0]}, {since}")


def problems_list(
    reading: Reading | None,
    look: Look,
    *,
    width: int,
    rows: int,
    notes: tuple[str, ...] = (),
    answer: str | None = None,
) -> Lines:
    """What ails the picture and what to do, and notes of the program's own, each wrapped over two lines if need
    be. The last line counts what is over. What `next_move` tells in full is not told again.

    answer: what the last key came to, told first and whole; the header counts what ails the picture meanwhile.
    """
    said_above = why_no_picture(reading)
    problems = [p for p in reading.problems if p is not said_above] if reading else []
    found = [f"{PROBLEMS[p.kind]}: {p.advice}" for p in problems]
    said = [f"! {words}" for words in [*found, *notes]]
    lines: Lines = []
    if answer is not None and rows > 0:
        lines = [Text(piece, no_wrap=True, end="") for piece in wrapped(f"! {answer}", width, look, most=min(rows, 3))]
        if len(lines) == rows:
            return lines
    spare = max(0, rows - len(lines) - len(said))
    for words in said:
        pieces = wrapped(words, width, look, most=1 + min(spare, 1))
        spare -= len(pieces) - 1
        lines += [Text(piece, no_wrap=True, end="") for piece in pieces]
    return _at_most(lines, rows, width, "more lines: X tells them", look)


def cautions(look: Look, *, width: int, short: bool = False) -> Lines:
    """What to be careful of at the bed, and what this program cannot do; `short`: in one line, as long as fits."""
    if short:
        words = next((w for w in _SHORTER_CAUTIONS if cell_len(w) <= width), _SHORTER_CAUTIONS[-1])
        return [Text(cut(words, width, look), no_wrap=True, end="")]
    return [Text(line, no_wrap=True, end="") for words in CAUTIONS for line in wrapped(words, width, look)]


def _at_most(lines: Lines, rows: int, width: int, what: str, look: Look) -> Lines:
    if len(lines) <= rows:
        return lines
    if rows <= 0:
        return []
    over = len(lines) - rows + 1
    return [*lines[: rows - 1], Text(cut(f"+ {over} {what}", width, look), style=_DIM, no_wrap=True, end="")]
