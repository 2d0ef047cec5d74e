"""The printable disc: true to scale, no direction favoured, and found where it turns."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.cards.disc import disc_page, dots
from bedwatch.aim.cards.disc_find import find_turning
from bedwatch.aim.cards.printing import pdf, svg
from bedwatch.aim.types import Aim, NotFound

Picture = NDArray[np.uint8]


def test_it_prints_true_to_scale() -> None:
    page = disc_page(180.0, "a4")
    ring = page.strokes[0].places_mm
    assert np.ptp(ring, axis=0) == pytest.approx([180.0, 180.0], abs=0.05)
    rule = page.strokes[4].places_mm
    assert rule[1, 0] - rule[0, 0] == pytest.approx(100.0)
    assert b'width="210mm"' in svg(page)
    assert re.search(rb"/MediaBox \[0 0 595.27", pdf([page]))
    places = np.concatenate([shape.corners_mm for shape in page.shapes])
    assert (places > 5).all()
    assert (places < [205, 292]).all()


@pytest.mark.parametrize("diameter_mm", [20.0, 200.0])
def test_no_disc_that_does_not_fit(diameter_mm: float) -> None:
    with pytest.raises(ValueError, match="expected 60 to 190"):
        disc_page(diameter_mm, "a4")


def test_the_texture_favours_no_direction() -> None:
    """Ink in eight sectors and four rings of one area each is much alike."""
    made = dots(180.0)
    middle = np.array([one.mean(axis=0) for one in made])
    area = np.array([math.pi * float(np.ptp(one[:, 0]) / 2) ** 2 for one in made])
    turn, out = np.arctan2(*middle.T), np.hypot(*middle.T)
    by_turn, _ = np.histogram(turn, 8, (-np.pi, np.pi), weights=area)
    by_out, _ = np.histogram(out**2, 4, (0, 90.0**2), weights=area)
    # A dozen of the large dots a part scatter by a third.
    assert by_turn.min() > 0.55 * by_turn.mean()
    assert by_out.min() > 0.6 * by_out.mean()


@pytest.fixture(scope="module")
def turning() -> Callable[..., list[Picture]]:
    """Pictures of the disc turned by 5 degrees a picture, on a still ground; squeezed along x to look tilted."""

    def make(count: int = 12, squeeze: float = 1.0, at: tuple[float, float] = (330.0, 235.0)) -> list[Picture]:
        px = 4
        side = 190 * px
        ink, white = np.zeros((side, side), np.uint8), np.zeros((side, side), np.uint8)
        cv2.circle(white, (side // 2, side // 2), 90 * px, 255, -1)
        for dot in dots(180.0):
            cv2.fillPoly(ink, [np.round(dot * px + side / 2).astype(int)], 255)
        sheet = np.where(white > 0, np.where(ink > 0, 35, 230), 0).astype(np.uint8)
        rng = np.random.default_rng(2)
        ground = cv2.GaussianBlur(rng.integers(30, 120, (480, 640)).astype(np.uint8), (0, 0), 2)
        found = []
        for number in range(count):
            turn, scale = math.radians(5 * number), 2.2 / px
            spin = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
            way = np.diag([squeeze, 1.0]) @ (scale * spin)
            move = np.column_stack([way, np.array(at) - way @ [side / 2, side / 2]])
            disc = cv2.warpAffine(sheet, move, (640, 480), flags=cv2.INTER_AREA)
            mask = cv2.warpAffine(white, move, (640, 480))
            seen = np.where(mask > 127, disc, ground) + rng.normal(0, 2, (480, 640))
            found.append(np.clip(seen, 0, 255).astype(np.uint8))
        return found

    return make


@pytest.mark.parametrize("squeeze", [1.0, 0.95])
def test_it_is_found_where_it_turns(turning: Callable[..., list[Picture]], squeeze: float) -> None:
    aim = find_turning(turning(squeeze=squeeze), 180.0)
    assert isinstance(aim, Aim)
    there = aim.pixels(np.array([[0.0, 0.0], [90.0, 0.0], [0.0, 90.0]]))
    true = np.array([[330.0, 235.0], [330.0 + 2.2 * 90 * squeeze, 235.0], [330.0, 235.0 - 2.2 * 90]])
    # A pixel and a half of 200: under 1 % of a speed.
    assert np.abs(there - true).max() < 1.6
    assert aim.error_mm is not None
    assert aim.error_mm < 1.0


def test_what_is_no_turning_disc_is_refused(turning: Callable[..., list[Picture]]) -> None:
    whole = turning()
    still = [whole[0]] * 12
    rng = np.random.default_rng(1)
    noisy = [np.clip(whole[0] + rng.normal(0, 3, (480, 640)), 0, 255).astype(np.uint8) for _ in range(12)]
    for pictures, why in (
        (still, "nothing turns"),
        (noisy, "turns|disc"),
        (whole[:3], "only 3 pictures"),
        ([], "only 0 pictures"),
        (turning(at=(600.0, 235.0)), "disc|outside"),
        (turning(squeeze=0.6), "no round disc"),
    ):
        found = find_turning(pictures, 180.0)
        assert isinstance(found, NotFound)
        assert re.search(why, found.reason), found.reason
