"""The check picture: marks where they belong, readable on light and dark, told apart by colour-blind eyes."""

from dataclasses import replace

import numpy as np
import pytest

from bedwatch.aim.draw import check_picture, small_picture, surface_lines, zone_lines
from bedwatch.aim.ink import ORANGE, PURPLE, SKY, VERMILION, YELLOW, Pen, Style, dashes, plain
from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import mm_per_px, outline_of, outline_points
from bedwatch.aim.turned import mirrored, turned
from bedwatch.aim.types import Aim, NotFound, Problem, ProblemKind
from bedwatch.bed import Bed, grid_zones, ring_zones

SIZE = (1280, 720)


@pytest.fixture
def round_bed():
    return Bed(
        name="Gate-latch bed",
        shape="round",
        width_mm=420.0,
        length_mm=420.0,
        surface_below_rim_mm=80.0,
        zones=ring_zones((1, 6), 210.0),
    )


@pytest.fixture
def trough():
    zones = grid_zones(2, 3, 600.0, 300.0)
    return Bed(
        name="Trough", shape="rectangular", width_mm=600.0, length_mm=300.0, surface_below_rim_mm=60.0, zones=zones
    )


@pytest.fixture
def aim_of(planes):
    def make(bed, size=SIZE, tilt=12.0, error=0.3):
        below = bed.surface_below_rim_mm
        surface, rim = planes(
            size, 0.85 * size[0], 1000.0, tilt, -90.0, ((size[0] - 1) / 2, (size[1] - 1) / 2), 0, (0.0, below)
        )
        return Aim(
            surface=outline_of(surface, bed),
            rim=outline_of(rim, bed),
            bed_to_picture=surface / surface[2, 2],
            mm_per_px=mm_per_px(surface),
            size_px=size,
            error_mm=error,
        )

    return make


def near(picture, colour, tolerance=40):
    return (np.abs(picture.astype(int) - colour).max(axis=2) < tolerance).sum()


@pytest.mark.parametrize("tone", [10, 128, 245])
@pytest.mark.parametrize("size", [(640, 480), (1920, 1080)])
def test_outlines_zones_and_words_stand_out_on_any_powder(round_bed, aim_of, tone, size):
    picture = np.full((size[1], size[0], 3), tone, np.uint8)
    shown = check_picture(picture, round_bed, aim_of(round_bed, size))
    assert shown.shape == picture.shape
    for colour in (YELLOW, ORANGE, SKY, PURPLE):
        assert near(shown, colour) > 0.05 * size[0]
    # every coloured pixel of the powder's outline has dark ones beside it
    (line,) = surface_lines(round_bed, aim_of(round_bed, size))[0]
    for u, v in np.rint(line[np.isfinite(line).all(axis=1)][40::60]).astype(int):
        assert shown[v - 6 : v + 7, u - 6 : u + 7].max(axis=2).min() < 70 or tone < 70


def test_the_picture_that_came_in_is_not_touched(round_bed, aim_of):
    picture = np.full((720, 1280), 90, np.uint8)
    check_picture(picture, round_bed, aim_of(round_bed))
    assert (picture == 90).all()


def test_what_the_near_wall_hides_is_dotted(round_bed, aim_of):
    aim = aim_of(round_bed, tilt=22.0)
    (shown,), (hidden,) = surface_lines(round_bed, aim)
    hidden = hidden[np.isfinite(hidden).all(axis=1)]
    assert 20 < len(hidden) < 150
    places = aim.places(hidden)
    assert (places[:, 1] < 0).all()  # the near side
    assert len(shown[np.isfinite(shown).all(axis=1)]) > 200
    # no border of a zone is drawn over the wall
    for chain in zone_lines(round_bed, aim):
        good = chain[np.isfinite(chain).all(axis=1)]
        away = np.hypot(*(good - aim.rim.centre_px).T)
        assert (away < max(aim.rim.axes_px) + 1).all()


def test_nothing_is_hidden_where_the_powder_reaches_the_rim(aim_of, round_bed):
    level = replace(round_bed, surface_below_rim_mm=0.0)
    (hidden,) = surface_lines(level, aim_of(level, tilt=22.0))[1]
    assert not np.isfinite(hidden).any()


def test_straight_sides_are_drawn_bent_by_the_lens(trough, aim_of):
    aim = aim_of(trough, tilt=0.0)
    bent = replace(aim, lens=Lens(k1=-0.2, focal_px=1088.0, centre_px=(639.5, 359.5), straight_focal_px=1088.0))
    (line,) = surface_lines(trough, replace(bent, rim=None))[0]
    top = line[:90]
    ends, middle = (top[0] + top[-1]) / 2, top[45]
    assert abs(middle[1] - ends[1]) > 2
    straight = surface_lines(trough, replace(aim, rim=None))[0][0][:90]
    assert np.ptp(straight[:, 1]) < 1e-6
    grid = np.concatenate([chain for chain in zone_lines(trough, replace(bent, rim=None)) if len(chain) > 20])
    assert np.isfinite(grid).all()


