"""What has happened so far, as far as the screen must remember it. No clock: time is the source's, in the readings."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto

from bedwatch.aim.types import ProblemKind
from bedwatch.judge.types import Did, Move, Reading, State, Verdict
from bedwatch.judge.way_back import Against
from bedwatch.show.live_screen.orders import did_as_told
from bedwatch.show.standing import NOTHING_BESIDE, Camera, Saved, Standing
from bedwatch.show.way_back_view import toward
from bedwatch.show.words import did_words

# The same sound not again within this, so that a bed on the edge does not ring all day.
QUIET_S = 10.0
_LOOK_AT = frozenset({ProblemKind.BED_LOST, ProblemKind.BED_NOT_FOUND, ProblemKind.DUST_CLOUD})


class Sound(Enum):
    """What is worth a sound."""

    MOVE_NOW = auto()
    LOOK_AT_BED = auto()


class Story:
    """Follows the readings shown and what was done. `standing` is what the picture is drawn from."""

    def __init__(self, *, saved: Saved | None = None, keys: bool = True) -> None:
        self.reading: Reading | None = None
        self.standing: Standing = replace(NOTHING_BESIDE, keys=keys, saved=saved)
        self._judged: Reading | None = None  # the newest with figures
        self._changed = False  # the air, since the move was told
        self._alarms: frozenset[object] = frozenset()
        self._rang_s: dict[Sound, float] = {}

    def take(self, reading: Reading, against: Against | None = None) -> Sound | None:
        """A new reading, and where the bed stands on the way back to a setting; what it is worth hearing."""
        self.reading = reading
        self.standing = replace(self.standing, against=against)
        if reading.state is State.READING:
            self._judged = reading
        alarms = _alarms(reading)
        sound = Sound.LOOK_AT_BED if alarms - self._alarms else None
        self._alarms = alarms
        if self._tell(toward(reading, against)) and sound is None:
            sound = Sound.MOVE_NOW
        return self._rings(sound, reading.time_s)

    def told_moves(self) -> tuple[Did, ...]:
        """What was told and not reported yet, the earlier first: more than one when it can't be known which was made."""
        moves = (self.standing.earlier, self.standing.told)
        return tuple(did_as_told(move) for move in moves if move is not None)

    def did(self, did: Did) -> None:
        """Something was done: the trends begin here, and what was told is dealt with."""
        self.standing = replace(
            self.standing,
            told=None,
            earlier=None,
            made=did_words(did),
            made_s=None if self.reading is None else self.reading.time_s,
            before=self._judged,
        )
        self._changed = False

    def camera(self, camera: Camera) -> None:
        self.standing = replace(self.standing, camera=camera)

    def mute(self) -> bool:
        """Turns sounds off, or on again; whether they are off now."""
        self.standing = replace(self.standing, muted=not self.standing.muted)
        return self.standing.muted

    def pause(self) -> bool:
        """Pauses, or goes on; whether it is paused now."""
        self.standing = replace(self.standing, paused=not self.standing.paused)
        return self.standing.paused

    def saved(self, saved: Saved) -> None:
        self.standing = replace(self.standing, saved=saved)

    def end(self, why: str) -> None:
        self.standing = replace(self.standing, ended=why, paused=False)

    def _tell(self, reading: Reading) -> bool:
        """Takes over the move of a reading; whether it is a new one to make."""
        told, move = self.standing.told, reading.next
        if reading.state is State.SETTLING and told is not None:
            self._changed = True
        if reading.state is not State.READING:
            return False
        new = not _same(told, move)
        if new and self._changed and told is not None:
            self.standing = replace(self.standing, earlier=told)
        if new:
            self._changed = False
        if _same(self.standing.earlier, move):
            self.standing = replace(self.standing, earlier=None)
        self.standing = replace(self.standing, told=move)
        return new and move is not None

    def _rings(self, sound: Sound | None, now_s: float) -> Sound | None:
        if sound is None or self.standing.muted or now_s - self._rang_s.get(sound, float("-inf")) < QUIET_S:
            return None
        self._rang_s[sound] = now_s
        return sound


def _same(a: Move | None, b: Move | None) -> bool:
    return a is b if a is None or b is None else (a.zone, a.do) == (b.zone, b.do)


def _alarms(reading: Reading) -> frozenset[object]:
    """What asks for eyes on the bed."""
    found: set[object] = {problem.kind for problem in reading.problems if problem.kind in _LOOK_AT}
    if reading.state in (State.BLOCKED, State.NO_PICTURE):
        found.add(reading.state)
    if reading.bed.verdict is Verdict.VIOLENT:
        found.add(Verdict.VIOLENT)
    found.update((fault.kind, fault.zone) for fault in reading.faults)
    return frozenset(found)


__all__ = ["QUIET_S", "Sound", "Story"]
