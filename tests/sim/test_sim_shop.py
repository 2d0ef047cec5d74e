"""Shops drawn at random keep to what was asked; clutter hides what it hides; troubles spoil what they say."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.frames.frame import Frame
from bedwatch.sim import BedSource
from bedwatch.sim.camera import pose, project
from bedwatch.sim.clutter import Around, Hose, Sheet
from bedwatch.sim.hung import cut_share, oblique_deg
from bedwatch.sim.shop import empty_bench, shop
from bedwatch.sim.source import BenchSource
from bedwatch.sim.stage import build_stage
from bedwatch.sim.trouble import (
    Cloud,
    Defocus,
    Exposure,
    Flicker,
    Haze,
    Hunting,
    Knock,
    Shake,
    Specks,
    slowed,
    with_gaps,
)

SMALL = (640, 480)


def test_shops_keep_to_the_ranges_and_are_unlike() -> None:
    made = [shop(seed) for seed in range(700, 760)]
    cameras = [one.scene.camera for one in made]
    cut = [cut_share(one.scene.camera, one.scene.bed, one.scene.tub) for one in made]
    assert max(cut) <= 0.2
    assert 0.15 < np.mean(np.array(cut) > 0) < 0.6
    assert sum(one.still for one in made) == 30
    assert all(0 <= camera.tilt_deg <= 25 and -0.30 <= camera.k1 <= 0 for camera in cameras)
    assert all(400 <= camera.height_mm <= 1500 for camera in cameras)
    assert max(oblique_deg(one.scene.camera, one.scene.bed) for one in made) <= 27
    assert {one.bed.shape for one in made} == {"round", "rectangular"}
    assert any("own zones" in one.words for one in made)
    assert {camera.size_px[0] for camera in cameras} >= {640, 1280, 1920}
    off = [one.scene.bed.surface_below_rim_mm - one.bed.surface_below_rim_mm for one in made]
    assert min(off) < -3 < 5 < max(off)
    for word in ("white on white", "black on black", "hose", "part"):
        assert any(word in one.words for one in made), word


def test_the_same_seed_gives_the_same_pictures() -> None:
    one, two = (next(iter(BedSource(shop(701, plain=True, size_px=SMALL).scene))).picture for _ in range(2))
    assert np.array_equal(one, two)


def test_an_empty_bench_has_no_tub() -> None:
    scene = empty_bench(702)
    shot = next(iter(BenchSource(scene))).picture
    assert shot.shape[:2] == scene.camera.size_px[::-1]
    assert shot.std() > 3
    assert scene.around is not None
    with pytest.raises(ValueError, match="no_tub"):
        BenchSource(replace(scene, around=replace(scene.around, no_tub=False)))


def test_a_hose_hides_the_powder_under_it() -> None:
    made = shop(704, plain=True, bent=0.0, size_px=SMALL).scene
    hose = Hose(line_mm=((-400.0, 0.0), (0.0, 0.0), (30.0, 0.0)), width_mm=20.0, colour=(0.1, 0.1, 0.1), above_mm=0.0)
    bare, laid = (build_stage(made.bed, made.camera, made.lamp, made.tub, 0.6, around)
                  for around in (Around(), Around(hoses=(hose,))))  # fmt: skip
    at = pose(made.camera, made.bed.surface_below_rim_mm)
    height = made.bed.surface_below_rim_mm
    (u, v), (far_u, far_v) = np.round(project(at, np.array([[-10.0, 0, height], [0.0, 40.0, height]]))).astype(int)
    assert bare.see[v, u] > 0.9
    assert laid.see[v, u] < 0.05
    assert laid.see[far_v, far_u] == bare.see[far_v, far_u]


def test_a_sheet_lies_upright_where_it_is_put() -> None:
    made = shop(704, plain=True, bent=0.0, size_px=SMALL).scene
    ink = np.full((60, 40), 255, np.uint8)
    ink[:20, :20] = 0  # dark in the upper left
    below = made.bed.surface_below_rim_mm
    sheet = Sheet(picture=ink, mm_per_px=2.0, x_mm=10.0, y_mm=-5.0, above_mm=-below)
    stage = build_stage(made.bed, made.camera, made.lamp, made.tub, 0.6, Around(sheets=(sheet,)))
    at = pose(made.camera, below)
    places = np.array([[10 - 20.0, -5 + 40.0, 0], [10 + 20.0, -5 + 40.0, 0], [10 - 20.0, -5 - 40.0, 0]])
    dark, right, low = (stage.still[v, u].mean() for u, v in np.round(project(at, places)).astype(int))
    assert dark < 0.5 * min(right, low)


@pytest.fixture(scope="module")
def clear() -> NDArray[np.float32]:
    return BedSource(shop(704, plain=True, bent=0.0, size_px=SMALL).scene).clear_at(0.0)


def test_clear_pictures_and_noise_are_what_the_sensor_gives() -> None:
    """The two ways to a picture agree: same mean within its own error, same noise within some per cent."""
    scene = shop(705, plain=True, bent=0.0, size_px=SMALL).scene
    one, two = BedSource(scene), BedSource(scene)
    at_once = np.stack([frame.picture for frame in one]).astype(np.float64)
    clear = two.clear_at(0.0)
    later = np.stack([two.develop(clear) for _ in range(len(at_once))]).astype(np.float64)
    assert abs(at_once.mean() - later.mean()) < 0.05
    assert later.std(axis=0).mean() == pytest.approx(at_once.std(axis=0).mean(), rel=0.03)


def test_light_troubles_change_brightness_as_they_say(clear: NDArray[np.float32]) -> None:
    lit = clear.mean()
    assert Exposure(times=0.25, gamma=2.0).spoil(clear, 0.0).mean() == pytest.approx(lit / 2, rel=1e-4)
    swing = [Hunting(depth=0.2, period_s=2.0).spoil(clear, t).mean() / lit for t in (0.5, 1.5)]
    assert swing == pytest.approx([1.2**0.5, 0.8**0.5], rel=1e-4)
    assert Haze(share=0.9).spoil(clear, 0.0).std() == pytest.approx(0.1 * clear.std(), rel=1e-3)
    steady = [
        Flicker(depth=0.1, mains_hz=50.0, readout_s=0.0, exposure_s=0.01).spoil(clear, t).mean() for t in (0, 0.0021)
    ]
    assert steady[0] == pytest.approx(steady[1], rel=1e-6)  # a whole period of 100 Hz takes the flicker out
    short = [Flicker(depth=0.1, readout_s=0.0, exposure_s=0.001).spoil(clear, t).mean() for t in (0, 0.005)]
    assert short[0] / short[1] > 1.08


def test_dust_darkens_in_places_that_stand_and_a_cloud_passes(clear: NDArray[np.float32]) -> None:
    specks = Specks(count=20, depth=0.4, veil=0.0, seed=3)
    lost = 1 - specks.spoil(clear, 0.0) / clear
    assert 0.3 < lost.max() <= 0.41
    assert np.array_equal(specks.spoil(clear, 0.0), specks.spoil(clear, 5.0))
    cloud = Cloud(share=0.8, start_s=1.0, end_s=2.0)
    assert np.array_equal(cloud.spoil(clear, 0.9), clear)
    assert np.abs(cloud.spoil(clear, 1.8) - clear).mean() > 5
    assert np.array_equal(cloud.spoil(clear, 3.0), clear)


def test_defocus_blurs_and_keeps_the_light(clear: NDArray[np.float32]) -> None:
    soft = Defocus(disc_px=8.0, start_s=1.0, over_s=0.5)
    assert np.array_equal(soft.spoil(clear, 0.5), clear)
    blurred = soft.spoil(clear, 2.0)
    assert blurred.mean() == pytest.approx(clear.mean(), rel=0.01)
    assert cv2.Laplacian(blurred, cv2.CV_32F).std() < 0.3 * cv2.Laplacian(clear, cv2.CV_32F).std()


def test_a_knock_moves_the_picture_by_its_matrix(clear: NDArray[np.float32]) -> None:
    knock = Knock(right_px=12.0, down_px=-7.0, start_s=1.0, over_s=0.1)
    assert np.array_equal(knock.spoil(clear, 0.9), clear)
    moved = knock.spoil(clear, 2.0)
    np.testing.assert_allclose(moved[60:-60, 60:-60], clear[67:-53, 48:-72], atol=0.01)
    np.testing.assert_allclose(knock.matrix(SMALL, 2.0), [[1, 0, 12], [0, 1, -7], [0, 0, 1]], atol=1e-12)
    half = Knock(right_px=10.0, down_px=0.0, start_s=0.0, over_s=5.0)
    assert half.matrix(SMALL, 2.5)[0, 2] == pytest.approx(5.0)


def test_shaking_has_the_size_it_says() -> None:
    places = np.array([Shake(rms_px=1.5, seed=4).place(t) for t in np.arange(0, 60, 0.01)])
    assert np.sqrt((places**2).mean(axis=0)) == pytest.approx([1.06, 1.06], rel=0.15)


def frames(count: int) -> list[Frame]:
    return [Frame(picture=np.full((2, 2), k, np.uint8), time_s=k / 10, number=k) for k in range(count)]


def test_frames_come_slower_or_with_gaps() -> None:
    assert [frame.time_s for frame in slowed(frames(7), 3)] == pytest.approx([0.0, 0.3, 0.6])
    missing = list(with_gaps(frames(200), 0.2, repeated=False, seed=1))
    assert 140 < len(missing) < 180
    assert (
        sum(frame.dropped_before for frame in missing)
        <= 200 - len(missing)
        <= sum(f.dropped_before for f in missing) + 5
    )
    assert [frame.number for frame in missing] == list(range(len(missing)))
    again = list(with_gaps(frames(200), 0.2, repeated=True, seed=1))
    assert len(again) == 200
    assert all(np.array_equal(b.picture, a.picture) for a, b in pairwise(again) if b.repeated)
    assert 20 < sum(frame.repeated for frame in again) < 60
