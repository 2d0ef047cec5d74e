"""One source followed to its end: moments in, readings and notes out, and an exit status."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from bedwatch.cli import EXIT_LOST, EXIT_NOT_FOUND
from bedwatch.commands.attended import moments_of
from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Outcome, Passed, Source, Tick
from bedwatch.judge.types import Reading, State
from bedwatch.watch import End, Lost, Watch

Give = Callable[[Reading], None]
Note = Callable[[str], None]

READING_NEEDS_S = 8.0


def both(first: Give, second: Give) -> Give:
    """Every reading to the one, then to the other."""

    def give(reading: Reading) -> None:
        first(reading)
        second(reading)

    return give


class Run:
    """One source, from its first frame to its end."""

    def __init__(self, watch: Watch, frames: Source, give: Give, note: Note, aim_file: Path | None) -> None:
        self._watch = watch
        self._frames = frames
        self._give = give
        self._note = note
        self._aim_file = aim_file
        self._told: set[str] = set()
        self._held: Reading | None = None
        self._last: Reading | None = None
        self._read = False
        self._now_s = 0.0

    def follow(self) -> int:
        """Hands on all readings; the exit status."""
        try:
            return self._follow()
        finally:
            self._release()

    @property
    def too_little(self) -> str | None:
        """What to say when it ended before anything could be judged."""
        if self._read or self._last is None or self._last.state is not State.SETTLING:
            return None
        seen, needed = f"{self._now_s:.1f} s seen", f"a reading needs about {READING_NEEDS_S:g} s of"
        if self._now_s < READING_NEEDS_S:
            return f"only {seen}; {needed} picture"
        return f"no reading in {seen}; {needed} undisturbed picture"

    def _follow(self) -> int:
        self._tell()
        for moment in moments_of(self._frames, self._watch.wants):
            self._now_s = moment.time_s
            reading = self._step(moment)
            self._release()
            self._held = reading
            if self._frames.live:
                self._release()
                self._tell()  # what ails a file is counted up and told once, at its end
            if self._watch.not_found is not None:
                break
        else:
            return self._end()
        self._tell()
        return EXIT_NOT_FOUND

    def _end(self) -> int:
        lost = self._frames.outcome is Outcome.LOST
        cut_short = self._frames.outcome is Outcome.CUT_SHORT
        reading = self._watch.step(Lost(time_s=self._now_s) if lost else End(cut_short=cut_short))
        if reading is not None and self._held is not None and reading.time_s == self._held.time_s:
            self._held = None  # the last one knows more: that the source ended here
        if lost and self._last is not None and reading is not None and self._last.time_s >= reading.time_s:
            reading = None  # the last tick said so already
        self._release()
        self._held = reading
        self._release()
        self._tell()
        if (passed := self._watch.passed_over) > 0:
            came = self._watch.came
            self._note(f"looked at {came - passed} of {came} frames; while a bed is calm the others show nothing new")
        if lost:
            return EXIT_LOST
        return 0 if self._watch.not_found is None else EXIT_NOT_FOUND

    def _step(self, moment: Frame | Passed | Tick) -> Reading | None:
        try:
            return self._watch.step(moment)
        except UserError as mistake:
            if self._aim_file is None or not isinstance(moment, Frame) or moment.number > 0:
                raise
            # On the first frame it can only be the aim that does not fit.
            raise UserError(*(f"{self._aim_file}: {line}" for line in mistake.lines)) from mistake

    def _release(self) -> None:
        """A reading of a file is held back for one frame: the one at the end is replaced by the last."""
        reading, self._held = self._held, None
        if reading is not None:
            self._last = reading
            self._read = self._read or reading.state is State.READING
            self._give(reading)

    def _tell(self) -> None:
        new = [words for words in self._frames.notes if words not in self._told]
        self._told.update(new)
        for words in new:
            self._note(words)
