"""The displacement of every block between two frames."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bedwatch.motion.blocks import Comparison, Lattice, compare
from bedwatch.motion.gradients import SLOPE_TAPS, SMOOTH_TAPS, slopes

SIZE = 96
Texture = Callable[[float, float], np.ndarray]


def waves(k_most: float = 0.9, seed: int = 3, count: int = 60) -> Texture:
    """A texture known everywhere, not only at pixels: a sum of ripples of all directions up to a wave number."""
    rng = np.random.default_rng(seed)
    k, angle, phase = rng.uniform(0.15, k_most, count), rng.uniform(0, np.pi, count), rng.uniform(0, 2 * np.pi, count)
    kx, ky = k * np.cos(angle), k * np.sin(angle)
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float64)

    def at(dx: float, dy: float) -> np.ndarray:
        total = sum(np.sin(a * (x - dx) + b * (y - dy) + p) for a, b, p in zip(kx, ky, phase, strict=True))
        return np.asarray(total * 2.0, np.float32)

    return at


def lattice(visible: np.ndarray | None = None) -> Lattice:
    return Lattice(np.ones((SIZE, SIZE), np.bool_) if visible is None else visible, 4)


def moved(texture: Texture, dx: float, dy: float) -> Comparison:
    return compare(slopes(texture(0.0, 0.0)), slopes(texture(dx, dy)), lattice())


INSIDE = (slice(3, -3), slice(3, -3))  # windows clear of the picture's edge


@pytest.mark.parametrize(
    ("dx", "dy", "tolerance_px"),
    [
        (0.0, 0.0, 1e-6),
        # Wave numbers up to 0.9: Simpson's rule leaves (0.9 x 0.1)^4 / 180 and filters that match to 1 %, of 0.1 px.
        (0.1, 0.0, 0.002),
        (0.25, -0.4, 0.01),
        (-0.5, 0.5, 0.015),
        # A whole pixel: (0.9 x 1)^4 / 180 is 0.4 %, and cross terms between ripples as much again.
        (1.0, 0.0, 0.03),
    ],
)
def test_shifted_textures_give_their_shift(dx: float, dy: float, tolerance_px: float) -> None:
    got = moved(waves(), dx, dy)
    np.testing.assert_allclose(got.shift_x[INSIDE], dx, atol=tolerance_px)
    np.testing.assert_allclose(got.shift_y[INSIDE], dy, atol=tolerance_px)


@pytest.mark.parametrize("step", [0.6, 0.9, 1.2])
def test_one_step_errs_by_the_fourth_power_of_the_shift(step: float) -> None:
    """For one ripple k the least-squares step with Simpson's rule is 3 sin(kd) / (k (2 + cos kd)) = d (1 - (kd)^4/180 ...).

    Plain Lucas & Kanade (slopes of one frame) is short by (kd)^2/6: 6 % at 0.6 where this is 0.07 %.
    """
    k = 2 * np.pi / 16
    d = step / k
    tap = np.arange(-2, 3)
    slope_gain = (SLOPE_TAPS * np.sin(k * tap)).sum() / (k * (SMOOTH_TAPS * np.cos(k * tap)).sum())  # 0.6 % short of 1
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float64)

    def crossed(shift: float) -> np.ndarray:
        return np.asarray(20 * (np.sin(k * (x - shift)) + np.sin(k * y)), np.float32)

    whole = Lattice(np.ones((SIZE, SIZE), np.bool_), 16)  # blocks of exactly one ripple
    got = compare(slopes(crossed(0.0)), slopes(crossed(d)), whole)
    error = float(np.median(got.shift_x[1:-1, 1:-1])) / d * slope_gain - 1
    # The term that keeps featureless blocks at no shift is 0.01 % here; the least error looked for is 0.07 %.
    assert error == pytest.approx(3 * np.sin(step) / (step * (2 + np.cos(step))) - 1, abs=2e-4)


def test_swapping_the_frames_turns_the_shift_round() -> None:
    texture = waves()
    there = compare(slopes(texture(0, 0)), slopes(texture(0.3, 0.2)), lattice())
    back = compare(slopes(texture(0.3, 0.2)), slopes(texture(0, 0)), lattice())
    np.testing.assert_allclose(there.shift_x, -back.shift_x, atol=1e-5)  # symmetric by construction
    np.testing.assert_allclose(there.change, back.change, rtol=1e-5)


def test_a_shift_explains_the_change_and_noise_does_not() -> None:
    pair = moved(waves(), 0.3, -0.2)
    share = pair.explained / pair.change
    assert share[INSIDE].min() > 0.99  # all of it, up to the error of the step
    rng = np.random.default_rng(4)
    still = waves()(0, 0)
    one, two = (slopes(still + rng.standard_normal(still.shape).astype(np.float32)) for _ in range(2))
    noisy = compare(one, two, lattice())
    # Two unknowns fitted to a window of some 25 independent values of smoothed noise take up about 2 in 25 of it.
    assert np.median(noisy.explained[INSIDE] / noisy.change[INSIDE]) < 0.15


def test_slopes_multiplied_crosswise_tell_a_replaced_texture() -> None:
    same = moved(waves(), 0.0, 0.0)
    other = compare(slopes(waves(seed=3)(0, 0)), slopes(waves(seed=4)(0, 0)), lattice())
    np.testing.assert_allclose(same.alike[INSIDE], same.slope[INSIDE], rtol=0.01)  # a regular term of 1e-3
    assert abs(np.mean(other.alike[INSIDE])) < 0.15 * np.mean(same.alike[INSIDE])  # chance over some 18 x 18 blocks


def test_a_line_texture_tells_only_what_crosses_it() -> None:
    """The aperture problem: along a straight ripple no motion can be seen, and none may be made up."""
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float64)

    def at(dx: float, dy: float) -> np.ndarray:
        return np.asarray(20 * np.sin(0.5 * (x - dx) + 0.0 * (y - dy)), np.float32)

    got = compare(slopes(at(0, 0)), slopes(at(0.4, 0.7)), lattice())
    # Where a window holds a crest only, its slopes are small; the median block has the shift to the step's 0.1 %.
    assert np.median(got.shift_x[INSIDE]) == pytest.approx(0.4, abs=0.005)
    np.testing.assert_allclose(got.shift_y[INSIDE], 0.0, atol=0.01)
    assert np.median(got.spread[INSIDE]) > 100 * np.median(moved(waves(), 0, 0).spread[INSIDE])


def test_a_featureless_block_says_no_shift_and_that_it_knows_nothing() -> None:
    flat = np.zeros((SIZE, SIZE), np.float32)
    rng = np.random.default_rng(6)
    faint = flat + 0.01 * rng.standard_normal(flat.shape).astype(np.float32)  # a tenth of a per mille
    got = compare(slopes(flat), slopes(faint), lattice())
    assert np.abs(got.shift_x).max() < 0.05
    assert got.spread.min() > 100 * np.median(moved(waves(), 0, 0).spread)


def test_what_lies_off_the_powder_has_no_say() -> None:
    visible = np.zeros((SIZE, SIZE), np.bool_)
    visible[:, : SIZE // 2] = True
    grid = lattice(visible)
    first, second = waves()(0, 0), waves()(0.3, 0.1)
    clean = compare(slopes(first), slopes(second), grid)
    rng = np.random.default_rng(7)
    first, second = first.copy(), second.copy()
    first[:, SIZE // 2 + 4 :] = rng.normal(0, 50, (SIZE, SIZE // 2 - 4))
    second[:, SIZE // 2 + 4 :] = rng.normal(0, 50, (SIZE, SIZE // 2 - 4))
    dirty = compare(slopes(first), slopes(second), grid)
    np.testing.assert_allclose(dirty.shift_x, clean.shift_x, atol=1e-6)
    assert not grid.valid[:, SIZE // 8 + 2 :].any()
    assert grid.valid[:, : SIZE // 8 - 1].all()


def test_block_means_are_means_over_powder_only() -> None:
    visible = np.ones((SIZE, SIZE), np.bool_)
    visible[:40] = False
    grid = lattice(visible)
    means = grid.mean(np.full((SIZE, SIZE), 7.0, np.float32))
    np.testing.assert_allclose(means[grid.valid], 7.0, rtol=1e-5)  # a constant stays itself, also beside the wall
    assert grid.shape == (24, 24)
    np.testing.assert_allclose(grid.share(np.arange(SIZE * SIZE, dtype=np.float32).reshape(SIZE, SIZE))[0, 0], 145.5)
