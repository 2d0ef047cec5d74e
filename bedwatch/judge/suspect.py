"""A place under suspicion, as one look at the ground map shows it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedwatch.judge.types import FaultKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One place of one look. zone: index. since_s: source time at which it began, as far back as is remembered. strength: how
    far it stands out, logarithm of energy. plain: so far beyond chance that a short look will do. group: (rows, cols) the places
    of the ground map it covers."""

    kind: FaultKind
    x_mm: float
    y_mm: float
    area_mm2: float
    zone: int
    since_s: float
    strength: float
    plain: bool = False
    group: NDArray[np.bool_] = field(repr=False, compare=False)
