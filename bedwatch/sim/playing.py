"""What every make-believe source has in common: even frame times, an end, and no wall clock."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator

from bedwatch.frames.frame import Frame, Outcome, Picture
from bedwatch.sim.truth import Truth


class MadeSource(ABC):
    """A `Source` that makes its frames. `truth` says what was really there up to the last frame given out."""

    live = False

    def __init__(self, size_px: tuple[int, int], duration_s: float, fps: float) -> None:
        self._size_px, self._duration_s, self.fps = size_px, duration_s, fps
        self._outcome = Outcome.OPEN
        self._closed = False

    @property
    def size_px(self) -> tuple[int, int]:
        return self._size_px

    @property
    def duration_s(self) -> float | None:
        return self._duration_s

    @property
    def outcome(self) -> Outcome:
        return self._outcome

    @property
    def notes(self) -> tuple[str, ...]:
        return ()

    @property
    @abstractmethod
    def truth(self) -> Truth: ...

    @abstractmethod
    def picture_at(self, time_s: float) -> Picture:
        """The picture at a source time; times are asked for in rising order."""

    def __iter__(self) -> Iterator[Frame]:
        for number in range(max(1, round(self._duration_s * self.fps))):
            if self._closed:
                return
            time_s = number / self.fps
            yield Frame(picture=self.picture_at(time_s), time_s=time_s, number=number)
        self._outcome = Outcome.END

    def close(self) -> None:
        self._closed = True
