"""Slow gliding of a smooth surface, too slow and too faint for single frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from bedwatch.motion.gliding import GLIDES

if TYPE_CHECKING:
    from conftest import Bench, Pictures


@pytest.mark.parametrize("wall_mm_s", [4.0, 8.0])
def test_a_faint_surface_that_glides_is_live(bench: Bench, wall_mm_s: float) -> None:
    """A fifth of the usual contrast under the noise of a cheap camera, 3 to 8 mm/s."""
    disc = bench.Disc(contrast=0.2, wall_mm_s=wall_mm_s, noise_dn=3.0)
    field = bench.look(disc.pictures(6.0))
    outer = np.nanmean([field.glide[n] for n in range(196) if _far_out(bench, n)])
    assert outer > GLIDES
    assert field.zones.live[1:].min() > 0.9


@pytest.mark.parametrize("noise_dn", [1.0, 3.0, 6.0])
def test_a_still_one_is_not(bench: Bench, noise_dn: float) -> None:
    field = bench.look(bench.Disc(contrast=0.3, noise_dn=noise_dn).pictures(6.0))
    assert np.nanmax(field.glide) < GLIDES
    assert field.zones.live.max() <= 0.02


def test_a_camera_that_sways_does_not_make_a_still_bed_glide(bench: Bench) -> None:
    """The whole picture to and fro by a millimetre."""

    def pictures() -> Pictures:
        import cv2

        rng, clean = np.random.default_rng(2), bench.Disc().clean(0.0)
        for number in range(180):
            time_s = number / 30
            shift = np.array([[1, 0, 0.8 * np.sin(2.1 * time_s)], [0, 1, 0.5 * np.cos(1.7 * time_s)]])
            moved = cv2.warpAffine(
                clean, shift, clean.shape[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
            )
            yield bench.rounded(moved + 1.5 * rng.standard_normal(clean.shape)), time_s

    assert np.nanmedian(bench.look(pictures()).glide) < GLIDES


def test_a_still_surface_that_an_encoder_nudges_to_and_fro_does_not_glide(bench: Bench) -> None:
    """Blocks of 16 pixels, each moved anew by a third of a pixel and less every half second, as coders do while light changes."""

    def pictures() -> Pictures:
        import cv2

        rng, clean = np.random.default_rng(3), bench.Disc().clean(0.0)
        rows, cols = clean.shape
        y, x = np.mgrid[:rows, :cols].astype(np.float32)
        coarse = (rows // 16 + 1, cols // 16 + 1)
        before = now = np.zeros((2, *coarse))
        for number in range(240):
            if number % 15 == 0:
                before, now = now, rng.uniform(-0.35, 0.35, (2, *coarse))
            part = (number % 15) / 15
            moved = np.kron(before + part * (now - before), np.ones((16, 16)))[:, :rows, :cols].astype(np.float32)
            picture = cv2.remap(clean.astype(np.float32), x + moved[0], y + moved[1], cv2.INTER_CUBIC)
            yield bench.rounded(picture + 0.5 * rng.standard_normal(clean.shape)), number / 30

    field = bench.look(pictures())
    assert np.nanmedian(field.glide) < 0.5 * GLIDES


def _far_out(bench: Bench, cell: int) -> bool:
    here = bench.cell == cell
    return bool(here.any()) and 80 < float(bench.radius_mm[here].mean()) < 120
