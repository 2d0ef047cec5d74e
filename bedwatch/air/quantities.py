"""Figures of powder, air and pressure as people write them: a number and a unit. Lengths are `bed.units`."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from bedwatch.bed.strict import Table, finite
from bedwatch.bed.toml_text import printable, shown

_QUANTITY = re.compile(r"([-+]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+))\s*([^\s0-9.,][^\s]*)?")
_LONGEST = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of quantity: its name with article, an example, its units and what one of each is in SI."""

    what: str
    example: str
    units: Mapping[str, float]


_INCH, _FOOT, _POUND = 0.0254, 0.3048, 0.45359237
GRAIN = Kind(what="a grain size", example="100 um", units={"um": 1e-6, "µm": 1e-6, "μm": 1e-6, "mm": 1e-3})
DENSITY = Kind(
    what="a density",
    example="1400 kg/m3",
    units={"kg/m3": 1.0, "kg/m³": 1.0, "g/cm3": 1000.0, "g/cm³": 1000.0, "lb/ft3": _POUND / _FOOT**3},
)
PRESSURE = Kind(
    what="a pressure",
    example="5 kPa",
    units={
        "Pa": 1.0,
        "kPa": 1e3,
        "mbar": 100.0,
        "bar": 1e5,
        "psi": _POUND * 9.80665 / _INCH**2,
        "mmH2O": 9.80665,  # the conventional millimetre and inch of water
        "inH2O": 9.80665 * 25.4,
    },
)
FLOW = Kind(
    what="an air flow",
    example="120 L/min",
    units={
        "L/min": 1e-3 / 60,
        "l/min": 1e-3 / 60,
        "L/s": 1e-3,
        "m3/h": 1 / 3600,
        "m³/h": 1 / 3600,
        "cfm": _FOOT**3 / 60,
        "scfm": _FOOT**3 / 60,  # at 20 °C and 101 325 Pa, where all our flows are told
    },
)
SPEED = Kind(
    what="an air velocity",
    example="10 mm/s",
    units={"mm/s": 1e-3, "cm/s": 1e-2, "m/s": 1.0, "ft/min": _FOOT / 60},
)

L_MIN, SCFM, M3_H = 60_000.0, 60 / _FOOT**3, 3600.0  # from m³/s


def quantity(text: str, kind: Kind) -> float:
    """A figure such as "100 um" or "5 kPa" in SI. Raises ValueError that says what was found and what was expected."""
    cleaned = text.strip()
    units = list(kind.units)
    expected = f'expected {kind.what} such as "{kind.example}" (units: {", ".join(units[:-1])} or {units[-1]})'
    if len(cleaned) > _LONGEST:
        raise ValueError(f"found a text of {len(cleaned)} letters, {expected}")
    found = f'found "{printable(cleaned)}"'
    match = _QUANTITY.fullmatch(cleaned)
    if match is None:
        comma = " with a decimal point, not a comma" if re.search(r"[0-9],[0-9]", cleaned) else ""
        raise ValueError(f"{found}, {expected}{comma}")
    number, unit = match.groups()
    if unit is None:
        raise ValueError(f"{found} without a unit, {expected}")
    if unit not in kind.units:
        raise ValueError(f'{found} with the unit "{printable(unit)}", {expected}')
    return float(number) * kind.units[unit]


def read_quantity(table: Table, key: str, kind: Kind, least: str, most: str) -> float | None:
    """A key of a table as a quantity within [least, most], both written like it; None when missing, or wrong and noted."""
    value = table.value(key, f'{kind.what} such as "{kind.example}"', required=False)
    if value is None:
        return None
    if not isinstance(value, str):
        bare = " without a unit" if finite(value) is not None else ""
        table.mistake(
            key, f'found {shown(value)}{bare}, expected {kind.what} with its unit in quotes: "{kind.example}"'
        )
        return None
    try:
        number = quantity(value, kind)
    except ValueError as error:
        table.mistake(key, str(error))
        return None
    low, high = quantity(least, kind), quantity(most, kind)
    if not low <= number <= high and not (math.isclose(number, low) or math.isclose(number, high)):
        table.mistake(key, f'found {shown(value)}, expected {kind.what} from "{least}" to "{most}"')
        return None
    return number
