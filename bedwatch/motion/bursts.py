"""How steadily a place is disturbed: by an eruption now and then, or without a pause."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.motion.gradients import Image

Array = NDArray[np.floating[Any]]

# The least of some sixty readings of noise in a block of 10 mm is about a sixth of its mean; half of it is taken out, since
# a bed without a pause has no quiet moment to read noise from.
_LEAST_TO_MEAN = 3.0
_QUIETEST_PERCENT = 5.0


def burst_rows(change: NDArray[Any], shape: tuple[int, int]) -> NDArray[np.float32]:
    """Energy of a change and its square in patches of 5 mm, both (2, 2 rows, 2 cols); shape: (rows, cols) of the 10 mm blocks."""
    energy = place_energy(change, shape)
    return np.stack([energy, energy * energy])


def place_energy(change: NDArray[Any], shape: tuple[int, int]) -> Image:
    """Energy of a change in patches of 5 mm, (2 rows, 2 cols); shape: (rows, cols) of the 10 mm blocks."""
    rows, cols = 2 * shape[0], 2 * shape[1]
    squared = cv2.multiply(change, change)[: rows * 2, : cols * 2]
    return np.asarray(cv2.resize(squared, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def block_energy(rows: NDArray[np.float32]) -> Image:
    """The energy of `burst_rows` in blocks of 10 mm."""
    energy = rows[0]
    return np.asarray(
        cv2.resize(energy, (energy.shape[1] // 2, energy.shape[0] // 2), interpolation=cv2.INTER_AREA),
        np.float32,
    )


def noise_of(least: Image, used: NDArray[np.bool_]) -> float:
    """Energy that camera noise alone gives a place. least: (rows, cols) least energy of each block within the window."""
    return _LEAST_TO_MEAN * float(np.percentile(least[used], _QUIETEST_PERCENT)) if used.any() else 0.0


def duty(means: NDArray[np.float32], least: Image, used: NDArray[np.bool_]) -> Array:
    """Share of the time in which a place is disturbed, on the lattice of 10 mm blocks, noise taken out.

    (mean energy)^2 / mean of energy^2 over time: 1 for a steady disturbance, the share of the time itself for one that is
    there or not (the participation ratio; Bell & Dean 1970, Discuss. Faraday Soc. 50, 55-61, for shares of atoms).

    means: time means of `burst_rows`. least: (rows, cols) least energy of each block within the window.
    """
    noise = noise_of(least, used)
    first, second = means.astype(np.float64)
    net = np.maximum(first - noise, 0.0)
    spread = np.maximum(second - 2 * noise * first + noise**2, 1e-12)
    fine = np.where(first > 1.5 * noise, net**2 / spread, 0.0)
    return np.asarray(fine.reshape(fine.shape[0] // 2, 2, fine.shape[1] // 2, 2).mean(axis=(1, 3)), np.float64)
