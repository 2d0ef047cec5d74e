"""From blocks to the wall's strip, and from blocks to cells and zones."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from bedwatch.motion.blocks import Lattice
from bedwatch.motion.margin import Margin
from bedwatch.motion.patches import PatchMap

SIZE = 128
_Y, _X = np.mgrid[:SIZE, :SIZE].astype(np.float32)
DISC = np.hypot(_X - 63.5, _Y - 63.5) < 58


def test_a_straight_line_field_is_read_at_the_wall() -> None:
    """A block at the wall sees only what lies further in; a field that rises in a straight line must come out with the value
    at the middle of the block's own powder."""
    lattice = Lattice(DISC, 4)
    margin = Margin(lattice, DISC.astype(np.float32), lattice.valid)
    field = 10 + 0.5 * _X + 0.25 * _Y
    seen = lattice.mean(field).astype(np.float64)  # what the windows report
    powder = lattice.share(DISC.astype(np.float32))
    true = lattice.share(DISC * field) / np.maximum(powder, 1e-6)
    strip = lattice.valid & (lattice.window < 0.9) & (powder > 0.3)
    assert strip.sum() > 40
    before, after = (np.abs(values - true)[strip] for values in (seen, margin.read(seen)))
    # Windows of 12 pixels cut in half lie 2 pixels and more away from their block: 1 to 2 in this field. The line takes
    # out all but what its small pull to the level leaves.
    assert np.sqrt((before**2).mean()) > 0.5
    assert np.sqrt((after**2).mean()) < 0.25 * np.sqrt((before**2).mean())


def test_the_middle_of_the_bed_is_left_as_it_is() -> None:
    lattice = Lattice(DISC, 4)
    values = np.random.default_rng(1).uniform(1, 9, lattice.shape)
    got = Margin(lattice, DISC.astype(np.float32), lattice.valid).read(values)
    inner = cv2.erode(DISC.astype(np.uint8), np.ones((25, 25), np.uint8))[2::4, 2::4].astype(bool)
    assert inner.sum() > 100
    np.testing.assert_array_equal(got[inner], values[inner])


def test_a_level_field_stays_level_and_a_still_one_still() -> None:
    lattice = Lattice(DISC, 4)
    margin = Margin(lattice, DISC.astype(np.float32), lattice.valid)
    known = lattice.valid
    np.testing.assert_allclose(margin.read(np.full(lattice.shape, 7.0))[known], 7.0, rtol=1e-6)
    np.testing.assert_allclose(margin.read(np.zeros(lattice.shape)), 0.0, atol=1e-9)


def quarters() -> np.ndarray:
    """Four squares of 64 pixels, 8 blocks of 8 each way; nothing beyond column 112."""
    index = (_Y >= 64).astype(np.intp) * 2 + (_X >= 64)
    return np.where(_X < 112, index, -1).astype(np.intp)


def test_patch_means_are_means_by_area() -> None:
    patches = PatchMap(quarters(), 4, np.ones((16, 16), np.bool_), 8, 1.25)
    values = np.arange(256.0).reshape(16, 16)
    expected = [values[:8, :8].mean(), values[:8, 8:14].mean(), values[8:, :8].mean(), values[8:, 8:14].mean()]
    np.testing.assert_allclose(patches.mean(values), expected)
    np.testing.assert_allclose(patches.blocks, [64, 48, 64, 48])
    assert patches.used[:, :14].all()
    assert not patches.used[:, 14:].any()


def test_a_border_across_a_block_shares_it_out() -> None:
    index = (_X >= 68).astype(np.intp)  # half way through the ninth block
    patches = PatchMap(index, 2, np.ones((16, 16), np.bool_), 8, 1.25)
    values = np.zeros((16, 16))
    values[:, 8] = 1.0
    np.testing.assert_allclose(patches.mean(values), [0.5 / 8.5, 0.5 / 7.5])


def test_a_patch_that_is_hardly_seen_is_unknown() -> None:
    valid = np.ones((16, 16), np.bool_)
    valid[:8, :7] = False  # 7 of 8 columns of the first patch
    patches = PatchMap(quarters(), 4, valid, 8, 1.25)
    got = patches.mean(np.ones((16, 16)))
    assert np.isnan(got[0])
    np.testing.assert_allclose(got[1:], 1.0)
    assert patches.known.tolist() == [False, True, True, True]


def test_a_patch_without_a_pixel_is_unknown() -> None:
    patches = PatchMap(quarters(), 6, np.ones((16, 16), np.bool_), 8, 1.25)
    got = patches.mean(np.ones((16, 16)))
    assert np.isnan(got[4:]).all()


def test_trust_weighs_blocks() -> None:
    patches = PatchMap(quarters(), 4, np.ones((16, 16), np.bool_), 8, 1.25)
    values, trust = np.ones((16, 16)), np.ones((16, 16))
    values[:, :4] = 5.0
    assert patches.mean(values)[0] == pytest.approx(3.0)
    trust[:, :4] = 0.0
    assert patches.mean(values, trust)[0] == pytest.approx(1.0)
    trust[:, :4] = 3.0
    assert patches.mean(values, trust)[0] == pytest.approx((3 * 5 + 1) / 4)
