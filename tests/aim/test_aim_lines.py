"""What shows along drawn outlines: several at once, and no edge for two of them."""

import numpy as np
import pytest

from bedwatch.aim.finding.field import BINS, direction_bins
from bedwatch.aim.finding.lines import FOOT, RIM, RING_EDGE, Line, draw, look, looks, told_apart
from bedwatch.aim.finding.swarm import apart
from bedwatch.aim.pose import LN_DISTANCE, LN_SCALE, NUMBERS, RING, ROLL, TX, View


def pose_of(scale: float = 1.0) -> np.ndarray:
    pose = np.zeros(NUMBERS)
    pose[:2], pose[LN_SCALE], pose[LN_DISTANCE], pose[RING] = (320.0, 240.0), np.log(scale), np.log(900.0), 8.0
    pose[TX], pose[ROLL] = 0.1, 0.1
    return pose


def line(kind: str, up_px: float, edge_px: float, count: int = 100, edges: int | None = None) -> Line:
    """A level outline drawn at `up_px` with its edge at `edge_px`, both from the same line; only so many places show it."""
    clear = np.where(np.arange(count) < (count if edges is None else edges), 0.9, 0.0)
    return Line(
        kind=kind,
        pixels=np.column_stack([np.arange(count), np.full(count, -up_px)]),
        normals=np.tile([0.0, -1.0], (count, 1)),
        seen=np.ones(count, np.bool_),
        at_px=np.full(count, edge_px - up_px),
        clear=clear,
    )


@pytest.mark.parametrize("shape", ["round", "rectangular"])
def test_several_outlines_are_looked_at_as_each_by_itself(bed_of, shape):
    view = View(bed=bed_of(shape, 300.0, 300.0 if shape == "round" else 220.0, 60.0), size_px=(640, 480))
    picture = np.random.default_rng(4).uniform(40, 200, (480, 640, 3)).astype(np.float32)
    poses = np.array([pose_of(), pose_of(2.2)])  # the larger one reaches beyond the picture
    for kind in (FOOT, RIM, RING_EDGE):
        both = looks(view, picture, poses, (kind, kind), 5.0)
        for pose, found in zip(poses, both, strict=True):
            alone = look(view, picture, pose, kind, 5.0)
            assert found.pixels == pytest.approx(alone.pixels)
            assert found.at_px == pytest.approx(alone.at_px, abs=1e-4)
            assert (found.seen == alone.seen).all()
    assert not both[1].seen.all()


def test_an_outline_of_the_rim_is_drawn_outside_of_the_wall(bed_of):
    view = View(bed=bed_of("round", 300.0, 300.0, 60.0), size_px=(640, 480))
    rim, ring = draw(view, np.array([pose_of(), pose_of()]), (RIM, RING_EDGE), 90)
    middle = rim.mean(axis=0)
    assert np.hypot(*(ring - middle).T) / np.hypot(*(rim - middle).T) == pytest.approx(158 / 150, abs=2e-3)


def test_an_edge_that_blur_makes_of_foot_and_rim_tells_of_neither():
    foot, rim, ring = told_apart(
        [line(FOOT, 0.0, 1.2, edges=40), line(RIM, 2.5, 1.2, edges=40), line(RING_EDGE, 9.0, 9.1)]
    )
    assert not foot.seen[:40].any()
    assert not rim.seen[:40].any()
    assert foot.seen[40:].all()
    assert ring.seen.all()
    assert (ring.clear > 0.5).all()


def test_a_foot_without_any_other_edge_is_left_as_it_is():
    foot, rim = told_apart([line(FOOT, 0.0, 1.2), line(RIM, 2.5, 1.2)])
    assert foot.seen.all()
    assert rim.seen.all()


def test_an_edge_belongs_to_the_outline_that_is_drawn_nearer_to_it():
    foot, rim = told_apart([line(FOOT, 0.0, 6.0), line(RIM, 7.0, 6.0)])
    assert (foot.clear == 0).all()
    assert foot.seen.all()  # so that it counts as an outline that does not show
    assert (rim.clear > 0.5).all()
    apart_edges = told_apart([line(FOOT, 0.0, 0.3), line(RIM, 7.0, 6.0)])
    assert all((one.clear > 0.5).all() for one in apart_edges)


def test_bins_of_direction_are_those_of_the_angle():
    turn = np.linspace(-3.1, 3.1, 997) + 1e-4
    expected = np.floor(turn / np.pi * BINS).astype(int) % BINS
    assert (direction_bins(np.cos(turn)[None], np.sin(turn)[None])[0] == expected).all()


def test_starts_that_draw_a_known_outline_are_not_other_ones(bed_of):
    view = View(bed=bed_of("round", 300.0, 300.0, 60.0), size_px=(640, 480))
    aside, near = pose_of(), pose_of()
    aside[0] += 12.0
    near[0] += 0.3
    assert apart(view, np.array([aside, near]), np.array([pose_of()])).tolist() == [True, False]
