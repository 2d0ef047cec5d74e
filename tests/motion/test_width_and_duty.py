"""How wide and how steady the changes are."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.motion.bands import OCTAVES, octaves
from bedwatch.motion.bursts import block_energy, burst_rows, duty

SHAPE = (32, 32)  # blocks; 4 pixels each
SEEN = np.ones(SHAPE, np.float32)


def blobs(width_px: float, seed: int = 1) -> np.ndarray:
    """Noise smoothed to about the width given, in pixels of the fine scale."""
    import cv2

    rng = np.random.default_rng(seed)
    image = cv2.GaussianBlur(rng.standard_normal((128, 128)).astype(np.float32), (0, 0), width_px / 2)
    return np.asarray(image / image.std(), np.float32)


def test_octaves_add_up() -> None:
    """Haar's steps are orthogonal: octaves and what is coarser than the last make up the whole energy."""
    change = blobs(3.0) + 0.5 * blobs(20.0, seed=2)
    parts = octaves(change, SEEN, SHAPE)
    assert parts.shape == (OCTAVES, *SHAPE)
    rest = change.reshape(4, 32, 4, 32).mean(axis=(1, 3))  # means over 32 x 32 pixels
    whole = float((change**2).mean())
    # Equal but for single precision.
    assert float(parts.mean(axis=(1, 2)).sum() + (rest**2).mean()) == pytest.approx(whole, rel=1e-4)
    assert parts.mean(axis=(1, 2)).min() >= 0


@pytest.mark.parametrize(("width_px", "octave"), [(1.0, 0), (4.0, 1), (8.0, 2), (16.0, 3), (32.0, 4)])
def test_wider_changes_lie_in_higher_octaves(width_px: float, octave: int) -> None:
    energy = octaves(blobs(width_px), SEEN, SHAPE).mean(axis=(1, 2))
    # A smooth blob spreads over neighbouring octaves, so the peak may stand one beside its width's own.
    assert abs(int(energy.argmax()) - octave) <= 1


def test_order_of_widths_is_kept() -> None:
    def middle(width_px: float) -> float:
        energy = octaves(blobs(width_px), SEEN, SHAPE).mean(axis=(1, 2))
        return float((energy * np.arange(OCTAVES)).sum() / energy.sum())

    places = [middle(width) for width in (1.0, 2.0, 4.0, 8.0, 16.0)]
    assert places == sorted(places)
    assert places[-1] - places[0] > 1.5  # four octaves apart in width; blobs are no pure tones


def test_energy_is_per_powder_seen() -> None:
    change = blobs(2.0)
    half = change.copy()
    half[:, ::2] = 0  # every second column off the powder
    full = octaves(np.repeat(change[:, ::2], 2, axis=1), SEEN, SHAPE).sum(axis=0).mean()
    part = octaves(half, SEEN * 0.5, SHAPE)[0].mean()
    assert part > 0
    assert part < 4 * full  # weighed by the share seen, not by its square


PATTERN = np.where(np.random.default_rng(3).random((128, 128)) < 0.5, -5.0, 5.0).astype(np.float32)
LEFT = np.zeros((128, 128), np.bool_)
LEFT[:, :64] = True


def watched(on: np.ndarray, *, noise: float = 0.02, where: np.ndarray = LEFT) -> np.ndarray:
    """Duty of a disturbance of one strength that is there or not, in part of the picture; on: (times,) booleans."""
    rng = np.random.default_rng(4)
    rows, least = [], []
    for now in on:
        change = noise * rng.standard_normal((128, 128)).astype(np.float32)
        rows.append(burst_rows(change + PATTERN * where if now else change, SHAPE))
        least.append(block_energy(rows[-1]))
    return duty(np.mean(rows, axis=0), np.min(least, axis=0), np.ones(SHAPE, np.bool_))


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 1.0])
def test_duty_is_the_share_of_the_time_that_is_on(share: float) -> None:
    """The participation ratio (Bell & Dean 1970) of a signal that is there or not is its share of the time exactly; noise is
    16 millionths of its energy here."""
    got = watched(np.arange(60) < round(60 * share))
    np.testing.assert_allclose(got[:, :16], share, rtol=0.01)
    assert got[:, 16:].mean() < 0.06  # see the test of noise alone


def test_duty_does_not_depend_on_when_or_how_strongly() -> None:
    on = np.arange(60) % 4 == 0
    late = np.arange(60) >= 45
    np.testing.assert_allclose(watched(on)[:, :16], watched(late)[:, :16], rtol=0.01)
    np.testing.assert_allclose(watched(on)[:, :16], watched(on, where=0.3 * LEFT)[:, :16], rtol=0.01)


def test_noise_alone_is_no_disturbance() -> None:
    """A still surface under any noise: what is left after taking it out must stay below the gentlest bed's duty,
    0.2 visits a second of a third of a second each (Geldart B powder just past its minimum)."""
    for noise in (0.02, 1.0, 5.0):
        assert watched(np.zeros(60, np.bool_), noise=noise).mean() < 0.06
