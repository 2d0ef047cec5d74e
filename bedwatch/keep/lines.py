"""One line of a log: a reading that was given out, or what the operator did."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from bedwatch.errors import UserError
from bedwatch.judge.types import ALL_ZONES, Did, Done, Reading

VERSION = 1
# What is advised and what was done have different words; who writes down a move that was advised may use either.
_ALSO = {"stir": Done.STIRRED, "check_plate": Done.CHECKED_PLATE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Began:
    """What the first line of a run tells of it. source: None where it is not told."""

    version: int
    bed: str
    source: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A line that was understood. number: its place in the file, from 1. at: by the clock on the wall, with its offset;
    None where the line does not tell. began: on the first line of a run."""

    number: int
    what: Reading | Did
    at: datetime | None
    began: Began | None = None


def line_of(values: dict[str, Any], at: datetime, began: Began | None = None) -> str:
    """One line: the fields as given, then the clock on the wall, then what began. Without a line end."""
    line = values | {"at": at.isoformat(timespec="milliseconds")}
    if began is not None:
        line["log"] = {"version": began.version, "bed": began.bed, "source": began.source}
    return json.dumps(line, allow_nan=False, separators=(",", ":"))


def did_dict(did: Did) -> dict[str, Any]:
    """The field `did` of a line: only what is known."""
    fields: dict[str, Any] = {}
    if did.zone is not None:
        fields["zone"] = did.zone
    fields["do"] = did.do.value
    if did.amount is not None:
        fields["amount"] = round(did.amount, 4)
    return {"did": fields}


def parse_did(raw: object, where: str, zones: Collection[str]) -> Did:
    """The value of `did` -> the move. zones: names that exist. Keys beyond ours are passed over.

    A valve that was moved without telling how far has no amount. Raises UserError with a line per mistake: what is not one of the
    words, a zone there is none of, an amount that is no share.
    """
    if not isinstance(raw, dict):
        raise UserError(
            f"{where}: did: found {_short(raw)}, expected an object such as "
            '{"zone":"4","do":"less_air","amount":0.2}; mend the line'
        )
    mistakes = []
    word, zone, amount = raw.get("do"), raw.get("zone"), raw.get("amount")
    done = _ALSO.get(word) if isinstance(word, str) else None
    if done is None and word in [one.value for one in Done]:
        done = Done(word)
    if done is None:
        mistakes.append(f"{where}: did.do: found {_short(word)}, expected one of {', '.join(Done)}; mend the line")
    names = f"{', '.join(zones)} or {ALL_ZONES}"
    if zone is None:
        if done in (Done.MORE_AIR, Done.LESS_AIR):
            mistakes.append(f"{where}: did.zone: found nothing, expected whose valve was moved, {names}; mend the line")
    elif not isinstance(zone, str) or (zone not in zones and zone != ALL_ZONES):
        mistakes.append(f"{where}: did.zone: found {_short(zone)}, expected {names}; mend the line")
    if amount is not None and not _share(amount):
        mistakes.append(f"{where}: did.amount: found {_short(amount)}, expected a number from 0 to 1; mend the line")
    if mistakes or done is None:
        raise UserError(*mistakes)
    valve = done in (Done.MORE_AIR, Done.LESS_AIR)
    return Did(do=done, zone=zone, amount=float(amount) if valve and amount is not None else None)


def clock(raw: dict[str, Any]) -> datetime | None:
    """The clock on the wall of a line; None where it is missing or not to be read, since nothing rests on it alone."""
    at = raw.get("at")
    if not isinstance(at, str):
        return None
    try:
        found = datetime.fromisoformat(at)
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.astimezone()


def began_of(raw: dict[str, Any]) -> Began | None:
    """What the line tells of the run it begins; None where it tells nothing."""
    log = raw.get("log")
    if not isinstance(log, dict):
        return None
    version, bed, source = log.get("version"), log.get("bed"), log.get("source")
    if not isinstance(version, int) or isinstance(version, bool) or not isinstance(bed, str):
        return None
    return Began(version=version, bed=bed, source=source if isinstance(source, str) else None)


def _share(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and 0 <= value <= 1


def _short(value: object) -> str:
    shown = json.dumps(value)
    return shown if len(shown) <= 40 else shown[:37] + "..."
