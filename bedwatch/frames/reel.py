"""What every file of pictures has in common: from decoded pictures to frames, holes and notes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from types import TracebackType
from typing import Protocol, Self, runtime_checkable

from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Outcome, Passed, Picture, Planes, Wants
from bedwatch.frames.repeats import RepeatWatch
from bedwatch.frames.steps import StepWatch

_PEEK = 3
_NEW_CLOCK = 5
_REORDERED = 16  # H.264 keeps at most 16 pictures (ITU-T H.264, annex A; from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One picture, as the container tells it.

    picture: None where it was not decoded, since it was not wanted. time_s: presentation time in seconds from any origin; NaN
    if the container has none. broken_before: pictures that could not be decoded since the shot before. again: its data are
    those of the shot before.
    """

    picture: Picture | None
    time_s: float
    broken_before: int = 0
    planes: Planes | None = None
    again: bool = False


class Decoder(Protocol):
    """The seam between a container and the frames made of it.

    duration_s: by the container's word, None when unknown.
    whole: False if the file ends before its own structure says so, True if not, None if it cannot tell.
    notes: what the decoder found, one line each; may grow while reading.
    read: the next shot; None at the end and after close.
    """

    @property
    def duration_s(self) -> float | None: ...
    @property
    def whole(self) -> bool | None: ...
    @property
    def notes(self) -> list[str]: ...
    def read(self) -> Shot | None: ...
    def close(self) -> None: ...


@runtime_checkable
class Passes(Protocol):
    """A decoder that may leave a picture undecoded, since no other one hangs on it.

    pass_over: the next shot without its picture; None where that cannot be done, with nothing lost.
    """

    def pass_over(self) -> Shot | None: ...


class Tally:
    """Counts what went wrong, so that each kind is told in one line however often it came."""

    def __init__(self) -> None:
        self._kinds: dict[str, tuple[int, int, float]] = {}

    def add(self, kind: str, count: int, time_s: float, *, same_place: bool = False) -> None:
        """count more of kind, at the source time time_s; same_place: they go on from the ones before."""
        total, places, first_s = self._kinds.get(kind, (0, 0, time_s))
        self._kinds[kind] = (total + count, places + (not same_place), first_s)

    def lines(self) -> list[str]:
        """One line per kind, in the order they first came."""
        return [
            f"{kind}: {total} in {places} place{'s' * (places > 1)}, the first at {first_s:.2f} s"
            for kind, (total, places, first_s) in self._kinds.items()
        ]


class _Told:
    """Pictures that were told as broken or left out, so that the holes they leave are not told again as missing.

    A damaged packet may be reported some frames before its hole is seen: as many as a codec may reorder.
    """

    def __init__(self) -> None:
        self._count = 0
        self._frames_left = 0

    def add(self, count: int) -> None:
        if count:
            self._count += count
            self._frames_left = _REORDERED

    def rest(self, missing: int) -> int:
        """How many of the frames missing before the next frame were not told yet."""
        known = min(missing, self._count)
        self._frames_left -= 1
        self._count = self._count - known if self._frames_left > 0 else 0
        return missing - known


