"""The make-believe bed as a frame source."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from bedwatch.bed import make_cells, read_bed
from bedwatch.errors import UserError
from bedwatch.frames.frame import Outcome, Source
from bedwatch.sim.beds import rectangular_bed, round_bed
from bedwatch.sim.camera import Camera, fitting_focal_px
from bedwatch.sim.clip import write_clip
from bedwatch.sim.demo import demo_bed, demo_scene
from bedwatch.sim.draw import random_scene
from bedwatch.sim.playing import MadeSource
from bedwatch.sim.powder import POWDERS
from bedwatch.sim.scene import Scene
from bedwatch.sim.source import BedSource
from bedwatch.sim.truth import right_hints
from bedwatch.sim.turntable import Turntable, TurntableSource

SIZE = (320, 240)
CAMERA = Camera(size_px=SIZE, focal_px=fitting_focal_px(SIZE, 900, 220, 0.9), blur_px=0.5)
BED = rectangular_bed(240.0, 200.0, (1, 2), surface_below_rim_mm=20.0)
SCENE = Scene(bed=BED, air=(1.9, 0.9), camera=CAMERA, duration_s=0.4, fps=20.0, seed=5)
TABLE = Turntable(bed=round_bed(200.0, (2,)), omega_rad_s=0.2, camera=CAMERA, duration_s=0.4, fps=20.0)


def sources() -> list[MadeSource]:
    return [BedSource(SCENE), TurntableSource(TABLE)]


@pytest.mark.parametrize("which", [0, 1])
def test_keeps_the_promises_of_a_source(which: int) -> None:
    source: Source = sources()[which]
    assert source.live is False
    assert source.size_px == SIZE
    assert source.duration_s == pytest.approx(0.4)
    assert source.outcome is Outcome.OPEN
    frames = list(source)
    assert [f.number for f in frames] == list(range(8))
    np.testing.assert_allclose([f.time_s for f in frames], np.arange(8) / 20)
    assert all(f.picture.shape == (240, 320, 3) and f.picture.dtype == np.uint8 for f in frames)
    assert not any(f.picture.flags.writeable or f.repeated or f.dropped_before for f in frames)
    assert source.outcome is Outcome.END
    assert source.notes == ()
    source.close()
    source.close()


@pytest.mark.parametrize("which", [0, 1])
def test_closing_ends_the_frames(which: int) -> None:
    source = sources()[which]
    frames = iter(source)
    next(frames)
    source.close()
    assert list(frames) == []
    assert source.outcome is Outcome.OPEN


@pytest.mark.parametrize("which", [0, 1])
def test_same_scene_same_frames(which: int) -> None:
    one, two = ([f.picture for f in made[which]] for made in (sources(), sources()))
    for a, b in zip(one, two, strict=True):
        np.testing.assert_array_equal(a, b)


def test_another_seed_is_another_clip() -> None:
    other = BedSource(dataclasses.replace(SCENE, seed=6))
    assert (next(iter(other)).picture != next(iter(BedSource(SCENE))).picture).mean() > 0.3


def test_starved_half_shows_camera_noise_only() -> None:
    source = BedSource(SCENE)
    clean = []
    for number in range(8):
        source.picture_at(number / 20)
        clean.append(source.render()[..., 1])
    change = np.abs(np.diff(clean, axis=0)).max(axis=0)
    third = change.shape[1] // 3
    assert change[:, -third:].max() == 0
    assert (change[:, :third] > 3).mean() > 0.3
    truth = source.truth
    assert truth.speed_mm_s[0] > 3 * truth.speed_mm_s[1]


def test_truth_names_what_was_fed_and_seen() -> None:
    source = BedSource(SCENE)
    list(source)
    truth = source.truth
    assert truth.air == (1.9, 0.9)
    assert truth.hints == (("hold",), ("more_air",))
    corner = truth.bed_to_picture @ [-120.0, 100.0, 1.0]
    np.testing.assert_allclose(corner[:2] / corner[2], truth.surface["corners_px"][0])
    assert 5 < truth.speed_mm_s[0] < 100
    assert all(-120 <= e.x_mm <= 30 for e in truth.events)
    assert len(truth.events) > 50


def test_texture_keeps_its_contrast_while_it_is_stirred() -> None:
    scene = dataclasses.replace(SCENE, powder=POWDERS["coarse"], air=(1.9, 1.9), start_s=0.0)
    source = BedSource(scene)
    source.picture_at(0.0)
    bed = source.grid.in_bed

    def grain() -> float:
        source.surface.height_mm[:] = 0
        skin = source.light()
        return float((skin - cv2.GaussianBlur(skin, (0, 0), 3))[bed].std())

    fresh = grain()
    source.picture_at(3.0)
    assert 0.7 < grain() / fresh < 1.15


@pytest.mark.parametrize(
    ("air", "words"),
    [
        (0.6, ("more_air",)),
        (1.05, ("more_air",)),
        (1.3, ("more_air", "hold")),
        (1.6, ("hold",)),
        (2.2, ("hold",)),
        (3.0, ("hold", "less_air")),
        (4.5, ("less_air",)),
    ],
)
def test_right_hint_words(air: float, words: tuple[str, ...]) -> None:
    assert right_hints(air) == words


def test_random_scenes_cover_what_is_asked() -> None:
    scenes = [random_scene(seed) for seed in range(60)]
    assert {s.bed.shape for s in scenes} == {"round", "rectangular"}
    assert {s.powder.name for s in scenes} == set(POWDERS)
    assert {len(s.air) for s in scenes} >= {2, 3, 4, 6, 9}
    assert {s.camera.size_px for s in scenes} >= {(640, 480), (1280, 720), (1920, 1080)}
    assert {s.fps for s in scenes} >= {15.0, 30.0, 60.0}
    assert max(s.camera.tilt_deg for s in scenes) > 13
    for scene in scenes:
        assert 200 <= scene.bed.length_mm <= 600
        assert 200 <= scene.bed.width_mm <= 600
        assert 400 <= scene.camera.height_mm <= 1600
        assert all(0.5 <= a <= 1.05 or 1.6 <= a <= 2.2 or 4.5 <= a <= 7 for a in scene.air)
    assert random_scene(3).camera == scenes[3].camera
    assert random_scene(3).air == scenes[3].air


def test_written_clip_reads_back(tmp_path: Path) -> None:
    path = write_clip(BedSource(SCENE), tmp_path / "bed.avi", quality=95, truth=True)
    reader = cv2.VideoCapture(str(path))
    pictures = []
    while (got := reader.read())[0]:
        pictures.append(got[1])
    assert reader.get(cv2.CAP_PROP_FPS) == pytest.approx(20.0)
    reader.release()
    originals = [f.picture for f in BedSource(SCENE)]
    assert len(pictures) == len(originals)
    assert np.abs(pictures[3].astype(float) - originals[3]).mean() < 4
    truth = json.loads((tmp_path / "bed.avi.truth.json").read_text())
    assert truth["hints"] == [["hold"], ["more_air"]]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bed.avi", "bed.avi.truth.json"]


def test_written_pictures_are_exact(tmp_path: Path) -> None:
    folder = write_clip(BedSource(SCENE), tmp_path / "stills", "png")
    names = sorted(p.name for p in folder.iterdir())
    assert names[0] == "frame_00000.png"
    assert len(names) == 8
    np.testing.assert_array_equal(cv2.imread(str(folder / names[2])), list(BedSource(SCENE))[2].picture)


def test_clip_mistakes_are_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"mjpeg goes into \.avi"):
        write_clip(BedSource(SCENE), tmp_path / "bed.mp4")
    with pytest.raises(UserError, match="cannot be written"):
        write_clip(BedSource(SCENE), tmp_path / "no" / "such" / "bed.avi")
    assert list(tmp_path.iterdir()) == []


def test_every_zone_of_a_random_scene_has_cells_away_from_its_borders() -> None:
    for seed in range(40):
        bed = random_scene(seed).bed
        cells = make_cells(bed)
        inner = np.bincount(cells.zone[cells.inner], minlength=len(bed.zones))
        assert inner.min() >= 4, seed


def test_demo_is_the_bed_of_the_shipped_file_with_one_poor_and_one_rich_zone() -> None:
    shipped = read_bed(Path(__file__).parents[2] / "calibration" / "gate_latch.bed.toml")
    bed = demo_bed()
    assert (shipped.name, shipped.width_mm, shipped.surface_below_rim_mm) == (bed.name, 420.0, 80.0)
    for mine, theirs in zip(bed.zones, shipped.zones, strict=True):
        np.testing.assert_allclose(mine.polygon_mm, theirs.polygon_mm)
    words = [right_hints(air) for air in demo_scene().air]
    assert words.count(("more_air",)) == words.count(("less_air",)) == 1
    assert words.count(("hold",)) == 5
