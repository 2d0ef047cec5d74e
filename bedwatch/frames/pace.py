"""A file at its own speed, as if it were a camera."""

from __future__ import annotations

import time

from bedwatch.frames.frame import Frame, Passed, Tick


class Pace:
    """Waits before each frame until its own time has come; a reader that is slower is not hurried."""

    def __init__(self) -> None:
        self._start_s: float | None = None

    def attend(self, moment: Frame | Passed | Tick) -> bool:
        """Waits for a frame of a file; every moment is looked at."""
        if not isinstance(moment, Tick):
            self.wait(moment)
        return True

    def wait(self, frame: Frame | Passed) -> None:
        now_s = time.monotonic()
        if self._start_s is None:
            self._start_s = now_s - frame.time_s
        ahead_s = self._start_s + frame.time_s - now_s
        if ahead_s > 0.0:
            time.sleep(ahead_s)
        else:
            self._start_s -= ahead_s  # never rushed afterwards to make up for it
