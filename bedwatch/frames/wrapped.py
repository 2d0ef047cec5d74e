"""A source around another one: whatever it does with the frames, the rest is told as the inner one tells it."""

from __future__ import annotations

from bedwatch.frames.frame import Outcome, Source


class Wrapped:
    """Everything of a `Source` but its frames and its end, from the source within."""

    def __init__(self, source: Source) -> None:
        self._source = source

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

    def close(self) -> None:
        self._source.close()
