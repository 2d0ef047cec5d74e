"""How even a bed is, in one number."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray


def uniformity_index(speeds: NDArray[np.floating[Any]], areas: NDArray[np.floating[Any]] | None = None) -> float:
    """1 - sum(A |v - mean|) / (2 mean sum(A)), mean being area-weighted (Weltens et al. 1993, SAE 930780; formula from memory).

    speeds: (n,) with NaN left out; areas: (n,), all alike when None. 1 is even; 1 - 1/n when one of n equal cells is dead and
    the rest alike; 0 where nothing moves; NaN when no cell is known.
    """
    known = np.isfinite(speeds)
    if not known.any():
        return math.nan
    v = speeds[known]
    a = np.ones_like(v) if areas is None else areas[known]
    mean = float((v * a).sum() / a.sum())
    if mean <= 0:
        return 0.0
    return 1.0 - float((a * np.abs(v - mean)).sum() / (2 * mean * a.sum()))
