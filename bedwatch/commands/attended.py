"""A source with somebody beside it: between two pictures there is time to hear what the person at the screen wants."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bedwatch.frames.frame import Frame, Outcome, Source, Tick
from bedwatch.frames.live import LiveSource

# Whether this picture (or moment without one) is to be looked at.
Attend = Callable[[Frame | Tick], bool]


class Attended:
    """The source it wraps, with `attend` called before every moment; what it refuses is left out."""

    def __init__(self, source: Source, attend: Attend) -> None:
        self._source = source
        self._attend = attend

    @property
    def live(self) -> bool:
        return self._source.live

    @property
    def size_px(self) -> tuple[int, int]:
        return self._source.size_px

    @property
    def duration_s(self) -> float | None:
        return self._source.duration_s

    @property
    def outcome(self) -> Outcome:
        return self._source.outcome

    @property
    def notes(self) -> tuple[str, ...]:
        return self._source.notes

    def __iter__(self) -> Iterator[Frame]:
        return (moment for moment in self.moments() if isinstance(moment, Frame))

    def moments(self) -> Iterator[Frame | Tick]:
        for moment in moments_of(self._source):
            if self._attend(moment):
                yield moment

    def close(self) -> None:
        self._source.close()


def moments_of(source: Source) -> Iterator[Frame | Tick]:
    """The frames of a source, and for a live one the ticks between them."""
    if isinstance(source, LiveSource | Attended):
        return source.moments()
    return iter(source)
