"""What was seen and done, in order: looks at the bed with moves in between."""

from __future__ import annotations

from collections.abc import Iterable

from bedwatch.judge.types import Did, Reading, State


class History:
    """Of all readings between two moves only the last one that judged the bed is kept: it is the answer to the moves before it.

    Source time starts anew with every clip and tells nothing here; order does.
    """

    def __init__(self, past: Iterable[Reading | Did] = ()) -> None:
        self._events: list[Reading | Did] = []
        for one in past:
            self.add(one)

    @property
    def events(self) -> tuple[Reading | Did, ...]:
        """Readings and moves in order, never two readings in a row."""
        return tuple(self._events)

    def add(self, event: Reading | Did) -> None:
        """Take in what happened next. A reading that could not judge the bed tells nothing."""
        if isinstance(event, Reading):
            if event.state is not State.READING:
                return
            if self._events and isinstance(self._events[-1], Reading):
                self._events[-1] = event
                return
        self._events.append(event)
