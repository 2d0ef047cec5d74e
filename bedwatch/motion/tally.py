"""Sums over the last ten seconds, kept in slabs of about a second so that the window slides without storing frames."""

from __future__ import annotations

from collections import deque
from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

WINDOW_S = 10.0
SLAB_S = 1.0

Rows = NDArray[np.floating[Any]]


@dataclass(slots=True)
class Channel:
    """Running sums of one kind of comparison. sums: (quantities, lattice rows, lattice cols).

    least: the least value, where asked for.
    """

    sums: Rows
    count: int = 0
    lag_s: float = 0.0
    least: Rows | None = None

    def take(self, other: Channel) -> None:
        self.sums += other.sums
        self.count += other.count
        self.lag_s += other.lag_s
        if self.least is not None and other.least is not None:
            np.minimum(self.least, other.least, out=self.least)


@dataclass(slots=True)
class _Slab:
    start_s: float
    end_s: float
    channels: dict[Hashable, Channel] = field(default_factory=dict)


class Tally:
    """Means per channel over the last WINDOW_S seconds of source time. A channel's key is the caller's choice."""

    def __init__(self) -> None:
        self._slabs: deque[_Slab] = deque()

    def drop(self, before_s: float = np.inf) -> None:
        """Forget what was seen before a time, to the slab: it no longer tells of what is there."""
        while self._slabs and self._slabs[0].start_s < before_s:
            self._slabs.popleft()

    @property
    def seconds(self) -> float:
        """Span of source time in the window."""
        return self._slabs[-1].end_s - self._slabs[0].start_s if self._slabs else 0.0

    def mark(self, time_s: float) -> None:
        """Say that a frame was looked at; opens a slab when the last is full and lets go of those past the window."""
        if not self._slabs or time_s - self._slabs[-1].start_s >= SLAB_S:
            self._slabs.append(_Slab(start_s=time_s, end_s=time_s))
        self._slabs[-1].end_s = time_s
        while time_s - self._slabs[0].start_s > WINDOW_S + SLAB_S / 2:
            self._slabs.popleft()

    def add(self, key: Hashable, rows: Rows, lag_s: float, least: Rows | None = None) -> None:
        """Add one comparison of frames lag_s apart; `mark` comes first. rows: (quantities, rows, cols); least: (rows, cols)."""
        channels = self._slabs[-1].channels
        channel = channels.get(key)
        if channel is None:
            channels[key] = Channel(sums=rows.copy(), count=1, lag_s=lag_s, least=least)
        else:
            channel.sums += rows
            channel.count += 1
            channel.lag_s += lag_s
            if least is not None and channel.least is not None:
                np.minimum(channel.least, least, out=channel.least)

    def means(self) -> dict[Hashable, Channel]:
        """Per channel: mean rows over the window, how many comparisons, mean lag."""
        totals: dict[Hashable, Channel] = {}
        for slab in self._slabs:
            for key, part in slab.channels.items():
                if key in totals:
                    totals[key].take(part)
                else:
                    totals[key] = Channel(sums=part.sums.copy(), count=part.count, lag_s=part.lag_s)
                    if part.least is not None:
                        totals[key].least = part.least.copy()
        for total in totals.values():
            total.sums /= total.count
            total.lag_s /= total.count
        return totals