def test_a_large_error_is_a_band(round_bed, aim_of):
    picture = np.full((720, 1280, 3), 90, np.uint8)
    sharp = check_picture(picture, round_bed, aim_of(round_bed, error=0.2))
    vague = check_picture(picture, round_bed, aim_of(round_bed, error=6.0))
    aim = aim_of(round_bed)
    # 8 mm inside the wall at 9 o'clock: plain powder or tinted
    u, v = np.rint(aim.pixels(np.array([[-201.0, 0.0]]))[0]).astype(int)
    assert (sharp[v, u] == 90).all()
    assert int(vague[v, u, 1]) - int(vague[v, u, 0]) > 20


def test_the_scale_bar_is_a_hundred_millimetres_of_powder(round_bed, aim_of):
    aim = aim_of(round_bed, tilt=0.0, error=None)
    bare = replace(round_bed, zones=round_bed.zones[:1])
    shown = check_picture(np.full((720, 1280, 3), 30, np.uint8), bare, aim)
    white = (shown.min(axis=2) > 235).astype(np.uint8)
    widest = max(_longest_run(row) for row in white[60:680])
    assert widest == pytest.approx(100 / aim.mm_per_px, abs=6)


def _longest_run(row):
    best = now = 0
    for value in row:
        now = now + 1 if value else 0
        best = max(best, now)
    return best


def test_a_refusal_draws_the_candidate_dashed_and_says_why(round_bed, aim_of):
    plain_picture = np.full((720, 1280, 3), 90, np.uint8)
    refusal = NotFound(reason="two things look like the bed", advice="Cover one.")
    alone = check_picture(plain_picture, round_bed, refusal)
    both = check_picture(plain_picture, round_bed, refusal, aim_of(round_bed))
    assert near(alone, VERMILION, 30) == 0
    # dashes: more than a third of the outline is left out
    line = outline_points(aim_of(round_bed).surface, 720)
    hit = [near(both[round(v) - 1 : round(v) + 2, round(u) - 1 : round(u) + 2], VERMILION) > 0 for u, v in line[60:]]
    assert 0.3 < np.mean(hit) < 0.9
    assert (alone[:60] != 90).any()


def test_problems_and_mirrors_are_told(round_bed, aim_of):
    aim = aim_of(round_bed)
    picture = np.full((720, 1280, 3), 90, np.uint8)
    dark = Problem(kind=ProblemKind.DARK, advice="The mean is 12 of 255; open the iris.")
    taller = check_picture(picture, round_bed, replace(aim, problems=(dark,)))
    quiet = check_picture(picture, round_bed, aim)
    assert (taller[60:80, 20:300] != quiet[60:80, 20:300]).any()
    assert (check_picture(picture, round_bed, mirrored(aim, round_bed))[:40] != quiet[:40]).any()


def test_zone_names_follow_a_turn_and_a_mirror(round_bed, aim_of):
    aim = aim_of(round_bed)
    picture = np.full((720, 1280, 3), 90, np.uint8)

    def place(found, name):
        return next(np.array([u, v]) for word, u, v in small_picture(picture, round_bed, found, 80)[1] if word == name)

    assert place(aim, "2")[0] > place(aim, "7")[0]
    assert place(mirrored(aim, round_bed), "2")[0] < place(mirrored(aim, round_bed), "7")[0]
    assert place(aim, "12")[1] < place(aim, "1")[1] < place(turned(aim, round_bed, 180), "12")[1]


def test_a_small_picture_is_small_and_coloured(round_bed, aim_of):
    small, words = small_picture(np.full((720, 1280), 90, np.uint8), round_bed, aim_of(round_bed), 80)
    assert small.shape == (45, 80, 3)
    assert {word for word, _, _ in words} == {"1", "2", "3", "4", "5", "6", "7", "12"}
    for colour in (YELLOW, ORANGE, SKY):
        assert near(small, colour, 5) > 10


def test_the_colours_are_those_published():
    """Okabe & Ito 2008, Color universal design: the palette's RGB values."""
    published = {(230, 159, 0), (86, 180, 233), (240, 228, 66), (213, 94, 0), (204, 121, 167)}
    assert {colour[::-1] for colour in (ORANGE, SKY, YELLOW, VERMILION, PURPLE)} == published


def test_dashes_cover_their_share_and_follow_the_line():
    line = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0]])
    parts = dashes(line, 10.0, 5.0)
    length = sum(np.hypot(*np.diff(part, axis=0).T).sum() for part in parts)
    assert length == pytest.approx(100.0)
    assert all(((part[:, 0] == 100) | (part[:, 1] == 0)).all() for part in parts)


def test_words_off_the_picture_and_behind_the_camera_do_no_harm():
    pen = Pen.on(np.full((100, 100, 3), 90, np.uint8))
    for at in ((-5000.0, 3.0), (99.0, 99.0), (np.nan, 4.0), (1e9, 1e9)):
        pen.words("7", np.array(at), YELLOW, centred=True)
    pen.lines([np.array([[np.nan, 0.0], [1.0, 1.0]]), np.array([[-1e9, 5.0], [1e9, 5.0]])], YELLOW, Style.DOTTED)
    assert (pen.canvas != 90).any()


def test_words_are_spelt_in_the_letters_of_the_font():
    assert plain("Bett größer ± 3 °") == "Bett grosser +/- 3  deg"
