"""Brightness and colour as the decoder gives them, against OpenCV's own decoding of the same files."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bedwatch.frames.cv import cv2
from bedwatch.frames.open import open_source


def coloured(count: int) -> list[np.ndarray]:
    """Soft blobs of every colour, which differ from picture to picture."""
    rng = np.random.default_rng(5)
    return [
        cv2.resize(rng.integers(40, 216, (6, 8, 3), dtype=np.uint8), (160, 120), interpolation=cv2.INTER_CUBIC)
        for _ in range(count)
    ]


@pytest.mark.parametrize(("name", "codec"), [("whole.avi", "mjpeg"), ("limited.mp4", "libx264")])
def test_brightness_and_colour_are_those_of_another_decoder(
    name: str, codec: str, tmp_path: Path, clips: SimpleNamespace
) -> None:
    path = clips.encode(tmp_path / name, coloured(5), codec=codec)
    capture, seen = cv2.VideoCapture(str(path)), 0
    v, u = np.mgrid[4:116:7, 4:156:9]
    for frame in open_source(str(path)):
        done, picture = capture.read()
        assert done
        assert frame.planes is not None
        assert frame.picture.shape == (120, 160)
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(float)
        assert np.abs(frame.picture - grey).max() <= 3
        assert np.abs(frame.coloured().astype(float) - picture).mean() < 1.5
        single = frame.colours(np.stack([u, v], axis=-1).astype(np.int16))
        assert np.abs(single.astype(float) - picture[v, u]).mean() < 3.0
        seen += 1
    assert seen == 5


def test_what_comes_without_colour_planes_is_read_in_another_way(tmp_path: Path, clips: SimpleNamespace) -> None:
    pictures = clips.grain(4)
    path = tmp_path / "plain.avi"
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*"FFV1"), 25.0, (160, 120))
    for picture in pictures:
        writer.write(picture)
    writer.release()
    frames = list(open_source(str(path)))
    assert [frame.planes for frame in frames] == [None] * 4
    assert all(np.array_equal(frame.coloured(), picture) for frame, picture in zip(frames, pictures, strict=True))
