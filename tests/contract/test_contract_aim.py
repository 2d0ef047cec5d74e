"""What `aim` prints and writes."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from bedwatch.frames.frame import Picture

RADIUS_MM = 210.0


def test_one_object_on_one_line_and_words_on_standard_error(aimed: Any) -> None:
    ran, _ = aimed
    assert ran.status == 0
    assert len(ran.objects) == 1
    assert "Bed found" in ran.err


def test_the_fields_have_the_shapes_of_the_contract(aimed: Any) -> None:
    found = aimed[0].objects[0]
    assert set(found) >= {"surface", "rim", "bed_to_picture", "mm_per_px", "problems"}
    for outline in (found["surface"], found["rim"]):
        assert set(outline) == {"centre_px", "axes_px", "angle_deg"}
        assert np.shape(outline["centre_px"]) == np.shape(outline["axes_px"]) == (2,)
        assert isinstance(outline["angle_deg"], float)
    assert np.shape(found["bed_to_picture"]) == (3, 3)
    assert found["problems"] == []


def test_file_and_json_say_the_same(aimed: Any) -> None:
    ran, path = aimed
    printed = {key: value for key, value in ran.objects[0].items() if value is not None}
    beside = {"noise", "rest"}  # of the camera and the powder, not of where the bed is
    written = tomllib.loads(path.read_text())
    assert {key: value for key, value in written.items() if key not in beside} == {
        key: value for key, value in printed.items() if key not in beside
    }


def test_surface_is_the_picture_of_the_bed_s_edge_by_semi_axes_and_angle(aimed: Any) -> None:
    found = aimed[0].objects[0]
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    edge = _seen(found["bed_to_picture"], RADIUS_MM * np.column_stack([np.cos(turn), np.sin(turn)]))
    t = np.deg2rad(found["surface"]["angle_deg"])
    away = edge - found["surface"]["centre_px"]
    along = away @ [np.cos(t), np.sin(t)] / found["surface"]["axes_px"][0]
    across = away @ [-np.sin(t), np.cos(t)] / found["surface"]["axes_px"][1]
    # the homography is written to 12 digits, the ellipse to a thousandth of a pixel in about 100
    assert np.hypot(along, across) == pytest.approx(1.0, abs=1e-4)


def test_x_runs_level_and_right_y_up_and_the_scale_is_that_of_the_centre(aimed: Any) -> None:
    found = aimed[0].objects[0]
    centre, right, up = _seen(found["bed_to_picture"], np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    assert right[0] > centre[0]
    assert up[1] < centre[1]
    assert abs(right[1] - centre[1]) < 0.02 * (right[0] - centre[0])
    px_per_mm = np.sqrt(abs(np.linalg.det(np.array([right - centre, up - centre]))))
    assert found["mm_per_px"] == pytest.approx(1 / px_per_mm, rel=0.01)  # a millimetre is not infinitely small


def test_a_check_picture_of_the_clip_s_size_is_written_beside_the_aim_file(aimed: Any) -> None:
    drawn = cv2.imread(str(aimed[1].with_suffix(".check.png")))
    assert drawn is not None
    assert drawn.shape[0] >= 240


def test_words_on_standard_output_without_json(run: Any, clip: Path, bed: Path, tmp_path: Path) -> None:
    ran = run("aim", clip, "--bed", bed, "--out", tmp_path / "a.toml", "--picture", tmp_path / "b.jpg")
    assert ran.status == 0
    assert "mm per pixel" in ran.out
    assert ran.err == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.toml", "b.jpg"]


@pytest.fixture(scope="module")
def black(pictures: list[Picture], film: Callable[..., Path]) -> Path:
    return film("black_for_aim", [np.zeros_like(pictures[0])] * 30)


def test_a_bed_that_is_not_found_gives_json_status_1_and_no_file(run: Any, black: Path, bed: Path, empty: Path) -> None:
    ran = run("aim", black, "--bed", bed, "--out", empty / "a.toml", "--json")
    assert ran.status == 1
    (found,) = ran.objects
    assert set(found) >= {"surface", "rim", "bed_to_picture", "mm_per_px", "problems"}
    assert found["surface"] is None
    assert found["bed_to_picture"] is None
    assert "bed_not_found" in [problem["problem"] for problem in found["problems"]]
    assert "not found" in ran.err


def test_an_aim_file_that_was_there_stays_when_the_bed_is_not_found(
    run: Any, black: Path, bed: Path, tmp_path: Path
) -> None:
    old = tmp_path / "a.toml"
    old.write_text("what was there")
    ran = run("aim", black, "--bed", bed, "--out", old, "--picture", tmp_path / "seen.png", "--json")
    assert ran.status == 1
    assert old.read_text() == "what was there"
    assert (tmp_path / "seen.png").exists()  # asked for by name


def _seen(homography: Any, places_mm: Any) -> Any:
    h = np.column_stack([places_mm, np.ones(len(places_mm))]) @ np.array(homography).T
    return h[:, :2] / h[:, 2:]
