"""How the zones came to where they are: one small drawing a zone, all to one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from bedwatch.judge.types import Reading
from bedwatch.show.words import CANT_TELL, known, share

WIDE, HIGH = 160.0, 64.0
_MOST_POINTS = 160
MOST_ZONES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """One curve's drawing and its words. zone: a zone's name, or "bed"."""

    zone: str
    svg: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trends:
    """All curves. most_mm_s: the top of every scale. span: from where to where, in words. left_out: zones without one."""

    curves: tuple[Trend, ...]
    most_mm_s: float
    span: str
    left_out: int


def trends_of(readings: Sequence[Reading], moves: Sequence[int] = ()) -> Trends | None:
    """Curves of the bed and of each zone up to 16; None when fewer than three readings hold a figure.

    moves: at which readings (their number) something was done; drawn as upright lines. A gap in the curve is a time of
    which nothing is known. Readings of several runs stand beside each other in order.
    """
    some = _thinned(readings)
    if sum(known(one.bed.speed_mm_s) is not None for _, one in some) < 3:
        return None
    names = [zone.zone for zone in readings[-1].zones]
    shown = names[:MOST_ZONES]
    speeds = [value for _, one in some for zone in one.zones if (value := known(zone.speed_mm_s)) is not None]
    most = _round_up(max([*speeds, 1.0]))
    last = max(1, len(readings) - 1)
    at = [number / last for number, _ in some]
    marks = [min(1.0, number / last) for number in moves]
    curves = [
        _curve("bed", at, [(one.bed.speed_mm_s, one.bed.live) for _, one in some], most, marks),
        *(_curve(f"zone {name}", at, [_of(one, name) for _, one in some], most, marks) for name in shown),
    ]
    return Trends(curves=tuple(curves), most_mm_s=most, span=_span(readings), left_out=len(names) - len(shown))


def _thinned(readings: Sequence[Reading]) -> list[tuple[int, Reading]]:
    step = max(1, -(-len(readings) // _MOST_POINTS))
    numbers = sorted({*range(0, len(readings), step), len(readings) - 1}) if readings else []
    return [(number, readings[number]) for number in numbers]


def _of(reading: Reading, name: str) -> tuple[float | None, float | None]:
    zone = next((zone for zone in reading.zones if zone.zone == name), None)
    return (None, None) if zone is None else (zone.speed_mm_s, zone.live)


def _curve(
    name: str,
    at: Sequence[float],
    figures: Sequence[tuple[float | None, float | None]],
    most: float,
    marks: Sequence[float],
) -> Trend:
    speeds = [known(one) for one, _ in figures]
    lives = [known(one) for _, one in figures]
    end_speed = next((one for one in reversed(speeds) if one is not None), None)
    end_live = next((one for one in reversed(lives) if one is not None), None)
    words = CANT_TELL if end_speed is None else f"{end_speed:.0f} mm/s, {share(end_live) or '?'} live"
    lines = "".join(f'<path d="M{_x(one):.1f} 0v{HIGH:g}" stroke="#777" stroke-dasharray="1 2"/>' for one in marks)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-1 -2 {WIDE + 2:g} {HIGH + 4:g}" role="img" fill="none" '
        f'stroke-width="1.6"><title>{escape(name)}: {escape(words)}</title>'
        f'<path d="M0 {HIGH:g}H{WIDE:g}M0 0H{WIDE:g}" stroke="#bbb" stroke-width=".6"/>{lines}'
        f'<path d="{_path(at, lives, 1.0)}" stroke="#8a8a8a" stroke-dasharray="4 2.5" stroke-width="1.2"/>'
        f'<path d="{_path(at, speeds, most)}" stroke="#111"/></svg>'
    )
    return Trend(zone=name, svg=svg, words=words)


def _path(at: Sequence[float], values: Sequence[float | None], most: float) -> str:
    parts, drawing = [], False
    for place, value in zip(at, values, strict=True):
        if value is None:
            drawing = False
            continue
        letter = "L" if drawing else "M"
        parts.append(f"{letter}{_x(place):.1f} {HIGH * (1 - min(value / most, 1.0)):.1f}")
        if not drawing:
            parts.append("h.01")  # a single point shows too
        drawing = True
    return "".join(parts) or "M0 0"


def _x(share_of_way: float) -> float:
    return share_of_way * WIDE


def _round_up(value: float) -> float:
    size = 10.0 ** (len(f"{int(value)}") - 1)
    return next(step * size for step in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if step * size >= value)


def _span(readings: Sequence[Reading]) -> str:
    runs = 1 + sum(later.time_s < one.time_s for one, later in pairwise(readings))
    if runs > 1:
        return f"{len(readings)} readings of {runs} looks, one after the other"
    return f"From {readings[0].time_s:.0f} s to {readings[-1].time_s:.0f} s of the picture"


__all__ = ["MOST_ZONES", "Trend", "Trends", "trends_of"]