class FileSource:
    """A `Source` over a decoder; the first shots are read at once, to refuse what has no picture or no times.

    name: how the user knows it, for messages.
    Raises UserError when no picture can be decoded or the times of the first three do not rise.
    """

    live = False

    def __init__(self, decoder: Decoder, name: str) -> None:
        self._decoder = decoder
        self._ahead: deque[Shot] = deque()
        self._steps = StepWatch()
        self._repeats = RepeatWatch()
        self._tally = Tally()
        self._late_notes: list[str] = []
        self._skipped: list[float] = []
        self._zero_s = 0.0
        self._last_s: float | None = None
        self._number = 0
        self._lost = 0
        self._told = _Told()
        self._was_repeated = False
        self._open = True
        self.outcome = Outcome.OPEN
        try:
            self._peek(name)
        except BaseException:
            self.close()
            raise
        first = self._ahead[0].picture
        assert first is not None  # it was wanted
        self.size_px: tuple[int, int] = (first.shape[1], first.shape[0])

    @property
    def duration_s(self) -> float | None:
        """Length by the container's word, seconds."""
        return self._decoder.duration_s

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should be told, one line each."""
        return (*self._decoder.notes, *self._tally.lines(), *self._late_notes)

    def __iter__(self) -> Iterator[Frame]:
        return (moment for moment in self.moments(_all_of_them) if isinstance(moment, Frame))

    def moments(self, wants: Wants) -> Iterator[Frame | Passed]:
        """The frames; those that are not wanted may come as `Passed`."""
        while self._open and (shot := self._next_shot(wants)) is not None:
            frame = self._frame(shot)
            if frame is not None:
                yield frame
        if self._open and self.outcome is Outcome.OPEN:
            self._finish()

    def close(self) -> None:
        """Let the file go; iterating ends. May be called again."""
        self._open = False
        self._ahead.clear()
        self._decoder.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _peek(self, name: str) -> None:
        while len(self._ahead) < _PEEK and (shot := self._decoder.read()) is not None:
            self._ahead.append(shot)
        if not self._ahead:
            raise UserError(
                f"{name}: no picture in it can be decoded; expected a video that plays; "
                "record it again or convert it (for example to MJPEG in AVI)"
            )
        times = [shot.time_s for shot in self._ahead if isfinite(shot.time_s)]
        if not times or (len(self._ahead) > 1 and max(times) <= times[0]):
            raise UserError(
                f"{name}: holds pictures but no time stamps, so no speed can be told; expected a video in a "
                "container (AVI, MP4, MKV); record into one, not as a bare stream"
            )
        self._zero_s = times[0]

    def _next_shot(self, wants: Wants) -> Shot | None:
        if self._ahead:
            return self._ahead.popleft()
        if isinstance(self._decoder, Passes) and not wants(self._number):
            return self._decoder.pass_over() or self._decoder.read()
        return self._decoder.read()

    def _frame(self, shot: Shot) -> Frame | Passed | None:
        if shot.broken_before:
            self._tally.add("pictures that cannot be decoded", shot.broken_before, self._last_s or 0.0)
        self._left_out(shot.broken_before)
        time_s = shot.time_s - self._zero_s
        if not isfinite(time_s) or (self._last_s is not None and time_s <= self._last_s):
            moved_s = self._new_clock(time_s)
            if moved_s is None:
                self._left_out(1)
                self._tally.add("pictures left out, their times do not rise", 1, self._last_s or 0.0)
                return None
            time_s = moved_s
        self._skipped.clear()
        # On a regular grid the times alone tell what is missing: a decoder may report a damaged packet before
        # it gives out the good pictures that came ahead of it.
        on_grid = self._steps.regular
        gap = 0 if self._last_s is None else self._steps.missing(time_s - self._last_s)
        dropped = gap if on_grid or self._last_s is None else max(gap, self._lost)
        repeated = (
            self._repeats.skipped(again=shot.again) if shot.picture is None else self._repeats.repeated(shot.picture)
        )
        if missing := self._told.rest(dropped):
            self._tally.add("missing frames", missing, time_s)
        if repeated:
            self._tally.add("repeated frames", 1, time_s, same_place=self._was_repeated)
        self._was_repeated = repeated
        number = self._number
        self._last_s, self._lost, self._number = time_s, 0, number + 1
        if shot.picture is None:
            return Passed(time_s=time_s, number=number, dropped_before=dropped, repeated=repeated)
        shot.picture.flags.writeable = False
        return Frame(
            picture=shot.picture,
            time_s=time_s,
            number=number,
            dropped_before=dropped,
            repeated=repeated,
            planes=shot.planes,
        )

    def _left_out(self, count: int) -> None:
        self._lost += count
        self._told.add(count)

    def _new_clock(self, time_s: float) -> float | None:
        """Five rising times in a row, none above the last good one: a clock set back; go on from there."""
        usual_s = self._steps.usual_s
        if not isfinite(time_s) or self._last_s is None or usual_s is None:
            return None
        if self._skipped and time_s <= self._skipped[-1]:
            self._skipped.clear()
        self._skipped.append(time_s)
        if len(self._skipped) < _NEW_CLOCK:
            return None
        resumed_s = self._last_s + usual_s * len(self._skipped)
        self._zero_s += time_s - resumed_s
        self._late_notes.append(f"the clock in the file jumps back at {self._last_s:.2f} s; times go on from there")
        return resumed_s

    def _finish(self) -> None:
        end_s = (self._last_s or 0.0) + (self._steps.usual_s or 0.0)
        whole, duration_s = self._decoder.whole, self._decoder.duration_s
        short_s = 0.0 if duration_s is None else duration_s - end_s
        # A last picture shown for long, or sound that goes on, is no cut: be slow to say it from times alone.
        late_s = max(0.5, 8 * (self._steps.usual_s or 0.0), 0.03 * (duration_s or 0.0))
        if whole is False or (self._steps.regular and short_s > late_s):
            self.outcome = Outcome.CUT_SHORT
            of = f" of {duration_s:.1f}" if duration_s is not None and short_s >= 0.05 else ""
            self._late_notes.append(f"the file seems cut short at {end_s:.1f}{of} s")
        else:
            self.outcome = Outcome.END


def _all_of_them(_: int) -> bool:
    return True
