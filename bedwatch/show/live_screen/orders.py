"""What the person at the screen may ask of the run that feeds it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bedwatch.judge.types import HintWord, Move
from bedwatch.show.words import HINTS, travel, valve


class ByHand(StrEnum):
    """What hands did that is no move of a valve."""

    STIRRED = "stirred"
    TOPPED_UP = "topped_up"
    CHECKED_PLATE = "checked_plate"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A valve was moved. amount: share of its travel, a magnitude; None when nobody can say."""

    zone: str
    do: HintWord
    amount: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Something was done by hand. zone: where, None for the whole bed or when it was not said."""

    what: ByHand
    zone: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A remark for the log."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepClip:
    """The last half minute is worth keeping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepSetting:
    """The setting as it stands is worth keeping, under a name."""

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """Leave the bed alone for a while, or go on."""

    on: bool


Deed = Moved | Done
Order = Deed | Noted | KeepClip | KeepSetting | Pause

_DONE = {ByHand.STIRRED: "stirred", ByHand.TOPPED_UP: "topped up", ByHand.CHECKED_PLATE: "plate checked"}


def deed_of(move: Move) -> Deed:
    """A told move as a thing done."""
    by_hand = {HintWord.STIR: ByHand.STIRRED, HintWord.CHECK_PLATE: ByHand.CHECKED_PLATE}
    if move.do in by_hand:
        return Done(what=by_hand[move.do], zone=move.zone)
    return Moved(zone=move.zone, do=move.do, amount=move.amount)


def deed_words(deed: Deed) -> str:
    """What was done, in a few words."""
    if isinstance(deed, Done):
        return _DONE[deed.what] if deed.zone is None else f"{valve(deed.zone)} {_DONE[deed.what]}"
    far = travel(deed.amount)
    return f"{valve(deed.zone)} {HINTS[deed.do]}" + (f", {far}" if far else "")
