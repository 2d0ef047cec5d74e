"""What reaches the screen from other threads. A newer reading takes the place of one that is unread yet."""

from __future__ import annotations

from rich.text import Text
from textual.message import Message

from bedwatch.judge.types import Did, Reading
from bedwatch.judge.way_back import Against
from bedwatch.show.standing import Camera, Saved


class News(Message):
    """A reading; a newer one takes its place while it is unread."""

    def __init__(self, reading: Reading, against: Against | None) -> None:
        super().__init__()
        self.reading = reading
        self.against = against

    def can_replace(self, message: Message) -> bool:
        return isinstance(message, News)


class Made(Message):
    """Something was done."""

    def __init__(self, did: Did) -> None:
        super().__init__()
        self.did = did


class Words(Message):
    """Something the program has to say."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words = words


class Health(Message):
    """How pictures arrive."""

    def __init__(self, camera: Camera) -> None:
        super().__init__()
        self.camera = camera

    def can_replace(self, message: Message) -> bool:
        return isinstance(message, Health)


class Kept(Message):
    """A setting was saved."""

    def __init__(self, saved: Saved) -> None:
        super().__init__()
        self.saved = saved


class Aimed(Message):
    """Where the bed was found, drawn."""

    def __init__(self, text: Text, found: bool) -> None:
        super().__init__()
        self.text = text
        self.found = found


class Ended(Message):
    """No more readings come; why None: and the screen goes too."""

    def __init__(self, why: str | None) -> None:
        super().__init__()
        self.why = why
