"""The keys, in two lines: the large one with what it would write down, and below it the others."""

from __future__ import annotations

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text

from bedwatch.bed import Valves
from bedwatch.judge.types import ALL_ZONES, HintWord, Move
from bedwatch.show.lines import Lines, cut
from bedwatch.show.look import Look
from bedwatch.show.standing import Standing
from bedwatch.show.words import HINTS, NO_MARKS, travel, valve

LARGE_KEY = "SPACE"
# In order of need: what does not fit is on the help page, which is always named.
KEYS = (
    ("M", "other move"),
    ("S", "stirred"),
    ("V", "save"),
    ("X", "explain"),
    ("T", "topped up"),
    ("P", "pause"),
    ("A", "aim"),
    ("O", "sound"),
    ("K", "keep clip"),
    ("N", "note"),
    ("C", "plate checked"),
)
ALWAYS = (("H", "help"), ("Q", "quit"))
_KEY = Style(bold=True, reverse=True)
_DIM = Style(dim=True)
GAP = "  "


def key_bar(
    standing: Standing, look: Look, *, width: int, now_s: float | None = None, valves: Valves = NO_MARKS
) -> Lines:
    """Two lines of at most `width` cells. now_s: source time, to say how long ago the last thing was done.
    valves: as the bed file tells them."""
    return [_large(standing, look, width, now_s, valves), _others(standing, look, width)]


def move_words(move: Move, valves: Valves = NO_MARKS) -> str:
    """A move in a few words: "zone 6 less air, about a quarter of its travel"."""
    if move.do in (HintWord.STIR, HintWord.CHECK_PLATE):
        where = "the whole bed" if move.zone == ALL_ZONES else f"zone {move.zone}"
        return f"{where}: {HINTS[move.do]}"
    far = travel(move.amount)
    return f"{valve(move.zone, valves)} {HINTS[move.do]}" + (f", {far}" if far else "")


def _large(standing: Standing, look: Look, width: int, now_s: float | None, valves: Valves) -> Text:
    key = f" {LARGE_KEY} "
    words, style = _large_words(standing, now_s, valves)
    line = Text(no_wrap=True, end="")
    if style is None:
        line.append(cut(words, width, look), Style(bold=True))
        return line
    line.append(cut(key, width, look), _KEY if style.bold else Style(reverse=True, dim=True))
    line.append(cut(f" {words}", max(0, width - cell_len(key)), look), style)
    return line


def _large_words(standing: Standing, now_s: float | None, valves: Valves) -> tuple[str, Style | None]:
    """What the large key does now, and how it stands; no style: the line is no key."""
    if standing.paused:
        return "Paused: nothing is read or noted. P goes on.", None
    both = [move for move in (standing.earlier, standing.told) if move is not None]
    if len(both) == 2:
        words = f"done, and asks which: {move_words(both[0], valves)} or {move_words(both[1], valves)}"
        return words, Style(bold=True)
    if both:
        return f"done as told: {move_words(both[0], valves)}", Style(bold=True)
    if standing.made is not None:
        ago = "" if standing.made_s is None or now_s is None else f" {max(0.0, now_s - standing.made_s):.0f} s ago"
        return f"noted{ago}: {standing.made}", _DIM
    return "done as told (nothing is told now)", _DIM


def _others(standing: Standing, look: Look, width: int) -> Text:
    words = dict(KEYS)
    if standing.muted:
        words = {"O": "sound on"} | {key: word for key, word in words.items() if key != "O"}
    else:
        words["O"] = "sound off"
    words["P"] = "go on" if standing.paused else "pause"
    last = list(ALWAYS)
    room = width + len(GAP) - sum(_wide(*pair) for pair in last)
    shown = []
    for key, word in words.items():
        if _wide(key, word) <= room:
            shown.append((key, word))
            room -= _wide(key, word)
    line = Text(no_wrap=True, end="")
    for key, word in [*shown, *last]:
        line.append(GAP if line else "")
        line.append(f" {key} ", _KEY)
        line.append(f" {word}")
    return line if line.cell_len <= width else Text(cut("H help  Q quit", width, look), no_wrap=True, end="")


def _wide(key: str, word: str) -> int:
    return len(key) + 3 + len(word) + len(GAP)
