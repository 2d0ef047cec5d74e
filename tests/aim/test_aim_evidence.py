"""What speaks for a bed and against it, and when it is believed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from bedwatch.aim.finding.beside import unexplained_mm
from bedwatch.aim.finding.choose import Candidate, astray_mm, ordered, rivalry
from bedwatch.aim.finding.error import standing_error_mm
from bedwatch.aim.finding.fit import Fitted, within_px
from bedwatch.aim.finding.lines import FOOT, Line
from bedwatch.aim.finding.refine import Refined
from bedwatch.aim.finding.verify import MOST_AGAINST, MOST_AGAINST_LIVELY, Evidence, doubt, side_cut
from bedwatch.aim.pose import LN_DISTANCE, LN_SCALE, NUMBERS, RING, TX, View, bed_outline_mm

PLAIN = Evidence(
    wall=1.0,
    foot=1.0,
    chance=0.1,
    whole=1.0,
    size=1.0,
    moving=1.0,
    ringed=True,
    apart=1.0,
    wall_px=30.0,
    inside=0.1,
    beside_mm=0.0,
    level_odd=0.0,
    lens_odd=0.0,
    drawn=0.1,
    spread_px=0.2,
    badness=0.1,
    plausible=True,
)


def fitted() -> Fitted:
    pose = np.zeros(NUMBERS)
    pose[:2], pose[LN_SCALE], pose[LN_DISTANCE] = (480.0, 270.0), math.log(1.0), math.log(900.0)
    return Fitted(pose=pose, lines=(), spread_px=0.2, cost=0.0, covariance=np.zeros((NUMBERS, NUMBERS)))


def doubt_of(bed_of, found: Evidence) -> str | None:
    return doubt(View(bed=bed_of(), size_px=(960, 540)), fitted(), found)


def test_what_is_missing_counts_once_however_it_is_spread():
    """A quarter of the foot missing in one piece shows as less foot and as fewer sectors: the larger of both counts."""
    half_hidden = replace(PLAIN, foot=0.65, whole=0.75)
    assert half_hidden.penalty - PLAIN.penalty == pytest.approx(0.5 * 0.25)
    scattered = replace(PLAIN, foot=0.65, whole=1.0)
    in_one_piece = replace(PLAIN, foot=0.9, whole=0.75)
    assert scattered.penalty == half_hidden.penalty == in_one_piece.penalty


def test_more_is_asked_of_what_does_not_move(bed_of):
    between = replace(PLAIN, badness=(MOST_AGAINST + MOST_AGAINST_LIVELY) / 2)
    assert doubt_of(bed_of, between) is not None
    assert doubt_of(bed_of, replace(between, moving=5.0)) is None
    beyond = replace(PLAIN, badness=MOST_AGAINST_LIVELY + 0.1, moving=5.0)
    assert doubt_of(bed_of, beyond) is not None


def test_what_moves_must_still_show_its_outline(bed_of):
    assert "outline shows" in (doubt_of(bed_of, replace(PLAIN, foot=0.4, moving=20.0)) or "")
    assert "outline shows" in (doubt_of(bed_of, replace(PLAIN, whole=0.4, moving=20.0)) or "")


@pytest.mark.parametrize(("shown", "chance", "believed"), [(0.62, 0.05, True), (0.86, 0.5, False), (0.97, 0.43, True)])
def test_in_a_busy_picture_an_outline_must_show_more(bed_of, shown, chance, believed):
    found = doubt_of(bed_of, replace(PLAIN, foot=shown, chance=chance))
    assert (found is None) == believed
    assert believed or "busy" in (found or "")


def test_an_outline_that_shows_no_more_than_any_line_tells_nothing():
    assert replace(PLAIN, foot=0.9, chance=0.9).telling == pytest.approx(0.0)
    assert replace(PLAIN, foot=0.3, chance=0.5).telling < -0.5
    assert PLAIN.telling == pytest.approx(math.log(0.9 / 0.1))


def test_a_still_lid_is_refused_and_says_so(bed_of):
    assert "lid" in (doubt_of(bed_of, replace(PLAIN, drawn=0.9)) or "")
    assert "hoop" in (doubt_of(bed_of, replace(PLAIN, apart=0.2)) or "")


def test_an_edge_may_lie_as_far_off_as_blur_and_the_tub_s_unevenness_reach():
    pose = fitted().pose
    pose[TX] = 0.1
    near, far = pose.copy(), pose.copy()
    near[LN_SCALE], far[LN_SCALE] = math.log(3.0), math.log(0.5)
    assert within_px(near) == pytest.approx(2.4)  # 0.8 mm at 3 px per mm
    assert within_px(far) == pytest.approx(1.3)  # what blur does to any picture


def ring_of(radii, size=(400, 400), noise=1.0):
    """A picture of discs, each darker than the one around it, and the pose that sees 1 mm as 1 px from above."""
    v, u = np.mgrid[: size[1], : size[0]]
    away = np.hypot(u - (size[0] - 1) / 2, v - (size[1] - 1) / 2)
    picture = 150.0 - 40.0 * sum((away < radius) for radius in radii)
    picture += noise * np.random.default_rng(3).standard_normal(picture.shape)
    return np.asarray(picture[..., None], np.float32)


def test_an_outline_beside_the_rim_is_told_with_its_distance(bed_of):
    """Rim edges at 112 and 124 px; the pose knows the inner one only, its wall 109 mm out and 3 mm wide."""
    bed = bed_of("round", 218, 218, 20)
    pose = fitted().pose
    pose[:2], pose[LN_SCALE], pose[LN_DISTANCE], pose[RING] = (199.5, 199.5), math.log(880 / 900), math.log(900.0), 3.0
    view = View(bed=bed, size_px=(400, 400))  # the rim, 20 mm nearer, is seen at 1 px per mm
    assert unexplained_mm(view, ring_of([112.0, 124.0]), pose) == pytest.approx(12.0, abs=0.6)
    assert unexplained_mm(view, ring_of([112.0]), pose) == 0.0


def candidate(
    bed_of, grow: float = 1.0, lone: bool = False, badness: float = 0.1, aside_px: float = 0.0, **seen_otherwise: float
) -> Candidate:
    view = View(bed=bed_of(), size_px=(960, 540))
    pose = fitted().pose
    pose[0] += aside_px
    pose[LN_SCALE] += math.log(grow)
    places = bed_outline_mm(view.bed, 60)
    seen = np.ones(60, np.bool_)
    foot = Line(
        kind=FOOT,
        pixels=view.project(pose, places, 0.0),
        normals=places / np.hypot(*places.T)[:, None],
        seen=seen,
        at_px=np.zeros(60),
        clear=np.ones(60),
    )
    settled = replace(fitted(), pose=pose, lines=(foot,), cost=badness)
    found = replace(PLAIN, **{"badness": badness, "ringed": not lone, "moving": 5.0, **seen_otherwise})
    return Candidate(refined=Refined(fitted=settled, lone=lone), found=found)


def test_another_pose_that_explains_as_much_widens_the_error(bed_of):
    """Five per cent larger is 10.5 mm at the wall; a pose that explains one outline less says nothing against."""
    view = View(bed=bed_of(), size_px=(960, 540))
    best = candidate(bed_of, 1.0, lone=False, badness=0.1)
    near, far = (candidate(bed_of, 1.05, lone=False, badness=bad) for bad in (0.1, 0.5))
    assert astray_mm(view, [best, near]) == pytest.approx(10.0 * math.sqrt(8 / 9 / 2), rel=0.02)
    assert astray_mm(view, [best, far]) < 0.5
    assert astray_mm(view, [best, candidate(bed_of, 1.05, lone=True, badness=0.1)]) == 0.0
    alone = candidate(bed_of, 1.0, lone=True, badness=0.1)
    assert astray_mm(view, [alone, candidate(bed_of, 1.05, lone=True, badness=0.1)]) > 5.0


def test_an_outline_that_is_half_seen_is_none_more(bed_of):
    """Foot and rim on two sides each, taken for one another on the other two, against a rim that shows one edge all round."""
    view = View(bed=bed_of(), size_px=(960, 540))
    mixed = candidate(bed_of, 1.0, lone=False, badness=0.1, whole=0.5)
    assert astray_mm(view, [mixed, candidate(bed_of, 1.05, lone=True, badness=0.1, whole=1.0)]) > 5.0
    assert astray_mm(view, [mixed, candidate(bed_of, 1.05, lone=True, badness=0.1, whole=0.6)]) == 0.0


def test_where_the_best_reading_fits_loosely_others_still_count(bed_of):
    """With dents or things in the way the misfit tells little of which reading is right."""
    view = View(bed=bed_of(), size_px=(960, 540))
    loose, other = candidate(bed_of, badness=0.22), candidate(bed_of, 1.05, badness=0.4)
    assert astray_mm(view, [loose, other]) > 3.0
    assert astray_mm(view, [loose, candidate(bed_of, 1.05, badness=0.5)]) < 0.5  # more than twice as loose


def test_of_readings_of_one_thing_the_one_that_fits_goes_first(bed_of):
    """A usual lens speaks for the other reading by more than the misfit speaks against it, but it is the same tub."""
    view = View(bed=bed_of(), size_px=(960, 540))
    fits = candidate(bed_of, badness=0.02, lens_odd=2.3)
    other = candidate(bed_of, grow=1.08, badness=0.16)
    assert other.found.penalty < fits.found.penalty
    assert ordered(view, [other, fits])[0] is fits
    assert rivalry(view, [fits, other]) is None
    assert astray_mm(view, [fits, other]) < 4.0 < astray_mm(view, [other, fits])
    elsewhere = candidate(bed_of, aside_px=300.0, badness=0.16)
    assert ordered(view, [elsewhere, fits])[0] is elsewhere
    assert rivalry(view, [elsewhere, fits]) is not None


def test_a_refused_reading_gives_way_to_a_believed_one_that_explains_nearly_as_much(bed_of):
    view = View(bed=bed_of(), size_px=(960, 540))
    refused = candidate(bed_of, lone=True, badness=0.3, moving=1.0)
    believed, worse = (candidate(bed_of, grow=1.01, badness=bad, moving=1.0) for bad in (0.55, 0.65))
    assert refused.found.penalty < believed.found.penalty
    assert ordered(view, [refused, believed])[0] is believed
    assert ordered(view, [refused, worse])[0] is refused


def test_of_a_still_rectangle_all_four_sides_must_show(bed_of):
    """Where one is missing nothing tells where the bed ends; three of twelve sectors are one side."""
    view = View(bed=bed_of("rectangular", 420, 420, 80), size_px=(960, 540))
    side_missing = replace(PLAIN, whole=0.75, foot=0.8)
    assert "side" in (doubt(view, fitted(), side_missing) or "")
    assert doubt(view, fitted(), replace(side_missing, whole=10 / 12)) is None
    assert doubt(view, fitted(), replace(side_missing, moving=5.0)) is None
    assert doubt_of(bed_of, side_missing) is None  # a circle is known by three quarters of it


def test_a_still_rectangle_must_fit_more_closely_than_a_circle(bed_of):
    """Bricks and planks give lines for any rectangle, but not the twelve of one tub."""
    view = View(bed=bed_of("rectangular", 420, 420, 80), size_px=(960, 540))
    loose = replace(PLAIN, badness=0.35)
    assert "fit" in (doubt(view, fitted(), loose) or "")
    assert doubt(view, fitted(), replace(loose, moving=5.0)) is None
    assert doubt_of(bed_of, loose) is None


def test_wall_and_usual_lenses_together_tell_how_far_a_leaning_camera_is(bed_of):
    """A deeper wall leaves less room for error; where it is so low that it tells little, usual lenses still do."""
    pose = fitted().pose
    pose[TX] = 0.3
    off = [standing_error_mm(View(bed=bed_of(below=deep), size_px=(960, 540)), pose) for deep in (0.0, 2.0, 10.0, 80.0)]
    assert off == sorted(off, reverse=True)
    assert off[1] == pytest.approx(off[0], rel=0.05)
    assert off[3] < 0.3 * off[0]


def test_what_does_not_move_at_all_is_no_rival_of_a_moving_thing_that_explains_more(bed_of):
    view = View(bed=bed_of(), size_px=(960, 540))
    moves = candidate(bed_of, badness=0.2, moving=1.8)
    bucket, moving_too = (candidate(bed_of, aside_px=300.0, badness=0.25, moving=how) for how in (1.1, 1.6))
    assert rivalry(view, [moves, bucket]) is None
    assert rivalry(view, [moves, moving_too]) is not None
    assert rivalry(view, [replace(moves, found=replace(moves.found, moving=1.2)), bucket]) is not None


def test_outlines_within_blur_of_each_other_must_fit_closely(bed_of):
    """Foot and rim four pixels apart: a loose fit does not tell which is which."""
    assert doubt_of(bed_of, replace(PLAIN, wall_px=4.0)) is None
    assert "too close together" in (doubt_of(bed_of, replace(PLAIN, wall_px=4.0, badness=0.4)) or "")
    assert doubt_of(bed_of, replace(PLAIN, wall_px=30.0, badness=0.4)) is None
    shallow = bed_of(below=5.0)  # its foot 1 px inside the rim, whose outer edge lies far outside
    view = View(bed=shallow, size_px=(960, 540))
    assert "too close together" in (doubt(view, fitted(), replace(PLAIN, badness=0.25)) or "")
    assert doubt(view, fitted(), PLAIN) is None


def test_with_a_side_out_of_sight_a_reading_with_one_outline_less_counts(bed_of):
    """An outline more may be one taken for its neighbour all along a side, which no fourth side gainsays."""
    bed = bed_of("rectangular", 420.0, 420.0, 80.0)
    ranked = [candidate(bed_of), candidate(bed_of, 1.05, lone=True)]
    whole, cut = View(bed=bed, size_px=(960, 540)), View(bed=bed, size_px=(960, 420))
    assert astray_mm(whole, ranked) == 0.0
    assert not side_cut(whole, ranked[0].refined.fitted)
    assert side_cut(cut, ranked[0].refined.fitted)
    assert astray_mm(cut, ranked) > 2.0
