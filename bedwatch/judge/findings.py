"""The words for what is wrong with lines, and what is found of all of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class LineFault(StrEnum):
    SWAPPED = "swapped"
    DEAD = "dead"
    JOINED = "joined"
    LEAKING = "leaking"
    REVERSED = "reversed"
    AS_SUPPLY = "as_supply"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that is not as it should be. valves: labels; zones: numbers from 0, of swapped lines the one that each valve
    feeds, of a dead line the zone it should feed, if that is known. sure: chance of it."""

    kind: LineFault
    valves: tuple[str, ...]
    zones: tuple[int, ...]
    sure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """feeds: zone of every valve of which that is known. reversed: labels of valves that turn the other way.
    without: zones that none of the valves tried feeds, where all of them are known."""

    feeds: dict[str, int]
    reversed: tuple[str, ...]
    findings: tuple[Finding, ...]
    without: tuple[int, ...]

    @property
    def healthy(self) -> bool:
        return not self.findings


__all__ = ["Finding", "LineFault", "Lines"]
