"""The middle value and its like, for the many small arrays that every picture brings."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def middle(values: NDArray[np.floating[Any]]) -> float:
    """The median of all values, as `np.median` gives it, in a tenth of the time for some hundred values.

    values: any shape, none of them NaN. NaN when there is none.
    """
    flat = values.flatten()
    half = flat.size // 2
    if not flat.size:
        return float("nan")
    flat.partition(half)
    if flat.size % 2:
        return float(flat[half])
    return float((flat[:half].max() + flat[half]) / 2) if half else float(flat[half])


def percentile(values: NDArray[np.floating[Any]], percent: float) -> float:
    """The value that so many per cent of all lie under, as `np.percentile` gives it: on the line between the two next to it.

    values: any shape, none of them NaN. NaN when there is none.
    """
    flat = values.flatten()
    if not flat.size:
        return float("nan")
    place = (flat.size - 1) * percent / 100
    low = int(place)
    flat.partition(low)
    under = float(flat[low])
    share = place - low
    return under + share * (float(flat[low + 1 :].min()) - under) if share > 0 else under


__all__ = ["middle", "percentile"]
