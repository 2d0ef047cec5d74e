"""Where a search starts: edges that a neighbour must not drown, rectangles that the picture cuts or the lens bends."""

import cv2
import numpy as np
import pytest

from bedwatch.aim.finding.edges import edge_map
from bedwatch.aim.finding.field import field_of
from bedwatch.aim.finding.quads import find_quads
from bedwatch.aim.finding.rounds import find_rounds
from bedwatch.aim.finding.sides import AT, onto_sides
from bedwatch.aim.pose import K1, LN_DISTANCE, LN_SCALE, NUMBERS, ROLL, TX, TY, View


def test_a_faint_line_is_as_clear_beside_a_strong_one_as_alone():
    """Powder against its wall is faint, the rim beside it is not."""
    rows = np.arange(120)
    faint = np.where(rows < 50, 60.0, 66.0)
    beside = faint + np.where(rows < 62, 0.0, 120.0)
    noise = 0.3 * np.random.default_rng(5).standard_normal((120, 160))
    weights = []
    for profile in (faint, beside):
        edges = edge_map(np.asarray((profile[:, None] + noise)[..., None], np.float32))
        on_line = np.abs(edges.at_px[:, 1] - 49.5) <= 1.0
        weights.append(edges.weight[on_line].mean())
        assert on_line.sum() > 100
    assert weights[1] == pytest.approx(weights[0], abs=0.05)


def pose_of(bend: float) -> np.ndarray:
    pose = np.zeros(NUMBERS)
    pose[:2], pose[LN_SCALE], pose[LN_DISTANCE] = (330.0, 170.0), np.log(0.7), np.log(700.0)
    pose[TX], pose[TY], pose[ROLL], pose[K1] = 0.2, -0.1, 0.15, bend
    return pose


@pytest.mark.parametrize("hidden", [-1, 0, 1, 2, 3])
@pytest.mark.parametrize("bend", [0.0, -0.2])
def test_three_sides_and_a_focal_length_give_the_pose(bed_of, hidden, bend):
    """Each side's straight line goes through two places of it; where the fourth is hidden, its corners may lie anywhere."""
    bed = bed_of("rectangular", 400.0, 300.0, 60.0)
    view, pose = View(bed=bed, size_px=(640, 360)), pose_of(bend)
    half = np.array([200.0, 150.0])
    ends = np.array([[-AT, 1], [AT, 1], [1, AT], [1, -AT], [AT, -1], [-AT, -1], [-1, -AT], [-1, AT]]) * half
    seen = np.column_stack([view.project(pose, ends, 60.0), np.ones(8)]).reshape(4, 2, 3)
    lines = np.cross(seen[:, 0], seen[:, 1])
    corners = np.cross(np.roll(lines, 1, axis=0), lines)
    corners = corners[:, :2] / corners[:, 2:]
    if hidden >= 0:  # moved along the sides that are seen, by unlike shares
        before, after = corners[hidden - 1], corners[(hidden + 2) % 4]
        corners[hidden] += 0.2 * (corners[hidden] - before)
        corners[(hidden + 1) % 4] += 0.1 * (corners[(hidden + 1) % 4] - after)
    start = pose.copy()
    start[:2] += 9.0, -7.0
    start[LN_SCALE], start[LN_DISTANCE] = start[LN_SCALE] + 0.05, start[LN_DISTANCE] - 0.05
    start[[TX, TY, ROLL]] += 0.05, 0.05, -0.03
    found, miss = onto_sides(view, start[None], corners[None], np.array([hidden]), 60.0, 0.0)
    assert miss[0] < 0.05
    places = np.vstack([[0.0, 0.0], [[-1, 1], [1, 1], [1, -1], [-1, -1]] * half])
    assert np.hypot(*(view.project(found[0], places, 0.0) - view.project(pose, places, 0.0)).T).max() < 0.5
    assert view.focal_px(found[0]) == pytest.approx(view.focal_px(pose))


def test_a_rectangle_cut_by_the_picture_says_which_side_is_guessed():
    picture = np.full((360, 640, 1), 60.0, np.float32)
    picture[60:300, 300:] = 140.0  # 340 of 360 px wide, the rest lies beyond the right edge
    edges = edge_map(picture)
    quads = find_quads(picture, edges, field_of(edges, (640, 360)), 360 / 240)
    assert quads
    best = quads[0]
    assert best.hidden == 1
    assert best.corners[[0, 3]] == pytest.approx(np.array([[299.5, 59.5], [299.5, 299.5]]), abs=1.5)


def test_a_hoop_with_many_outlines_leaves_room_for_a_bed_that_the_picture_cuts():
    """A quarter of the bed's outline lies outside, so that each of the hoop's five edges shows more of itself."""
    v, u = np.mgrid[:360, :480].astype(np.float64)
    hoop, bed = np.hypot(u - 370, v - 90), np.hypot(u - 110, v - 240)
    picture = np.full((360, 480), 70.0)
    for out, level in ((72, 90), (68, 120), (64, 160), (60, 190), (56, 70)):
        picture[hoop < out] = level
    picture[bed < 150] = 110.0
    picture[bed < 138] = 50.0
    picture += 0.5 * np.random.default_rng(2).standard_normal(picture.shape)
    small = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8)[..., None], np.float32)
    found = find_rounds(small, edge_map(small), most=6)
    sizes = np.array([np.mean(one.ellipse.axes_px) for one in found])
    assert len(found) == 6
    assert (sizes > 120).sum() >= 2
