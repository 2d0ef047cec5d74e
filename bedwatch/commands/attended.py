"""A source with somebody beside it: between two pictures there is time to hear what the person at the screen wants."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Frame, Passed, Source, Tick, Wants
from bedwatch.frames.live import LiveSource
from bedwatch.frames.wrapped import Wrapped

# Whether this picture (or moment without one) is to be looked at.
Attend = Callable[[Frame | Passed | Tick], bool]


class Attended(Wrapped):
    """The source it wraps, with `attend` called before every moment; what it refuses is left out."""

    def __init__(self, source: Source, attend: Attend) -> None:
        super().__init__(source)
        self._attend = attend

    def __iter__(self) -> Iterator[Frame]:
        return (moment for moment in self.moments(lambda _: True) if isinstance(moment, Frame))

    def moments(self, wants: Wants) -> Iterator[Frame | Passed | Tick]:
        for moment in moments_of(self._source, wants):
            if self._attend(moment):
                yield moment


def moments_of(source: Source, wants: Wants) -> Iterator[Frame | Passed | Tick]:
    """The frames of a source, and for a live one the ticks between them; of a file, not wanted ones may come undecoded."""
    if isinstance(source, LiveSource):
        return source.moments()
    if isinstance(source, Ahead | Attended):
        return source.moments(wants)
    return iter(source)
