"""The table [valves] as text, and put into the text of a bed file so that all else in it, comments too, stays as it is."""

from __future__ import annotations

import json
import re
import tomllib

from bedwatch.bed.valves import ALL, Valves

_HEADER = re.compile(r"\s*\[+\s*(?P<name>[^\]]*?)\s*\]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def valves_text(valves: Valves, zones: tuple[str, ...]) -> str:
    """The table in TOML, zones in their order."""
    lines = ["[valves]"]
    for key, told in (("reversed", valves.reversed), ("without", valves.without)):
        if told:
            named = [zone for zone in zones if zone in told]
            every = key == "without" and len(named) == len(zones)
            lines.append(f"{key} = {json.dumps(ALL if every else named, ensure_ascii=False)}")
    if valves.labels:
        lines.append("[valves.labels]")
        lines += [f"{_key(zone)} = {json.dumps(label, ensure_ascii=False)}" for zone, label in valves.labels]
    return "\n".join(lines) + "\n"


def with_valves(text: str, valves: Valves, zones: tuple[str, ...]) -> str | None:
    """The text of a bed file with this table instead of the one it has, or at its end; None where that cannot be done without
    touching anything else (the table is written in an unusual way)."""
    lines = text.splitlines(keepends=True)
    kept, comments, place = _cut(lines)
    new = valves_text(valves, zones)
    if place is None:
        body = "".join(kept)
        gap = "" if not body or body.endswith("\n\n") else "\n" if body.endswith("\n") else "\n\n"
        made = body + gap + new
    else:
        follows = "\n" if place < len(kept) else ""
        made = "".join(kept[:place]) + "".join(comments) + new + follows + "".join(kept[place:])
    return made if _is_it(text, made, valves, zones) else None


def _cut(lines: list[str]) -> tuple[list[str], list[str], int | None]:
    """The lines without the table, the lines of comment in it, and where it stood; None: it was not there."""
    kept: list[str] = []
    comments: list[str] = []
    place: int | None = None
    inside = False
    for line in lines:
        header = _HEADER.match(line)
        if header is not None:
            name = header["name"].replace(" ", "")
            inside = name == "valves" or name.startswith("valves.")
            if inside and place is None:
                place = len(kept)
        if not inside:
            kept.append(line)
            continue
        comment = _comment(line)
        if comment:
            comments.append(comment if comment.endswith("\n") else comment + "\n")
    return kept, comments, place


def _comment(line: str) -> str:
    """The comment of a line, one that stands behind a value too; empty when it has none."""
    at = line.find("#")
    while at >= 0:
        try:
            tomllib.loads(line[:at])
        except tomllib.TOMLDecodeError:  # within a text in quotes
            at = line.find("#", at + 1)
            continue
        return line[at:]
    return ""


def _is_it(before: str, after: str, valves: Valves, zones: tuple[str, ...]) -> bool:
    """Whether the new text holds what the old one did, and the new table."""
    try:
        old, new = tomllib.loads(before), tomllib.loads(after)
    except tomllib.TOMLDecodeError:
        return False
    old.pop("valves", None)
    wanted = tomllib.loads(valves_text(valves, zones))["valves"]
    return bool(new.pop("valves", None) == wanted and new == old)


def _key(zone: str) -> str:
    return zone if _BARE.fullmatch(zone) else json.dumps(zone, ensure_ascii=False)
