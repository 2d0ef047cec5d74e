"""Lengths and angles as people write them: a number and a unit."""

from __future__ import annotations

import math
import re
from fractions import Fraction

_MM = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
_DEG = {"deg": 1.0, "rad": 180.0 / math.pi}
_QUANTITY = re.compile(r"([-+]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+))\s*([A-Za-z]*)")
_LONGEST = 40


def length_mm(text: str) -> float:
    """A length such as "420 mm", "42 cm", "0.42 m", "16.5 in" or "1.4 ft", in millimetres.

    The nearest float to the exact value (1 in = 25.4 mm, 1 ft = 12 in). A sign is taken, whether it makes
    sense is the caller's to say. Raises ValueError, saying what was found and what was expected, for
    anything else: no unit, an unknown unit, a decimal comma, two numbers ("5 ft 3 in"), an exponent,
    infinity.
    """
    number, unit = _split(text, tuple(_MM), "a length", "420 mm")
    return float(Fraction(number) * _MM[unit])


def angle_deg(text: str) -> float:
    """An angle such as "30 deg" or "0.52 rad", in degrees. Raises ValueError as `length_mm` does."""
    number, unit = _split(text, tuple(_DEG), "an angle", "30 deg")
    return float(number) * _DEG[unit]


def _split(text: str, units: tuple[str, ...], what: str, example: str) -> tuple[str, str]:
    """Number and unit of one quantity, or a ValueError that says what is wrong with it."""
    cleaned = text.strip()
    expected = f'expected {what} such as "{example}"'
    words = f"{', '.join(units[:-1])} or {units[-1]}"
    if len(cleaned) > _LONGEST:
        raise ValueError(f"found a text of {len(cleaned)} letters, {expected}")
    found = f"found {_quoted(cleaned)}"
    match = _QUANTITY.fullmatch(cleaned)
    if match is None:
        if re.search(r"[0-9],[0-9]", cleaned):
            raise ValueError(f"{found}, {expected} with a decimal point, not a comma")
        raise ValueError(f"{found}, {expected}: one number and one unit ({words})")
    number, unit = match.groups()
    if not unit:
        raise ValueError(f"{found} without a unit, {expected} (units: {words})")
    if unit not in units:
        raise ValueError(f'{found} with the unit "{unit}", {expected} (units: {words})')
    return number, unit


def _quoted(text: str) -> str:
    return '"' + "".join(c if c.isprintable() and c != '"' else repr(c)[1:-1] for c in text) + '"'
