"""The kept clip: pictures and times come back as they were, and the powder's grain with them."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from bedwatch.errors import UserError
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame, Picture
from bedwatch.frames.last_seconds import KEPT_S, LastSeconds
from bedwatch.frames.mjpeg_avi import write_mjpeg_avi
from bedwatch.frames.open import open_source

PART = (slice(10, 70), slice(20, 116))


def grainy(number: int) -> Picture:
    """Fine grain, another one each time, with the number as a grey level in a corner of the part."""
    rng = np.random.default_rng(number)
    grain = np.clip(rng.normal(120.0, 12.0, (90, 140, 1)), 0, 255).astype(np.uint8)
    picture = np.repeat(grain, 3, axis=2)
    picture[10:26, 20:36] = 8 * number % 256
    return picture


def frame(number: int, time_s: float, **changes: bool) -> Frame:
    return Frame(picture=grainy(number), time_s=time_s, number=number, **changes)


def test_a_kept_clip_has_the_part_and_the_times(tmp_path: Path) -> None:
    kept = LastSeconds(PART)
    # 25/s with two frames missing and arrival times that jitter by a few milliseconds
    times_s = [0.04 * slot + 0.004 * (slot % 3 - 1) for slot in range(27) if slot not in (9, 10)]
    for number, time_s in enumerate(times_s):
        kept.add(frame(number, time_s))
    path = tmp_path / "kept.avi"
    assert kept.write(path) == pytest.approx(times_s[-1] - times_s[0])
    source = open_source(str(path))
    frames = list(source)
    assert source.size_px == (96, 60)
    assert len(frames) == len(times_s)
    # A slot is 40 ms and a frame stands in the nearest one: at most the jitter off.
    np.testing.assert_allclose([f.time_s for f in frames], np.array(times_s) - times_s[0], atol=0.009)
    assert sum(f.dropped_before for f in frames) == 2
    for number, one in enumerate(frames):
        assert one.picture[4:12, 4:12].mean() == pytest.approx(8 * number % 256, abs=3)


def test_another_reader_sees_the_same_times(tmp_path: Path) -> None:
    shots = [(0.05 * n, cv2.imencode(".jpg", grainy(n))[1].tobytes()) for n in range(12) if n != 5]
    path = tmp_path / "kept.avi"
    write_mjpeg_avi(path, (140, 90), shots)
    with av.open(str(path)) as clip:
        seen = [float(picture.time) for picture in clip.decode(video=0) if picture.time is not None]
    np.testing.assert_allclose(seen, [time_s for time_s, _ in shots], atol=1e-3)


def test_the_grain_survives(tmp_path: Path) -> None:
    kept = LastSeconds(PART)
    for number in range(3):
        kept.add(frame(number, 0.1 * number))
    kept.write(tmp_path / "kept.avi")
    for number, one in enumerate(open_source(str(tmp_path / "kept.avi"))):
        before = grainy(number)[PART][20:, 20:].astype(float).mean(axis=2)
        after = one.coloured()[20:, 20:].astype(float).mean(axis=2)
        # Grain as fine as one pixel is the hardest; none of it may be taken for noise.
        assert np.corrcoef(before.ravel(), after.ravel())[0, 1] > 0.95
        assert after.std() == pytest.approx(before.std(), rel=0.05)


def test_only_the_last_seconds_are_kept_and_repeats_left_out(tmp_path: Path) -> None:
    kept = LastSeconds(PART)
    for number in range(60):
        kept.add(frame(number, 1.0 * number, repeated=number == 58))
    assert kept.write(tmp_path / "kept.avi") == pytest.approx(KEPT_S)
    assert len(list(open_source(str(tmp_path / "kept.avi")))) == 30


def test_nothing_to_keep_is_said_and_nothing_written(tmp_path: Path) -> None:
    kept = LastSeconds(PART)
    kept.add(frame(0, 0.0))
    with pytest.raises(UserError, match="no pictures yet"):
        kept.write(tmp_path / "kept.avi")
    assert list(tmp_path.iterdir()) == []
