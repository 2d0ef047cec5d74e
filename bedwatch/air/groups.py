"""Geldart's groups: how a powder behaves in air. Powder Technol. 7 (1973) 285-292."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bedwatch.air.types import AIR_20C, Gas, Powder

Letter = Literal["C", "A or C", "A", "B", "D"]

# Geldart drew the A/C border as a band without an equation. Here the band as redrawn by Khawaja, Int. J. Multiphysics 9
# (2015) 397, fig. 2, good to 3 µm: density difference in g/cm³, from and to in µm.
_BAND = np.array([[1.0, 21.7, 25.8], [1.2, 20.5, 24.2], [1.4, 19.7, 23.2], [1.6, 19.2, 22.5], [2.5, 18.1, 21.2]])
UNCERTAIN_UM = (18.0, 32.0)  # the band, widened upwards: soft polymer grains stick more (Molerus 1982, from memory)
NEAR = 1.25  # a border closer than this factor is named; our own choice

_MEANING: dict[Letter, str] = {
    "C": "sticks: cracks, channels and plugs; may need vibration, drying or blending",
    "A or C": "on the uncertain border between sticking and aeratable powder: may channel when fine or damp",
    "A": "aeratable: lifts and expands smoothly before the first bubbles; glassy and still-looking is then good",
    "B": "sand-like: bubbles as soon as it lifts",
    "D": "spoutable: coarse grains, needs much air, large bubbles and spouts",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """letter: the group. meaning: what the powder does. near: the border that is close by, or empty."""

    letter: Letter
    meaning: str
    near: str = ""


def ab_border_um(difference_g_cm3: float) -> float:
    """Grain size (µm) at the A/B border, (ρs - ρg) d = 225 in g/cm³ and µm (Geldart 1973, eq. 6)."""
    return 225.0 / difference_g_cm3


def bd_border_um(difference_g_cm3: float) -> float:
    """Grain size (µm) at the B/D border, (ρs - ρg) d² = 10⁶ in g/cm³ and µm² (Geldart 1973, eq. 8)."""
    return float((1e6 / difference_g_cm3) ** 0.5)


def ac_band_um(difference_g_cm3: float) -> tuple[float, float]:
    """The band (µm) in which the A/C border lies, good to 3 µm; held at its ends outside 1.0 to 2.5 g/cm³."""
    low, high = (float(np.interp(difference_g_cm3, _BAND[:, 0], _BAND[:, i])) for i in (1, 2))
    return low, high


def geldart_group(powder: Powder, gas: Gas = AIR_20C) -> Group:
    """The group of a powder in air at room conditions. The A/C border is uncertain and told as that, never as a line."""
    difference = (powder.density_kg_m3 - gas.density_kg_m3) / 1000
    size = powder.grain_m * 1e6
    a_b, b_d = ab_border_um(difference), bd_border_um(difference)
    letter: Letter = "D"
    if size < UNCERTAIN_UM[0]:
        letter = "C"
    elif size <= UNCERTAIN_UM[1]:
        letter = "A or C"
    elif size < a_b:
        letter = "A"
    elif size < b_d:
        letter = "B"
    near = ""
    for name, border in (("A/B", a_b), ("B/D", b_d)):
        if letter in ("A", "B", "D") and 1 / NEAR < size / border < NEAR:
            near = f"near the {name} border at {border:.0f} µm, which powders cross either way"
    if letter == "A" and size < UNCERTAIN_UM[1] * NEAR:
        near = f"near the uncertain A/C border, {UNCERTAIN_UM[0]:.0f} to {UNCERTAIN_UM[1]:.0f} µm"
    return Group(letter=letter, meaning=_MEANING[letter], near=near)
