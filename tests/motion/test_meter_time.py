"""The meter and time: odd time stamps, gaps, forgetting, and what a long run costs."""

from __future__ import annotations

import pickle
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from conftest import Bench


def test_nothing_is_said_before_two_frames_were_compared(bench: Bench) -> None:
    meter = bench.meter()
    assert meter.field() is None
    pictures = bench.Disc(wall_mm_s=10.0).pictures(1.0)
    picture, time_s = next(pictures)
    meter.add(picture, time_s)
    assert meter.field() is None
    assert meter.seconds == 0.0
    for picture, time_s in pictures:
        meter.add(picture, time_s)
    assert meter.field() is not None
    meter.forget()
    assert meter.field() is None
    assert meter.seconds == 0.0


def test_speed_goes_by_time_stamps_not_by_frame_numbers(bench: Bench) -> None:
    """Variable frame rate: true times between 15 and 45 a second, as phones record."""
    disc = bench.Disc(wall_mm_s=20.0)
    rng = np.random.default_rng(2)
    meter, time_s = bench.meter(), 0.0
    for _ in range(120):
        light = disc.clean(time_s) + 1.5 * rng.standard_normal((224, 224))
        meter.add(bench.rounded(light), time_s)
        time_s += rng.uniform(1 / 45, 1 / 15)
    field = meter.field()
    assert field is not None
    # Mean of squares of uneven steps: a lag of two frames mixes steps, so twice the 6 % of even ones is not needed, but 8 % is.
    np.testing.assert_allclose(field.zones.speed_mm_s, disc.zone_mm_s(), rtol=0.08)


def test_dropped_frames_do_not_make_it_faster(bench: Bench) -> None:
    disc = bench.Disc(wall_mm_s=20.0)
    rng = np.random.default_rng(3)
    kept = ((picture, time_s) for picture, time_s in disc.pictures(5.0) if rng.random() > 0.25)
    np.testing.assert_allclose(bench.look(kept).zones.speed_mm_s, disc.zone_mm_s(), rtol=0.08)


@pytest.mark.parametrize("step_s", [0.0, -0.5, 0.001])
def test_frames_that_come_at_no_new_time_are_left_out(bench: Bench, step_s: float) -> None:
    """A frame with the time of the last one, an earlier one, or one a millisecond on: no speed can be made of it."""
    disc = bench.Disc(wall_mm_s=20.0)
    plain, doubled = bench.meter(), bench.meter()
    for picture, time_s in disc.pictures(1.5):
        plain.add(picture, time_s)
        doubled.add(picture, time_s)
        doubled.add(np.roll(picture, 7, axis=0), time_s + step_s)
    one, two = plain.field(), doubled.field()
    assert one is not None
    assert two is not None
    np.testing.assert_array_equal(one.zones.speed_mm_s, two.zones.speed_mm_s)
    np.testing.assert_array_equal(one.cells.live, two.cells.live)


def test_the_same_pictures_give_the_same_field(bench: Bench) -> None:
    first, second = (bench.look(bench.Disc(wall_mm_s=12.0).pictures(1.5)) for _ in range(2))
    assert pickle.dumps(first) == pickle.dumps(second)


def test_asking_does_not_change_the_answer(bench: Bench) -> None:
    quiet, asked = bench.meter(), bench.meter()
    for picture, time_s in bench.Disc(wall_mm_s=12.0).pictures(1.5):
        quiet.add(picture, time_s)
        asked.add(picture, time_s)
        asked.field()
    assert pickle.dumps(quiet.field()) == pickle.dumps(asked.field())


def test_pictures_may_be_used_again_by_their_owner(bench: Bench) -> None:
    """A source may hand out one buffer over and over."""
    kept, shared = bench.meter(), bench.meter()
    buffer = np.empty((224, 224), np.uint8)
    for picture, time_s in bench.Disc(wall_mm_s=12.0).pictures(1.0):
        kept.add(picture, time_s)
        buffer[:] = picture
        shared.add(buffer, time_s)
    buffer[:] = 0
    assert pickle.dumps(kept.field()) == pickle.dumps(shared.field())


def test_what_stopped_is_forgotten_after_the_window(bench: Bench) -> None:
    """Ten seconds later nothing tells of it; frames are few, since only the times matter."""
    moving = bench.Disc(wall_mm_s=15.0, fps=15.0)
    still = bench.Disc(fps=15.0, seed=4)
    meter = bench.meter()
    for picture, time_s in moving.pictures(3.0):
        meter.add(picture, time_s)
    for picture, time_s in still.pictures(12.5):
        meter.add(picture, 3.0 + time_s)
    field = meter.field()
    assert field is not None
    assert field.zones.live.max() <= 0.02
    assert field.zones.speed_mm_s.max() < 0.5
    assert 9.0 < field.seconds < 11.6


def test_a_longer_run_keeps_no_more(bench: Bench) -> None:
    """What the meter holds after 60 s is what it holds after 36 s: an hour costs no more than half a minute of ground."""
    meter, sizes = bench.meter(), []
    pictures = [picture for picture, _ in bench.Disc(wall_mm_s=15.0, fps=10.0).pictures(1.0)]
    for number in range(600):
        meter.add(pictures[number % len(pictures)], number / 10)
        if number in (360, 599):
            sizes.append(len(pickle.dumps(meter)))
    # One slab more or less, of some thirty of the ground and eleven of the window.
    assert sizes[1] == pytest.approx(sizes[0], rel=0.12)


def test_a_burst_of_frames_right_after_a_cut(bench: Bench) -> None:
    """A stream hands out in a burst what it held back: the short lag then reaches back further than there are frames."""
    meter = bench.meter()
    flat = bench.rounded(bench.Disc().clean(0.0))
    for number in range(40):
        if number % 3 == 0:
            meter.cut()
        meter.add(flat, 0.019 * number)
    assert meter.seconds > 0.5
