"""What the person at the screen may ask of the run that feeds it."""

from __future__ import annotations

from dataclasses import dataclass

from bedwatch.judge.types import Did, Done, HintWord, Move


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A remark for the log."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepClip:
    """The last half minute is worth keeping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepSetting:
    """The setting as it stands is worth keeping. valves: where they stand, as typed: "1: open, 6: a half", or nothing."""

    name: str
    valves: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShowAim:
    """Show where the bed was found, in so many columns and lines of the terminal; in words only when there are none."""

    columns: int
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepAim:
    """What was shown is right: keep it for the next time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAgain:
    """Look for the bed anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """Leave the bed alone for a while, or go on."""

    on: bool


Order = Did | Noted | KeepClip | KeepSetting | ShowAim | KeepAim | LookAgain | Pause

_TOLD = {
    HintWord.MORE_AIR: Done.MORE_AIR,
    HintWord.LESS_AIR: Done.LESS_AIR,
    HintWord.STIR: Done.STIRRED,
    HintWord.CHECK_PLATE: Done.CHECKED_PLATE,
}


def did_as_told(move: Move) -> Did:
    """A told move as a thing done."""
    return Did(do=_TOLD[move.do], zone=move.zone, amount=move.amount)
