"""The drilling pattern as a drawing to scale: one unit is one millimetre."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

import numpy as np

from bedwatch.air.layout import DrillPlan
from bedwatch.bed import Bed

MARGIN_MM = 20.0
FOOT_MM = 34.0  # room below the plate for the check rule and the words
RULE_MM = 100.0


def plate_svg(bed: Bed, drill: DrillPlan) -> str:
    """An SVG whose width and height are in mm: wall, zones, every hole with its centre, 12 o'clock, a check rule.

    Seen from above, y to 12 o'clock. Printed or cut at 100 % it is life size; the rule tells whether it is.
    """
    room = 2 * MARGIN_MM
    width, height = max(bed.width_mm, RULE_MM + 10) + room, bed.length_mm + room + FOOT_MM
    left, middle = -width / 2, bed.length_mm / 2 + MARGIN_MM
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="{left:g} {-middle:g} {width:g} {height:g}">',
        f"<title>{_words(bed.name)}: {sum(drill.per_zone)} holes of {drill.hole_mm:g} mm, 1 : 1</title>",
        f'<rect x="{left:g}" y="{-middle:g}" width="{width:g}" height="{height:g}" fill="white"/>',
        _wall(bed),
        *_zones(bed),
        _holes(drill),
        _clock(bed),
        *_rule(bed, drill),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _wall(bed: Bed) -> str:
    style = 'fill="none" stroke="black" stroke-width="0.5"'
    if bed.shape == "round":
        return f'<circle cx="0" cy="0" r="{bed.width_mm / 2:g}" {style}/>'
    x, y = bed.width_mm / 2, bed.length_mm / 2
    return f'<rect x="{-x:g}" y="{-y:g}" width="{bed.width_mm:g}" height="{bed.length_mm:g}" {style}/>'


def _zones(bed: Bed) -> list[str]:
    """Outlines and, at each zone's middle, its name; faint, under the holes."""
    parts = ['<g fill="none" stroke="gray" stroke-width="0.25">']
    for zone in bed.zones:
        points = " ".join(f"{x:.2f},{-y:.2f}" for x, y in zone.polygon_mm.tolist())
        parts.append(f'<polygon points="{points}"/>')
    parts.append("</g>")
    parts.append('<g font-family="sans-serif" text-anchor="middle" fill="silver">')
    for zone in bed.zones:
        x, y = _middle(zone.polygon_mm)
        size = min(12.0, 0.25 * math.sqrt(zone.area_mm2))
        if zone.sector is not None:
            s = zone.sector
            turn = math.radians(s.start_deg + s.sweep_deg / 2)
            out = (s.inner_mm + s.outer_mm) / 2 if s.sweep_deg < 360 or s.inner_mm > 0 else 0.0
            x, y = out * math.sin(turn), out * math.cos(turn)
        parts.append(f'<text x="{x:.2f}" y="{-y + size / 3:.2f}" font-size="{size:.1f}">{_words(zone.name)}</text>')
    parts.append("</g>")
    return parts


def _middle(polygon_mm: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> tuple[float, float]:
    low, high = polygon_mm.min(axis=0), polygon_mm.max(axis=0)
    x, y = ((low + high) / 2).tolist()
    return x, y


def _holes(drill: DrillPlan) -> str:
    """Every hole in its size, with a cross to set the drill on."""
    radius = drill.hole_mm / 2
    arm = max(0.8, radius * 1.5)
    lines = ['<g fill="none" stroke="black" stroke-width="0.1">']
    for x, y in drill.holes_mm.tolist():
        lines.append(f'<circle cx="{x:.2f}" cy="{-y:.2f}" r="{radius:g}"/>')
        lines.append(f'<path d="M{x - arm:.2f} {-y:.2f}h{2 * arm:.2f}M{x:.2f} {-y - arm:.2f}v{2 * arm:.2f}"/>')
    lines.append("</g>")
    return "\n".join(lines)


def _clock(bed: Bed) -> str:
    top = -bed.length_mm / 2
    return (
        f'<path d="M0 {top - 1:g}l-3 -6h6z" fill="black"/>'
        f'<text x="5" y="{top - 3:g}" font-family="sans-serif" font-size="5">12 o\'clock, seen from above</text>'
    )


def _rule(bed: Bed, drill: DrillPlan) -> list[str]:
    """A line of exactly 100 mm with a tick every 10, and what to do when it measures anything else."""
    y, x = bed.length_mm / 2 + 12, -RULE_MM / 2
    ticks = "".join(f"M{x + 10 * i:g} {y:g}v{-(4 if i % 5 == 0 else 2.5):g}" for i in range(11))
    spread = f"{min(drill.per_zone)}" if len(set(drill.per_zone)) == 1 else "see the list for holes"
    return [
        f'<path id="check-rule" d="M{x:g} {y:g}h{RULE_MM:g}{ticks}" fill="none" stroke="black" stroke-width="0.3"/>',
        '<g font-family="sans-serif" font-size="4" text-anchor="middle">',
        f'<text x="0" y="{y + 6:g}">This rule must measure 100 mm: print at 100 %, not "fit to page".</text>',
        f'<text x="0" y="{y + 13:g}">{_words(bed.name)}: {sum(drill.per_zone)} holes of {drill.hole_mm:g} mm, '
        f"{spread} per zone</text>",
        f'<text x="0" y="{y + 20:g}">First drawing, not a tested plate: check every figure before you drill.</text>',
        "</g>",
    ]


def _words(text: str) -> str:
    return escape(text)
