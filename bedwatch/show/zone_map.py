"""The bed's zones as a drawing for paper and screen, one unit a millimetre. Shapes and words carry what colour does."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from html import escape

import numpy as np

from bedwatch.bed import Bed, Zone, distance_to_border
from bedwatch.judge.setting import Setting, ZoneSetting
from bedwatch.judge.types import Fault, FaultKind, HintWord
from bedwatch.show.look import Look
from bedwatch.show.words import CANT_TELL, HINTS, share, speed, zone_tags

_LOOK = Look()
# Tones after Okabe & Ito 2008, Color universal design, thinned so that black words stand on them.
_TONES = {
    HintWord.MORE_AIR: "#bfe0f5",
    HintWord.LESS_AIR: "#fbd9b5",
    HintWord.HOLD: "#ffffff",
    HintWord.STIR: "#cdeee1",
    HintWord.CHECK_PLATE: "#f3d3e4",
    HintWord.WAIT: "#e8e8e8",
}
# What each is hatched with, so that it is told apart in grey too: lines of a pattern 10 mm wide.
_HATCHES = {
    HintWord.MORE_AIR: "M2 6l3-4 3 4",
    HintWord.LESS_AIR: "M2 2l3 4 3-4",
    HintWord.STIR: "M0 5q2.5-4 5 0t5 0",
    HintWord.CHECK_PLATE: "M1 1l8 8M9 1l-8 8",
    HintWord.WAIT: "M5 4.5v1",
}
_INK = "#222"


def picture_svg(bed: Bed, jpeg: bytes, words: str, tags: bool = True) -> str:
    """A rectified picture of the bed under its zones' outlines, to the same scale as `zone_map_svg`."""
    data = base64.b64encode(jpeg).decode("ascii")
    x, y = bed.width_mm / 2, bed.length_mm / 2
    parts = [
        *_head(bed, words),
        f'<image href="data:image/jpeg;base64,{data}" x="{-x:g}" y="{-y:g}" width="{bed.width_mm:g}" '
        f'height="{bed.length_mm:g}" preserveAspectRatio="none"/>',
        _wall(bed),
    ]
    if tags:
        size = 0.045 * bed.width_mm
        parts.append(
            f'<g fill="none" stroke="#fff" stroke-width="{_line(bed):g}" stroke-opacity=".8">{_outlines(bed)}</g>'
        )
        parts.append(f'<g font-size="{size:g}" text-anchor="middle" font-weight="bold">')
        for zone, tag in zip(bed.zones, zone_tags(bed), strict=True):
            cx, cy = middle(bed, zone)
            parts.append(_text(cx, -cy + size / 3, tag))
        parts.append("</g>")
    return "".join([*parts, _clock(bed), _bar(bed), "</svg>"])


def zone_map_svg(bed: Bed, setting: Setting, words: str) -> str:
    """Each zone with its name, what its air needs as a mark, a word and a hatch, its live share and speed; faults placed."""
    parts = [*_head(bed, words), _patterns()]
    line = _line(bed)
    for zone, one in zip(bed.zones, setting.zones, strict=True):
        points = _points(zone)
        parts.append(f'<polygon points="{points}" fill="{_TONES[one.hint]}" stroke="{_INK}" stroke-width="{line:g}"/>')
        if one.hint in _HATCHES:
            parts.append(f'<polygon points="{points}" fill="url(#bw-{one.hint.value})"/>')
    parts.append(_wall(bed))
    parts += [_fault(bed, fault) for fault in setting.faults]
    parts.append('<g text-anchor="middle">')
    for zone, tag, one in zip(bed.zones, zone_tags(bed), setting.zones, strict=True):
        parts.append(_label(bed, zone, tag, one))
    parts.append("</g>")
    return "".join([*parts, _clock(bed), _bar(bed), "</svg>"])


def middle(bed: Bed, zone: Zone) -> tuple[float, float]:
    """Where a zone's label goes (mm): the middle of a sector, else the place farthest from every border."""
    sector = zone.sector
    if sector is not None:
        if sector.sweep_deg >= 360.0 and sector.inner_mm == 0:
            return 0.0, 0.0
        turn = math.radians(sector.start_deg + sector.sweep_deg / 2)
        out = (sector.inner_mm + sector.outer_mm) / 2
        return out * math.sin(turn), out * math.cos(turn)
    low, high = zone.polygon_mm.min(axis=0), zone.polygon_mm.max(axis=0)
    steps = (np.arange(25) + 0.5) / 25
    places = np.stack(np.meshgrid(*(low[i] + steps * (high[i] - low[i]) for i in (0, 1))), axis=-1).reshape(-1, 2)
    alone = Bed(
        name="",
        shape="rectangular",
        width_mm=bed.width_mm + 1,
        length_mm=bed.length_mm + 1,
        surface_below_rim_mm=0.0,
        zones=(zone,),
    )
    deep = np.nan_to_num(distance_to_border(alone, places), nan=-1.0)
    # Of places as deep, the one nearest to the middle.
    lost = np.hypot(*(places - (low + high) / 2).T) / max(float((high - low).max()), 1.0)
    x, y = places[int(np.argmax(deep * (1 - 0.2 * lost)))].tolist()
    return x, y


def _head(bed: Bed, words: str) -> list[str]:
    room = 0.075 * max(bed.width_mm, bed.length_mm)
    width, height = bed.width_mm + 2 * room, bed.length_mm + 2 * room
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-width / 2:g} {-height / 2:g} {width:g} {height:g}" '
        f'role="img" font-family="system-ui, sans-serif" fill="{_INK}"><title>{escape(words)}</title>'
    ]


