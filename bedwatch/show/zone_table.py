"""The zones in a table: place, live share, speed with its error, hint in words, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text

from bedwatch.bed import Bed
from bedwatch.judge.types import HintWord, Reading, ZoneReading
from bedwatch.show.bed_map import zones_in_order
from bedwatch.show.lines import Lines, beside, cut, padded, wrapped
from bedwatch.show.look import Look
from bedwatch.show.standing import Trends
from bedwatch.show.words import CANT_TELL, HINTS, share, speed, zone_place, zone_tags

_HEAD = Style(dim=True)
_CALL = Style(bold=True)
_QUIET = (HintWord.HOLD, HintWord.WAIT)
_LIVE, _SPEED, _HINT = 10, 12, 13
_BRIEF_LIVE = 5
_LEAST_BRIEF = 25
_LEAST_NAME, _MOST_NAME, _LEAST_BECAUSE = 4, 24, 24
_GOOD_BECAUSE, _MOST_LINES = 32, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Columns:
    """Widths in cells; 0: left out. brief: the hint as its mark only."""

    name: int
    place: int = 0
    because: int = 0
    brief: bool = False


_NO_TRENDS = Trends()


def zone_table(
    reading: Reading | None, bed: Bed, look: Look, *, width: int, rows: int, trends: Trends = _NO_TRENDS
) -> Lines:
    """At most `rows` lines of at most `width` cells: a heading, then a line a zone.

    Where each zone lies gives way to its trend since the last move, once there is one.

    With room to spare the reason follows each hint, whole where rows are left, first for the zones that want
    something. With too little, marks stand for the hints, in two columns with a key below; if that does not do,
    the zone of the move comes first, then those that want something, and the rest are counted.
    """
    zones = zones_in_order(reading, bed)
    names = _names(bed)
    if len(zones) + 1 <= rows:
        places = [zone_place(zone) for zone in bed.zones]
        if trends.words:
            places = [trends.of(zone.name) or CANT_TELL for zone in bed.zones]
        return _full(zones, names, places, trends.heading if trends.words else "where", look, width, rows)
    half = (len(zones) + 1) // 2
    each = (width - 2) // 2
    if half + 1 <= rows and each >= _LEAST_BRIEF:
        left = _brief(zones[:half], names[:half], look, each)
        right = _brief(zones[half:], names[half:], look, each)
        lines = beside(left, right, left_width=each)
        return [*lines, _key(look, width)] if len(lines) < rows else lines
    first = reading.next.zone if reading and reading.next else None
    order = sorted(range(len(zones)), key=lambda i: (bed.zones[i].name != first, _is_quiet(zones[i])))
    some = sorted(order[: max(0, rows - 2)], key=lambda i: (bed.zones[i].name != first, i))
    lines = _brief([zones[i] for i in some], [names[i] for i in some], look, width)
    rest = cut(f"and {len(zones) - len(some)} more zones", width, look)
    return [*lines, Text(rest, style=_HEAD, no_wrap=True, end="")][: max(rows, 0)]


def width_with_reasons(bed: Bed) -> int:
    """The width from which the table has room for reasons that are good to read."""
    names, places = _names(bed), [zone_place(zone) for zone in bed.zones]
    name = min(max([cell_len(n) for n in names] + [_LEAST_NAME]), _MOST_NAME)
    place = max([cell_len(p) for p in places], default=0)
    return name + 1 + place + 1 + _LIVE + _SPEED + _HINT + 3 + _GOOD_BECAUSE


def _is_quiet(zone: ZoneReading | None) -> bool:
    return zone is None or zone.hint in _QUIET


def _names(bed: Bed) -> list[str]:
    pairs = zip(zone_tags(bed), bed.zones, strict=True)
    return [zone.name if tag == zone.name else f"{tag} {zone.name}" for tag, zone in pairs]


def _full(
    zones: Sequence[ZoneReading | None],
    names: Sequence[str],
    places: Sequence[str],
    heading: str,
    look: Look,
    width: int,
    rows: int,
) -> Lines:
    columns = _columns(width, names, [heading, *(look.text(place) for place in places)])
    reasons = _reasons(zones, columns.because, look, rows - len(zones) - 1)
    lines = [_line(columns, ("zone", heading, "live", "mm/s", "air", "because"), _HEAD, look)]
    for name, place, zone, said in zip(names, places, zones, reasons, strict=True):
        lines.append(_zone_line(columns, name, place, zone, said[0], look))
        for more in said[1:]:
            lines.append(Text(" " * (width - columns.because) + more, no_wrap=True, end=""))
    return lines


def _reasons(zones: Sequence[ZoneReading | None], width: int, look: Look, spare: int) -> list[list[str]]:
    """Each zone's reason in lines; the spare lines go first to the zones that want something, then round by turns."""
    words = [zone.because if zone and width else "" for zone in zones]
    needed = [min(len(wrapped(why, max(width, 1), look)), _MOST_LINES) if why else 1 for why in words]
    given = [1] * len(zones)
    for quiet in (False, True):
        some = [i for i, zone in enumerate(zones) if _is_quiet(zone) is quiet]
        for most in range(2, _MOST_LINES + 1):
            for i in some:
                if spare > 0 and needed[i] >= most:
                    given[i], spare = most, spare - 1
    return [wrapped(why, max(width, 1), look, most=lines) for why, lines in zip(words, given, strict=True)]


