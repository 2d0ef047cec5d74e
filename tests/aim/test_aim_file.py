"""Aim files: by hand, round trips, and every mistake in one go."""

import json
import os
import stat

import numpy as np
import pytest

from bedwatch.aim.aimfile import aim_json, read_aim, write_aim
from bedwatch.aim.outline import corners_of_rectangle, ellipse_of_circle, mm_per_px
from bedwatch.aim.types import Aim, Corners, Ellipse, NotFound, Problem, ProblemKind
from bedwatch.errors import UserError

TILTED = np.array([[1.02, 0.05, 640.0], [0.01, -0.98, 370.0], [2e-5, 1.5e-4, 1.0]])
BY_HAND = """
surface = { centre_px = [320, 240], axes_px = [210.0, 210.0], angle_deg = 0 }
rim = { centre_px = [320, 240], axes_px = [230.0, 230.0], angle_deg = 0 }
bed_to_picture = [[1, 0, 320], [0, -1, 240], [0, 0, 1]]
mm_per_px = 1
problems = []
"""


def made() -> Aim:
    return Aim(
        surface=ellipse_of_circle(TILTED, 210.0),
        rim=Ellipse(centre_px=(641.5, 360.25), axes_px=(231.0, 228.5), angle_deg=-12.5),
        bed_to_picture=TILTED,
        mm_per_px=mm_per_px(TILTED),
        problems=(Problem(kind=ProblemKind.DARK, advice='Add "more" light.'),),
        size_px=(1280, 720),
        error_mm=0.4,
    )


def written(tmp_path, text):
    path = tmp_path / "hand.aim.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_by_hand_with_just_the_five_fields_is_enough(tmp_path):
    aim = read_aim(written(tmp_path, BY_HAND))
    assert aim.surface == Ellipse(centre_px=(320.0, 240.0), axes_px=(210.0, 210.0), angle_deg=0.0)
    assert aim.bed_to_picture.tolist() == [[1, 0, 320], [0, -1, 240], [0, 0, 1]]
    assert aim.problems == ()
    assert aim.size_px is None


def test_corners_by_hand(tmp_path, bed_of):
    corners = "corners_px = [[-0.5, -0.5], [399.5, -0.5], [399.5, 87.5], [-0.5, 87.5]]"
    text = f"surface = {{ {corners} }}\nrim = {{ {corners} }}\nmm_per_px = 1\nproblems = []\n"
    text += "bed_to_picture = [[1, 0.0, 199.5], [0.0, -1, 43.5], [0.0, 0.0, 1.0]]\n"
    bed = bed_of("rectangular", 400, 88, 0)
    aim = read_aim(written(tmp_path, text), bed)
    assert aim.surface == corners_of_rectangle(aim.bed_to_picture, 400, 88)


def test_what_is_written_is_read_back(tmp_path):
    path = tmp_path / "bed.aim.toml"
    write_aim(made(), path)
    back = read_aim(path)
    assert np.allclose(back.bed_to_picture, TILTED, rtol=1e-9)
    assert isinstance(back.surface, Ellipse)
    assert back.surface.axes_px == pytest.approx(made().surface.axes_px, abs=1e-3)
    assert back.problems == made().problems
    assert back.size_px == (1280, 720)
    assert back.error_mm == 0.4


def test_the_homography_has_the_say(tmp_path, bed_of):
    text = BY_HAND.replace("axes_px = [210.0, 210.0]", "axes_px = [150.0, 140.0]").replace(
        "mm_per_px = 1", "mm_per_px = 3"
    )
    aim = read_aim(written(tmp_path, text), bed_of())
    assert aim.mm_per_px == 1.0
    assert aim.surface.axes_px == pytest.approx((210.0, 210.0))


def test_every_mistake_is_told_in_one_go(tmp_path):
    text = """surfaces = 1
rim = { centre_px = [320, 240], axes_px = [0, 230.0], angle_deg = 0 }
bed_to_picture = [[1, 0, 320], [0, 0, 240], [0, 0, 1]]
mm_per_px = "wide"
problems = [ { problem = "dirty", advice = "Wipe." } ]
"""
    with pytest.raises(UserError) as caught:
        read_aim(written(tmp_path, text))
    lines = caught.value.lines
    for word in ("surface", "axes_px", "bed_to_picture", "mm_per_px", "dirty"):
        assert any(word in line for line in lines), (word, lines)
    assert all("expected" in line for line in lines)


@pytest.mark.parametrize(
    ("matrix", "word"),
    [
        ("[[1, 0, 320], [0, 1, 240], [0, 0, 1]]", "mirrored"),
        ("[[1, 0, 320], [0, -1, 240], [0, 0, 0]]", "last number"),
        ("[[1, 1, 320], [-1, -1, 240], [0, 0, 1]]", "line"),
        ("[[1, 0, 320], [0, -1, 240], [0, 0.02, 1]]", "behind"),
        ("[[1, 0, nan], [0, -1, 240], [0, 0, 1]]", "numbers"),
    ],
)
def test_homographies_no_camera_could_have(tmp_path, bed_of, matrix, word):
    with pytest.raises(UserError, match=word):
        read_aim(written(tmp_path, BY_HAND.replace("[[1, 0, 320], [0, -1, 240], [0, 0, 1]]", matrix)), bed_of())


def test_an_aim_for_a_bed_of_the_other_shape(tmp_path, bed_of):
    with pytest.raises(UserError, match="another shape"):
        read_aim(written(tmp_path, BY_HAND), bed_of("rectangular", 400, 300))


def test_corners_that_do_not_go_round(tmp_path):
    twisted = "corners_px = [[0, 0], [10, 10], [10, 0], [0, 10]]"
    text = BY_HAND.replace("centre_px = [320, 240], axes_px = [210.0, 210.0], angle_deg = 0", twisted)
    with pytest.raises(UserError, match="go round"):
        read_aim(written(tmp_path, text))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(UserError):
        read_aim(tmp_path / "none.toml")


def test_writing_keeps_the_link_and_gives_others_leave_to_read(tmp_path):
    real = tmp_path / "real.toml"
    real.write_text("old")
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    write_aim(made(), link)
    assert link.is_symlink()
    assert "bed_to_picture" in real.read_text()
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(real.stat().st_mode) == 0o666 & ~mask
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link.toml", "real.toml"]


def test_a_place_that_cannot_be_written(tmp_path):
    with pytest.raises(UserError, match="cannot be written"):
        write_aim(made(), tmp_path / "nowhere" / "bed.aim.toml")


def test_json_of_a_finding_and_of_a_refusal():
    found = json.loads(json.dumps(aim_json(made())))
    assert set(found["surface"]) == {"centre_px", "axes_px", "angle_deg"}
    assert found["problems"] == [{"problem": "dark", "advice": 'Add "more" light.'}]
    assert np.allclose(found["bed_to_picture"], TILTED)
    refused = aim_json(NotFound(reason="black", advice="Lens cap."))
    assert [problem["problem"] for problem in refused["problems"]] == ["bed_not_found"]
    assert {refused[key] for key in ("surface", "rim", "bed_to_picture", "mm_per_px")} == {None}
    corners = Corners(corners_px=((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)))
    flat = Aim(surface=corners, rim=None, bed_to_picture=TILTED, mm_per_px=1.0)
    assert aim_json(flat)["surface"] == {"corners_px": [[0, 0], [4, 0], [4, 3], [0, 3]]}
    assert aim_json(flat)["rim"] is None