def _line(bed: Bed) -> float:
    return round(max(bed.width_mm, bed.length_mm) / 280, 2)


def _points(zone: Zone) -> str:
    return " ".join(f"{x:.1f},{-y:.1f}" for x, y in zone.polygon_mm.tolist())


def _outlines(bed: Bed) -> str:
    return "".join(f'<polygon points="{_points(zone)}"/>' for zone in bed.zones)


def _wall(bed: Bed) -> str:
    style = f'fill="none" stroke="{_INK}" stroke-width="{2.5 * _line(bed):g}"'
    if bed.shape == "round":
        return f'<circle r="{bed.width_mm / 2:g}" {style}/>'
    x, y = bed.width_mm / 2, bed.length_mm / 2
    return f'<rect x="{-x:g}" y="{-y:g}" width="{bed.width_mm:g}" height="{bed.length_mm:g}" {style}/>'


def _patterns() -> str:
    made = []
    for hint, path in _HATCHES.items():
        made.append(
            f'<pattern id="bw-{hint.value}" width="10" height="10" patternUnits="userSpaceOnUse">'
            f'<path d="{path}" fill="none" stroke="#555" stroke-width=".7" stroke-opacity=".55"/></pattern>'
        )
    return f"<defs>{''.join(made)}</defs>"


def _label(bed: Bed, zone: Zone, tag: str, one: ZoneSetting) -> str:
    size = min(0.042 * bed.width_mm, 0.24 * math.sqrt(zone.area_mm2))
    x, y = middle(bed, zone)
    if size < 0.018 * bed.width_mm:
        return _text(x, -y + size / 2, f"{tag} {_LOOK.mark(one.hint)}", 1.4 * size)
    figures = speed(one.speed_mm_s.value, one.speed_mm_s.error)
    lines = [
        f"{_LOOK.mark(one.hint)} {HINTS[one.hint]}",
        f"{share(one.live.value) or '?'} live",
        CANT_TELL if figures is None else f"{figures.partition(' ±')[0].replace('about ', '~')} mm/s",
    ]
    parts = [_text(x, -y - 0.9 * size, tag, 1.25 * size, bold=True)]
    for number, words in enumerate(lines):
        parts.append(_text(x, -y + (0.25 + 0.98 * number) * size, words, 0.82 * size, bold=number == 0))
    return "".join(parts)


def _text(x: float, y: float, words: str, size: float | None = None, *, bold: bool = False) -> str:
    """Words with a light rim, to be read on any ground."""
    at = f'x="{x:.1f}" y="{y:.1f}"'
    also = ("" if size is None else f' font-size="{size:.1f}"') + (' font-weight="bold"' if bold else "")
    rim = 'stroke="#fff" stroke-width="2.4" stroke-opacity=".85" paint-order="stroke" stroke-linejoin="round"'
    return f"<text {at}{also} {rim}>{escape(words)}</text>"


def _fault(bed: Bed, fault: Fault) -> str:
    """A mark as large as the fault: a spout filled, a dead spot empty, a leak a diamond."""
    if not (math.isfinite(fault.x_mm) and math.isfinite(fault.y_mm)):
        return ""
    least = 0.018 * bed.width_mm
    size = max(least, math.sqrt(fault.area_mm2 / math.pi)) if math.isfinite(fault.area_mm2) else least
    x, y = fault.x_mm, -fault.y_mm
    if fault.kind is FaultKind.RIM_LEAK:
        return f'<path d="M{x:.1f} {y - size:.1f}l{size:.1f} {size:.1f} {-size:.1f} {size:.1f} {-size:.1f} {-size:.1f}z" fill="{_INK}" fill-opacity=".75" stroke="#fff" stroke-width="1.5"/>'  # noqa: E501
    fill = _INK if fault.kind is FaultKind.SPOUT else "none"
    dash = "" if fault.kind is FaultKind.SPOUT else ' stroke-dasharray="5 3"'
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}" fill="{fill}" fill-opacity=".6" stroke="{_INK}" '
        f'stroke-width="{2 * _line(bed):g}"{dash}/>'
    )


def _clock(bed: Bed) -> str:
    top, size = -bed.length_mm / 2, 0.032 * bed.width_mm
    return (
        f'<path d="M0 {top - 0.3 * size:.1f}l{-0.5 * size:.1f} {-size:.1f}h{size:.1f}z"/>'
        f'<text x="{size:.1f}" y="{top - 0.5 * size:.1f}" font-size="{size:.1f}">12 o\'clock</text>'
    )


def _bar(bed: Bed) -> str:
    """A bar of a round number of millimetres, below the bed."""
    long = next(step for step in (500, 200, 100, 50, 20, 10, 5) if step <= max(5.0, 0.3 * bed.width_mm))
    size = 0.032 * bed.width_mm
    x, y = -bed.width_mm / 2, bed.length_mm / 2 + 1.5 * size
    return (
        f'<path d="M{x:g} {y - 0.4 * size:.1f}v{0.8 * size:.1f}m0 {-0.4 * size:.1f}h{long}m0 {-0.4 * size:.1f}v{0.8 * size:.1f}" '
        f'fill="none" stroke="{_INK}" stroke-width="{_line(bed):g}"/>'
        f'<text x="{x + long + 0.5 * size:.1f}" y="{y + 0.35 * size:.1f}" font-size="{size:.1f}">{long} mm</text>'
    )


def fault_numbers(faults: Sequence[Fault]) -> list[str]:
    """The mark of each fault as it stands on the map."""
    return [_LOOK.fault_mark(fault.kind) for fault in faults]


__all__ = ["fault_numbers", "middle", "picture_svg", "zone_map_svg"]
