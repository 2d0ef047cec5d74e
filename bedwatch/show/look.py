"""What the output can draw: which characters, whether colour. Text from outside is made harmless here."""

from __future__ import annotations

import codecs
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from bedwatch.judge.types import FaultKind, HintWord

_MARKS = {
    HintWord.MORE_AIR: "▲",
    HintWord.LESS_AIR: "▼",
    HintWord.HOLD: "=",
    HintWord.STIR: "~",
    HintWord.CHECK_PLATE: "!",
    HintWord.WAIT: "?",
}
_ASCII_MARKS = _MARKS | {HintWord.MORE_AIR: "^", HintWord.LESS_AIR: "v"}
_FAULT_MARKS = {FaultKind.SPOUT: "●", FaultKind.DEAD_SPOT: "○", FaultKind.RIM_LEAK: "◆"}
_ASCII_FAULT_MARKS = {FaultKind.SPOUT: "*", FaultKind.DEAD_SPOT: "@", FaultKind.RIM_LEAK: "&"}
_SPELT = str.maketrans(
    {
        "±": "+/-",
        "²": "2",
        "³": "3",
        "×": "x",
        "·": "-",
        "–": "-",
        "—": "-",
        "−": "-",
        "…": "...",
        "’": "'",
        "‘": "'",
        "“": '"',
        "”": '"',
        "°": " deg",
        "µ": "u",
        "→": "->",
        "≤": "<=",
        "≥": ">=",
        "⌀": "dia. ",
        "½": "1/2",
        "ø": "o",
        "ß": "ss",
    }
)
_ALL_WE_DRAW = "▲▼●○◆▀▄█░▒▓·±²─┃…"


class Output(Protocol):
    """As much of a text stream as the choice of a look needs."""

    @property
    def encoding(self) -> str | None: ...
    def isatty(self) -> bool: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """unicode: more than ASCII can be drawn. colour: colours reach the eye (nothing is told by colour alone)."""

    unicode: bool = True
    colour: bool = True

    def mark(self, hint: HintWord) -> str:
        """One character for a hint, the same wherever it is drawn."""
        return (_MARKS if self.unicode else _ASCII_MARKS)[hint]

    def fault_mark(self, kind: FaultKind) -> str:
        """One character for a kind of fault."""
        return (_FAULT_MARKS if self.unicode else _ASCII_FAULT_MARKS)[kind]

    @property
    def fills(self) -> str:
        """Four characters from still to wholly live, for a map without colour."""
        return "·░▒▓" if self.unicode else ".:+#"

    @property
    def dot(self) -> str:
        """What stands between two statements on one line."""
        return "·" if self.unicode else "-"

    @property
    def rule(self) -> str:
        """What a horizontal line is made of."""
        return "─" if self.unicode else "-"

    def text(self, words: str) -> str:
        """The same words, safe to draw: on one line, no control characters, spelt out where only ASCII goes."""
        spaced = "".join(" " if ch.isspace() else ch for ch in words)
        seen = "".join("?" if unicodedata.category(ch) in _UNDRAWN else ch for ch in spaced)
        if self.unicode:
            return seen
        plain = unicodedata.normalize("NFKD", seen.translate(_SPELT))
        bare = "".join(ch for ch in plain if not unicodedata.combining(ch))
        return bare.encode("ascii", "replace").decode("ascii")


_UNDRAWN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def look_for(output: Output, environ: Mapping[str, str]) -> Look:
    """The look for an output stream: NO_COLOR (any value but the empty one) and the encoding are respected."""
    return Look(
        unicode=can_encode(output.encoding, _ALL_WE_DRAW),
        colour=is_screen(output, environ) and not environ.get("NO_COLOR"),
    )


def is_screen(output: Output, environ: Mapping[str, str]) -> bool:
    """Whether a moving picture can be drawn: a terminal, and not one that calls itself dumb."""
    try:
        return output.isatty() and environ.get("TERM", "").lower() not in ("dumb", "unknown")
    except ValueError:  # a closed stream
        return False


def has_keys_and_screen(inlet: Output | None, *outlets: Output | None, environ: Mapping[str, str]) -> bool:
    """Whether somebody can sit there: a terminal for keys and for the picture, not a pipe, a job or a dumb terminal."""
    return all(stream is not None and is_screen(stream, environ) for stream in (inlet, *outlets))


def can_encode(encoding: str | None, text: str) -> bool:
    """Whether an encoding holds every character of the text; an unknown or missing encoding does not."""
    try:
        codecs.lookup(encoding or "")
        text.encode(encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True
