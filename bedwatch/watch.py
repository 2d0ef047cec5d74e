"""The joiner: frames to aim to motion to judgement. No clock, no input or output: replay, live and simulation are one path."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from bedwatch.aim.finding.search import find_bed
from bedwatch.aim.following.afresh import Afresh
from bedwatch.aim.following.place import moved_aim
from bedwatch.aim.health.camera import CameraCheck
from bedwatch.aim.kept import fits, settled
from bedwatch.aim.types import Aim, NotFound, Problem, ProblemKind
from bedwatch.bed import Bed, make_cells
from bedwatch.errors import UserError
from bedwatch.frames.frame import Coloured, Frame, Passed, Picture, Tick
from bedwatch.judge.judge import Judge
from bedwatch.judge.types import Did, Reading, State
from bedwatch.motion.eyes import Eyes
from bedwatch.motion.rota import Turns

# One reading per this much source time: at least one a second, also when frames come unevenly.
READING_EVERY_S = 0.8
# Pictures over which the bed is looked for, and when to look again if it was not found.
AIM_PICTURES = 10
AIM_AT_S = (1.0, 3.5)
# The very same picture for so long is no picture: a living camera's noise never repeats.
FROZEN_S = 1.6
# A camera that was silent for so long may have been moved.
AWAY_S = 2.0
# Without any picture for so long, a live source is silent; one whose usual step is slow, for so many of these.
SILENT_S, SLOW_STEP_S, SILENT_STEPS, SILENT_MOST_S = 0.9, 0.6, 2.5, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """The source has gone away (live) or shows nothing; time_s is source time."""

    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The source is at its end. cut_short: it ended before it said it would."""

    cut_short: bool = False


Happening = Frame | Passed | Tick | Lost | End | Did