def _brief(zones: Sequence[ZoneReading | None], names: Sequence[str], look: Look, width: int) -> Lines:
    longest = max([cell_len(name) for name in names], default=0)
    name = max(_LEAST_NAME, min(longest, width - (_BRIEF_LIVE + _SPEED + 4)))
    columns = _Columns(name=name, brief=True)
    lines = [_line(columns, ("zone", "", "live", "mm/s", "", ""), _HEAD, look)]
    return lines + [_zone_line(columns, n, "", z, "", look) for n, z in zip(names, zones, strict=True)]


def _columns(width: int, names: Sequence[str], places: Sequence[str]) -> _Columns:
    room = width - (_LIVE + _SPEED + _HINT + 3)  # for name, place and reason
    name = min(max([cell_len(n) for n in names] + [_LEAST_NAME]), _MOST_NAME)
    place = max([cell_len(p) for p in places], default=0)
    if name + 1 + place > room:
        place = 0 if room - place - 1 < min(name, 8) else place
        name = max(_LEAST_NAME, min(name, room - (place + 1 if place else 0)))
    because = room - name - (place + 1 if place else 0) - 1
    return _Columns(name=name, place=place, because=because if because >= _LEAST_BECAUSE else 0)


def _zone_line(columns: _Columns, name: str, place: str, zone: ZoneReading | None, why: str, look: Look) -> Text:
    hint = zone.hint if zone else HintWord.WAIT
    live = share(zone.live) if zone else None
    speeds = speed(zone.speed_mm_s, zone.speed_error_mm_s) if zone else None
    if speeds and not look.unicode:
        speeds = speeds.replace("± ", "+/-")
    call = look.mark(hint) if columns.brief else f"{look.mark(hint)} {HINTS[hint]}"
    unknown = "?" if columns.brief else CANT_TELL
    cells = (name, place, live or unknown, speeds or CANT_TELL, call, why)
    return _line(columns, cells, Style() if _is_quiet(zone) else _CALL, look)


def _line(c: _Columns, cells: tuple[str, str, str, str, str, str], style: Style, look: Look) -> Text:
    name, place, live, speeds, hint, because = cells
    shown = [padded(name, c.name, look)]
    if c.brief:
        shown.append(padded(hint, 1, look))
    if c.place:
        shown.append(padded(place, c.place, look))
    shown.append(padded(live, _BRIEF_LIVE if c.brief else _LIVE, look, right=True))
    shown.append(padded(speeds, _SPEED, look, right=True))
    if not c.brief:
        shown.append(padded(hint, _HINT, look))
    line = Text(no_wrap=True, end="")
    line.append(" ".join(shown) if c.because else " ".join(shown).rstrip(), style)
    if c.because:
        line.append(" " + cut(because, c.because, look), style if style is _HEAD else None)
    return line


def _key(look: Look, width: int) -> Text:
    words = "  ".join(f"{look.mark(hint)} {word}" for hint, word in HINTS.items())
    if cell_len(words) > width:
        words = " ".join(f"{look.mark(hint)} {HINTS[hint].split()[0]}" for hint in HINTS)
    return Text(cut(words, width, look), style=_HEAD, no_wrap=True, end="")
