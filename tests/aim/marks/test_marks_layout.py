"""Cards: what they carry and where they lie."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from bedwatch.aim.cards.marks import FACTORS, HOURS, card, card_of, factor_for, laid, wall_mm
from bedwatch.bed.model import Bed

Beds = Callable[..., Bed]


def test_every_mark_of_every_size_is_another_one_of_the_hundred() -> None:
    marks = [mark for factor in FACTORS for hour in HOURS for mark in card(factor, hour).ids]
    assert sorted(marks) == list(range(100))
    for mark in marks:
        one, place = card_of(mark)
        assert one.ids[place] == mark
    with pytest.raises(ValueError, match="100"):
        card_of(100)


def test_a_card_s_corners_touch_a_round_wall(drawn_bed: Beds) -> None:
    for width in (300.0, 420.0, 900.0):
        out = wall_mm(drawn_bed(width=width), 3, 92.0)
        assert np.hypot(46.0, out) == pytest.approx(width / 2)


def test_a_rectangular_wall_is_touched_along_the_edge(drawn_bed: Beds) -> None:
    bed = drawn_bed("rectangular", 400.0, 600.0)
    assert [wall_mm(bed, hour, 92.0) for hour in HOURS] == [300.0, 200.0, 300.0, 200.0]


def test_marks_lie_at_their_hours_clockwise_from_twelve(drawn_bed: Beds) -> None:
    bed = drawn_bed()
    middles = np.array([laid(card(1.0, hour), bed).mean(axis=(0, 1)) for hour in HOURS])
    clock = np.degrees(np.arctan2(middles[:, 0], middles[:, 1])) % 360
    off = (clock - [0, 90, 180, 270] + 180) % 360 - 180
    assert np.abs(off).max() < 5.0  # five marks: their mean is a little beside the card's middle line


@pytest.mark.parametrize("shape", ["round", "rectangular"])
@pytest.mark.parametrize("width", [178.0, 250.0, 356.0, 420.0, 500.0, 712.0, 1500.0])
def test_four_cards_of_the_size_chosen_lie_clear_of_each_other(drawn_bed: Beds, shape: str, width: float) -> None:
    bed = drawn_bed(shape, width)
    factor = factor_for(bed)
    assert factor is not None
    rectangles = []
    for hour in HOURS:
        one = card(factor, hour)
        out = wall_mm(bed, hour, one.width_mm) - one.depth_mm / 2
        angle = np.radians(30.0 * hour)
        centre = (out * np.sin(angle), out * np.cos(angle))
        rectangles.append((centre, (one.width_mm, one.depth_mm), -30.0 * hour))
    for i, a in enumerate(rectangles):
        for b in rectangles[:i]:
            assert cv2.rotatedRectangleIntersection(a, b)[0] == cv2.INTERSECT_NONE


def test_a_bed_too_narrow_for_four_cards_has_no_size(drawn_bed: Beds) -> None:
    assert factor_for(drawn_bed(width=150.0)) is None
    assert factor_for(drawn_bed("rectangular", 150.0, 900.0)) is None


def test_marks_keep_a_white_border_of_a_module_and_lie_on_their_card() -> None:
    one = card(1.0, 12)
    module = np.ptp(one.corners_mm[0, :, 0]) / 7
    x, y = one.corners_mm.reshape(-1, 2).T
    assert np.abs(x).max() + module <= one.width_mm / 2
    assert y.max() + module <= 0.0
    assert y.min() - module >= -one.depth_mm
    gaps = [np.abs(a.mean(axis=0) - b.mean(axis=0)).max() - 7 * module for a in one.corners_mm for b in one.corners_mm]
    assert min(gap for gap in gaps if gap > -7 * module) >= module
