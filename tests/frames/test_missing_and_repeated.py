"""Which frames are said to be missing, late or repeated."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bedwatch.frames.frame import Frame, Outcome
from bedwatch.frames.reel import FileSource, Shot
from bedwatch.frames.repeats import RepeatWatch
from bedwatch.frames.steps import StepWatch


class Script:
    """A decoder that plays given times; None stands for a picture that cannot be decoded."""

    whole: bool | None = None

    def __init__(
        self, times_s: Sequence[float | None], duration_s: float | None = None, repeats: Collection[int] = ()
    ) -> None:
        self.notes: list[str] = []
        self.duration_s = duration_s
        self._repeats = repeats
        self._number = -1
        self._picture = np.zeros((40, 40), np.uint8)
        self._left = list(times_s)[::-1]
        self._rng = np.random.default_rng(0)

    def read(self) -> Shot | None:
        broken = 0
        while self._left:
            time_s = self._left.pop()
            if time_s is not None:
                self._number += 1
                if self._number not in self._repeats:
                    self._picture = self._rng.integers(0, 255, (40, 40), np.uint8)
                return Shot(picture=self._picture.copy(), time_s=time_s, broken_before=broken)
            broken += 1
        return None

    def close(self) -> None:
        self._left.clear()


def play(times_s: Sequence[float | None], duration_s: float | None = None) -> tuple[list[Frame], FileSource]:
    source = FileSource(Script(times_s, duration_s), "script")
    return list(source), source


def dropped(steps: Sequence[float]) -> list[int]:
    watch = StepWatch()
    return [watch.missing(step) for step in steps]


@settings(deadline=None)
@given(
    rate=st.floats(5, 120),
    jitter=st.floats(0, 0.12),
    holes=st.lists(st.tuples(st.integers(8, 90), st.integers(1, 9)), max_size=4, unique_by=lambda h: h[0]),
)
def test_holes_in_a_regular_clip_are_counted_exactly(rate: float, jitter: float, holes: list[tuple[int, int]]) -> None:
    rng = np.random.default_rng(1)
    missing = dict(holes)
    steps = [(1 + missing.get(i, 0)) / rate + rng.uniform(-jitter, jitter) / rate for i in range(100)]
    # Neighbouring holes that are alike look like a new rate; that is another test.
    if any(i + 1 in missing for i in missing):
        return
    assert dropped(steps) == [missing.get(i, 0) for i in range(100)]


def test_half_of_the_frames_missing_at_random_is_said() -> None:
    kept = np.flatnonzero(np.random.default_rng(2).random(400) < 0.5)
    steps = np.diff(kept) / 30
    true = np.diff(kept) - 1
    found = np.array(dropped(list(steps)))
    assert found.sum() == pytest.approx(true.sum(), rel=0.1)
    assert np.all(found <= true)


@pytest.mark.parametrize("seed", range(5))
def test_a_truly_variable_rate_drops_nothing(seed: int) -> None:
    steps = np.random.default_rng(seed).uniform(0.02, 0.09, 300)
    assert sum(dropped(list(steps))) == 0


def test_a_stall_in_a_variable_rate_is_said_once() -> None:
    steps = list(np.random.default_rng(4).uniform(0.02, 0.09, 100))
    steps[60] = 2.0
    assert [i for i, n in enumerate(dropped(steps)) if n] == [60]


@pytest.mark.parametrize("factor", [2, 3, 2.5])
def test_a_new_rate_is_soon_no_drop(factor: float) -> None:
    found = dropped([1 / 30] * 60 + [factor / 30] * 60)
    assert found[:60] == [0] * 60
    assert sum(1 for n in found[60:] if n) <= 3
    assert found[64:] == [0] * 56


def test_times_that_go_back_or_are_missing_are_left_out_and_said() -> None:
    times = [i / 30 for i in range(20)]
    times[10], times[15] = 0.01, float("nan")
    frames, source = play(times)
    assert len(frames) == 18
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(10, 1), (14, 1)]
    assert "pictures left out, their times do not rise: 2 in 2 places, the first at 0.30 s" in source.notes


def test_a_clock_set_back_goes_on_from_there() -> None:
    times = [i / 30 for i in range(30)] * 2
    frames, source = play(times)
    assert frames[-1].time_s == pytest.approx(59 / 30)
    assert len(frames) == 56
    assert any("the clock in the file jumps back at 0.97 s" in note for note in source.notes)


def test_broken_pictures_are_holes_also_where_steps_tell_nothing() -> None:
    times: list[float | None] = list(np.cumsum(np.random.default_rng(6).uniform(0.02, 0.09, 60)))
    times[30] = times[31] = None
    frames, _ = play(times)
    assert [(f.number, f.dropped_before) for f in frames if f.dropped_before] == [(30, 2)]


@pytest.mark.parametrize("late", [0, 3])
def test_a_broken_picture_is_told_once_and_not_again_as_missing(late: int) -> None:
    times: list[float | None] = [i / 30 for i in range(60)]
    del times[30:32]
    times[30 - late : 30 - late] = [None, None]  # a decoder may say so some pictures early
    frames, source = play(times)
    assert sum(f.dropped_before for f in frames) == 2
    (note,) = source.notes
    assert note.startswith("pictures that cannot be decoded: 2 in 1 place")


def test_only_what_is_missing_beyond_the_broken_pictures_is_told_as_missing() -> None:
    times: list[float | None] = [i / 30 for i in range(120)]
    del times[100:103]
    times[30] = None
    times[60:62] = [None]
    frames, source = play(times)
    assert [f.dropped_before for f in frames if f.dropped_before] == [1, 2, 3]
    assert source.notes == (
        "pictures that cannot be decoded: 2 in 2 places, the first at 0.97 s",
        "missing frames: 4 in 2 places, the first at 2.07 s",
    )


def test_repeats_in_a_row_are_one_place() -> None:
    source = FileSource(Script([i / 30 for i in range(40)], repeats={*range(10, 20), 30}), "script")
    assert sum(frame.repeated for frame in source) == 11
    assert source.notes == ("repeated frames: 11 in 2 places, the first at 0.33 s",)


@pytest.mark.parametrize(
    ("count", "duration_s", "outcome"),
    [
        (72, 4.0, Outcome.CUT_SHORT),
        (117, 4.0, Outcome.END),
        (120, None, Outcome.END),
        (120, 3.0, Outcome.END),
    ],
)
def test_the_promised_length_decides_what_is_cut_short(count: int, duration_s: float | None, outcome: Outcome) -> None:
    _, source = play([i / 30 for i in range(count)], duration_s)
    assert source.outcome is outcome
    assert source.notes == (("the file seems cut short at 2.4 of 4.0 s",) if outcome is Outcome.CUT_SHORT else ())


def scene(speed: float, noise: float, count: int, seed: int = 0) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    wave = np.arange(160)[None, :] * 0.3 + np.arange(120)[:, None] * 0.2
    return [
        np.clip(128 + 60 * np.sin(wave + speed * i) + rng.normal(0, noise, wave.shape), 0, 255).astype(np.uint8)
        for i in range(count)
    ]


def marks(pictures: Sequence[np.ndarray]) -> list[int]:
    watch = RepeatWatch()
    return [i for i, picture in enumerate(pictures) if watch.repeated(picture)]


@pytest.mark.parametrize(("speed", "noise"), [(0.0, 2.0), (0.0, 0.6), (0.02, 1.0), (1.0, 2.0)])
def test_a_noisy_camera_has_no_repeats(speed: float, noise: float) -> None:
    assert marks(scene(speed, noise, 80)) == []


def test_equal_pictures_are_repeats_only_if_others_differ() -> None:
    moving = scene(0.5, 1.0, 40)
    assert marks([moving[0]] * 40) == []
    assert marks([*moving[:20], *[moving[19]] * 12, *moving[20:]]) == list(range(20, 32))


def test_motion_that_stops_under_a_smoothing_codec_is_no_row_of_repeats() -> None:
    rest = scene(0.0, 0.0, 1)[0]
    pictures = scene(0.5, 1.0, 40)
    for i in range(60):
        still = rest.copy()
        still[i % 120, :8] ^= 1
        pictures.append(still)
    assert len(marks(pictures)) <= 3
