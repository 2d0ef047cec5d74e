"""Colours for the live share: dark blue is still, yellow is wholly live.

The course of lightness and the blue-to-yellow axis follow the idea of Nuñez, Anderton and Renslow (2018),
"Optimizing colormaps with consideration for color vision deficiency", PLoS ONE 13(7): equal steps in
lightness, told apart with any common colour vision. The table is our own reading of it, from memory.
"""

from __future__ import annotations

Rgb = tuple[int, int, int]

_TABLE: tuple[Rgb, ...] = (
    (0, 34, 78),
    (18, 53, 112),
    (59, 73, 108),
    (87, 93, 109),
    (112, 113, 115),
    (138, 134, 120),
    (165, 156, 116),
    (195, 179, 105),
    (225, 204, 85),
    (254, 232, 56),
)


def live_colour(share: float) -> Rgb:
    """The colour of a live share; shares outside 0 to 1 take the end's colour."""
    place = min(max(share, 0.0), 1.0) * (len(_TABLE) - 1)
    low = min(int(place), len(_TABLE) - 2)
    part = place - low
    a, b = _TABLE[low], _TABLE[low + 1]
    return (
        round(a[0] + (b[0] - a[0]) * part),
        round(a[1] + (b[1] - a[1]) * part),
        round(a[2] + (b[2] - a[2]) * part),
    )


def ink_on(colour: Rgb) -> Rgb:
    """Black or white, whichever reads better on the colour (relative luminance, ITU-R BT.709 weights)."""
    r, g, b = ((c / 255.0) ** 2.2 for c in colour)
    return (0, 0, 0) if 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.18 else (255, 255, 255)


def css(colour: Rgb) -> str:
    """The colour as "#rrggbb"."""
    return "#{:02x}{:02x}{:02x}".format(*colour)
