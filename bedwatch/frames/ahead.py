"""Reading ahead: frames of a file are decoded in a thread of their own while others look at them."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator

from bedwatch.frames.frame import Frame, Passed, Source, Wants
from bedwatch.frames.reel import FileSource
from bedwatch.frames.wrapped import Wrapped

DEPTH = 2
_PATIENCE_S = 0.1


class Ahead(Wrapped):
    """A file source read ahead by up to DEPTH frames; everything else as the source it wraps.

    The thread alone reads the source, so that nothing is closed under its hands: `close` waits for it.
    """

    def __init__(self, source: Source) -> None:
        super().__init__(source)
        self._frames: queue.Queue[Frame | Passed | BaseException | None] = queue.Queue(DEPTH)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def __iter__(self) -> Iterator[Frame]:
        return (moment for moment in self._moments(iter(self._source)) if isinstance(moment, Frame))

    def moments(self, wants: Wants) -> Iterator[Frame | Passed]:
        """The frames; those that are not wanted may come as `Passed`."""
        return self._moments(
            self._source.moments(wants) if isinstance(self._source, FileSource) else iter(self._source)
        )

    def _moments(self, moments: Iterator[Frame | Passed]) -> Iterator[Frame | Passed]:
        self._thread = threading.Thread(target=self._read, args=(moments,), name="reading ahead", daemon=True)
        self._thread.start()
        try:
            while (got := self._take()) is not None:
                if isinstance(got, BaseException):
                    raise got
                yield got
        finally:
            self._end()

    def _take(self) -> Frame | Passed | BaseException | None:
        """The next frame, what went wrong, or None at the end and once closed."""
        while not self._stop.is_set():
            try:
                return self._frames.get(timeout=_PATIENCE_S)
            except queue.Empty:
                continue
        return None

    def close(self) -> None:
        self._end()
        super().close()

    def _end(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _read(self, moments: Iterator[Frame | Passed]) -> None:
        last: BaseException | None = None
        try:
            for frame in moments:
                if not self._hand_over(frame):
                    return
        except BaseException as error:  # handed over, and raised where the frames are used
            last = error
        self._hand_over(last)

    def _hand_over(self, item: Frame | Passed | BaseException | None) -> bool:
        while not self._stop.is_set():
            try:
                self._frames.put(item, timeout=_PATIENCE_S)
            except queue.Full:
                continue
            return True
        return False