class Watch:
    """Follows one bed. `step` takes one happening and gives a reading when one is due.

    aim: where the bed is; None to look for it on the first frames. past: what was seen and done before, as a log keeps it.
    came, passed_over: how many frames there were, and how many of them were not looked at, since while all is calm they show
    nothing new. kept: an aim from another day; gone by when the bed is found where it says, or not found at all.
    Once `not_found` is set there is nothing more to come.
    Raises UserError when the aim does not fit the picture.
    """

    def __init__(
        self, bed: Bed, aim: Aim | None = None, past: Iterable[Reading | Did] = (), *, kept: Aim | None = None
    ) -> None:
        self.bed = bed
        self.aim = aim
        self.not_found: NotFound | None = None
        self.came = self.passed_over = 0
        self._kept = kept
        self._sought: NotFound | None = None  # while the bed is looked for once more: why it was not found before
        self._cells = make_cells(bed)
        self._judge = Judge(bed, self._cells, past)
        self._camera = CameraCheck()
        self._pictures: list[Frame] = []
        self._tries = list(AIM_AT_S)
        self._next_picture_s = 0.0
        self._eyes: Eyes | None = None
        self._turns: Turns | None = None  # None: every frame is looked at
        self._shape: tuple[int, ...] = ()
        self._afresh = Afresh()
        self._next_s = READING_EVERY_S
        self._now_s = 0.0
        self._fresh_s = 0.0
        self._frame_s = 0.0
        self._steps_s: deque[float] = deque([0.0], maxlen=9)
        self._silent = False
        self._given_s = -1.0
        self._cut_short = False

    def step(self, happening: Happening) -> Reading | None:
        """Take in one happening; a reading if one is due."""
        if isinstance(happening, Lost):
            self._forget()
            self._now_s = self._given_s = happening.time_s
            return self._judge.nothing(happening.time_s, State.NO_PICTURE, self._problems())
        if isinstance(happening, End):
            self._cut_short = happening.cut_short
            return self._last()
        if isinstance(happening, Tick):
            return self._tick(happening.time_s)
        if isinstance(happening, Did):
            self._judge.did(happening)
            self._forget()  # what was seen before tells nothing of what is now
            return None
        return None if self.not_found is not None else self._frame(happening)

    def wants(self, frame_number: int) -> bool:
        """Whether the picture of a frame of this number is wanted. May be asked some frames ahead, and in another thread: what it
        reads is replaced as a whole."""
        turns = self._turns
        return turns is None or turns.serves(frame_number)

    def look_again(self) -> None:
        """The bed is looked for anew, as at the start, and nothing kept is gone by."""
        self._sought, self.not_found = self.not_found, None
        self.aim, self._kept, self._eyes = None, None, None
        self._pictures.clear()
        self._tries = [self._now_s + at_s for at_s in AIM_AT_S]
        self._next_picture_s = self._now_s

    def _tick(self, time_s: float) -> Reading | None:
        """While no picture comes: first what the window held until then, then that there is none."""
        if self.not_found is not None or time_s < self._next_s:
            return None
        silent_s = time_s - self._frame_s
        step_s = median(self._steps_s)
        if silent_s < (SILENT_S if step_s < SLOW_STEP_S else min(SILENT_STEPS * step_s, SILENT_MOST_S)):
            if self._frame_s <= self._given_s:
                return None
            self._next_s = self._frame_s + READING_EVERY_S
            return self._reading()
        self._next_s = time_s + READING_EVERY_S
        self._given_s = self._now_s = time_s
        # A network that hiccups tells nothing of the bed; a camera away for longer may have been moved.
        if silent_s >= AWAY_S:
            self._silent = True
            self._forget()
        return self._judge.nothing(time_s, State.NO_PICTURE, self._problems(), keep=not self._silent)

    def _frame(self, frame: Frame | Passed) -> Reading | None:
        self.came += 1
        self._now_s = frame.time_s
        self._steps_s.append(frame.time_s - self._frame_s)
        self._frame_s = frame.time_s
        if self._silent:
            self._silent = False
            self._pictures.clear()
            self._tries = [frame.time_s + at_s for at_s in AIM_AT_S]
            self._next_picture_s = frame.time_s
        if isinstance(frame, Passed) or not self.wants(frame.number):
            self._pass_over(frame)
        else:
            self._camera.add(frame)
            if not frame.repeated:
                self._fresh_s = frame.time_s
                self._look(frame)
        self._turns = self._whose_turn(frame)
        if self.not_found is not None:
            return self._judge.nothing(frame.time_s, State.NO_PICTURE, self._problems())
        if frame.time_s < self._next_s:
            return None
        self._next_s = max(self._next_s + READING_EVERY_S, frame.time_s + READING_EVERY_S / 2)
        return self._reading()

    def _pass_over(self, frame: Frame | Passed) -> None:
        """A frame that nothing is read from; that it came is all that counts."""
        self.passed_over += 1
        self._camera.pass_over(frame.time_s, frame.dropped_before + int(frame.repeated))
        if not frame.repeated:
            self._fresh_s = frame.time_s
            if self._eyes is not None:
                self._eyes.pass_over(frame.time_s)

    def _whose_turn(self, frame: Frame | Passed) -> Turns | None:
        """Whose turn it is to be looked at while all is calm; everyone's (None) as soon as anything is not as it was."""
        as_it_was = self._eyes is not None and frame.dropped_before == 0 and not frame.repeated
        return self._eyes.turns(frame.number) if self._eyes is not None and as_it_was and self._camera.calm else None

    def _look(self, frame: Frame) -> None:
        if self.aim is None:
            self._search(frame)
            return
        if self._eyes is None:
            self._eyes = self._open(self.aim, frame.picture)
            self._shape = frame.picture.shape[:2]
        eyes = self._find_again(frame, self._eyes)
        place = self._camera.place
        if frame.picture.shape[:2] != self._shape:
            raise UserError(
                f"found a picture of {frame.picture.shape[1]} x {frame.picture.shape[0]} px at {frame.time_s:.1f} s, expected "
                f"{self._shape[1]} x {self._shape[0]} px like those before; start again with one camera setting"
            )
        if self._camera.blank or place.lost or self._camera.defocused:
            eyes.pause(frame.time_s)
            return
        before = eyes.covered
        eyes.look(frame, place, in_turn=self._turns is not None)
        if eyes.covered != before:
            self._next_s = min(self._next_s, frame.time_s)  # say so at once

    def _find_again(self, frame: Frame, eyes: Eyes) -> Eyes:
        """A camera that has come to rest turned or zoomed, or that was lost, is aimed anew when that is sure."""
        assert self.aim is not None
        place = self._camera.place
        if eyes.covered:
            place.stand = None  # arms and dust in the surroundings pass for a move
        aim = moved_aim(self.aim, place.stand) if place.stand is not None else None
        if aim is None:
            aim = self._afresh.look(frame, place.lost and not self._camera.blank, self.aim, self.bed)
        if aim is None:
            return eyes
        self.aim = aim
        self._eyes = self._open(aim, frame.picture)
        return self._eyes

    def _search(self, frame: Frame) -> None:
        if frame.time_s >= self._next_picture_s:
            self._pictures.append(frame)
            del self._pictures[:-AIM_PICTURES]
            self._next_picture_s = frame.time_s + AIM_AT_S[0] / AIM_PICTURES
        if frame.time_s >= self._tries[0]:
            self._tries.pop(0)
            self._find()

    def _find(self) -> None:
        found = find_bed(Coloured(self._pictures), self.bed)
        size_px = (self._pictures[-1].picture.shape[1], self._pictures[-1].picture.shape[0])
        if isinstance(found, Aim):
            self.aim = settled(found, self._kept, self.bed, size_px)
        elif not self._tries and self._kept is not None and fits(self._kept, size_px):
            self.aim = self._kept
        elif not self._tries:
            self.not_found = found
        if self.aim is not None:
            self._sought = None
        if self.aim is not None or not self._tries:
            self._pictures.clear()

    def _open(self, aim: Aim, picture: Picture) -> Eyes:
        eyes = Eyes(aim, self.bed, self._cells, (picture.shape[1], picture.shape[0]))
        self._camera.aimed(aim, self.bed)
        return eyes

    def _problems(self) -> tuple[Problem, ...]:
        problems = list(self._camera.problems())
        if self._cut_short and ProblemKind.DROPPED_FRAMES not in {problem.kind for problem in problems}:
            advice = f"The source ends at {self._now_s:.1f} s, before its own end; record it again if the rest matters."
            problems.append(Problem(kind=ProblemKind.DROPPED_FRAMES, advice=advice))
        if self._camera.place.lost:
            advice = "The camera has moved against the bed; put it back, or aim again and go on with the new aim."
            problems.append(Problem(kind=ProblemKind.BED_LOST, advice=advice))
        missing = self._sought if self.not_found is None else self.not_found  # neither is true in a test
        if missing is not None:
            advice = f"The bed was not found: {missing.reason}. {missing.advice}"
            problems.append(Problem(kind=ProblemKind.BED_NOT_FOUND, advice=advice))
        return tuple(problems)

    def _reading(self, *, last: bool = False) -> Reading:
        self._given_s = self._now_s
        problems = self._problems()
        blank = self._camera.blank or self._camera.place.lost or self._now_s - self._fresh_s > FROZEN_S
        if blank or (self.aim is None and self._sought is not None):
            self._forget()
            return self._judge.nothing(self._now_s, State.NO_PICTURE, problems)
        eyes = self._eyes
        if eyes is not None and eyes.covered and not self._camera.defocused:
            return self._judge.nothing(self._now_s, State.BLOCKED, problems)
        if self._camera.place.adrift or self._camera.defocused:
            return self._judge.nothing(self._now_s, State.SETTLING, problems)
        field = None if eyes is None else eyes.field()
        # Haze that comes and goes takes the pattern's contrast along, which looks like another air; so do the marks of a piece
        # that turns.
        alike = (eyes is not None and eyes.gliding) or any(p.kind is ProblemKind.DUST_CLOUD for p in problems)
        changed_s = None if alike else self._judge.changed_s(field)
        if changed_s is not None and eyes is not None:
            eyes.forget(changed_s)
            field = eyes.field()
        return self._judge.read(self._now_s, field, problems, last=last)

    def _last(self) -> Reading | None:
        """The last reading, for the window then in view."""
        if self.not_found is not None:
            return None
        if self.aim is None:
            self._tries = []
            if self._pictures:
                self._find()
            if self.aim is None:
                if self.not_found is None:
                    self.not_found = NotFound(
                        reason="there was no picture to look for it in", advice="Check the source."
                    )
                return self._judge.nothing(self._now_s, State.NO_PICTURE, self._problems())
        return self._reading(last=True) if self._now_s > self._given_s or self._cut_short else None

    def _forget(self) -> None:
        if self._eyes is not None:
            self._eyes.forget()
