"""How wide the patches are that change together: energy of the change in octaves of width."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.gradients import Image

OCTAVES = 5


def octaves(change: NDArray[Any], seen: Image, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Energy of a change of contrast per octave of width, on the block lattice: (OCTAVES, rows, cols), per cent squared.

    change: contrast difference at the fine scale, 0 off the powder. seen: (rows, cols) share of each block that sees
    powder. shape: (rows, cols) of the lattice, a block being 4 pixels of the fine scale.

    Means over 1, 2, 4, ... pixels follow one another; what each step loses is the energy of that octave. The
    steps are orthogonal (Haar 1910, Math. Ann. 69, 331-371), so the octaves add up to the whole.
    """
    rows, cols = shape
    now = change[: rows * 4, : cols * 4]
    energies: list[Image] = []
    for step in range(OCTAVES + 1):
        squared = cv2.multiply(now, now)
        enlarge = step > 2
        energies.append(
            np.asarray(
                cv2.resize(squared, (cols, rows), interpolation=cv2.INTER_NEAREST if enlarge else cv2.INTER_AREA),
                np.float32,
            )
        )
        if step < OCTAVES:
            size = (max(1, now.shape[1] // 2), max(1, now.shape[0] // 2))
            now = np.asarray(cv2.resize(now, size, interpolation=cv2.INTER_AREA), np.float32)
    per_seen = 1.0 / np.maximum(seen, 0.05)
    return np.stack([(energies[k] - energies[k + 1]) * per_seen for k in range(OCTAVES)]).astype(np.float32)
