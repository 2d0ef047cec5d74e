"""Frames that nobody wants are told, not decoded, where no other one hangs on them; all else is as if they had been."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from bedwatch.frames.ahead import Ahead
from bedwatch.frames.frame import Frame, Passed
from bedwatch.frames.open import open_source
from bedwatch.frames.reel import FileSource

COUNT = 40
SERVING = (0, 1, 4)


def wants(number: int) -> bool:
    return number % 5 in SERVING


def moments(path: Path) -> list[Frame | Passed]:
    source = open_source(str(path))
    assert isinstance(source, FileSource)
    return list(source.moments(wants))


def test_what_is_not_wanted_has_its_number_and_time_but_no_picture(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "a.avi", clips.grain(COUNT))
    every_one, found = list(open_source(str(path))), moments(path)
    assert [(m.number, m.time_s, m.dropped_before, m.repeated) for m in found] == [
        (frame.number, frame.time_s, frame.dropped_before, frame.repeated) for frame in every_one
    ]
    passed = [m.number for m in found if isinstance(m, Passed)]
    # The first three are read at once, to know that there is a picture.
    assert passed == [number for number in range(3, COUNT) if not wants(number)]
    for frame, moment in zip(every_one, found, strict=True):
        if isinstance(moment, Frame):
            np.testing.assert_array_equal(moment.picture, frame.picture)


def test_reading_ahead_asks_too(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "a.avi", clips.grain(COUNT))
    source = Ahead(open_source(str(path)))
    found = list(source.moments(wants))
    source.close()
    assert [m.number for m in found] == list(range(COUNT))
    assert sum(isinstance(m, Passed) for m in found) == sum(not wants(number) for number in range(3, COUNT))


def test_pictures_that_hang_together_are_all_decoded(tmp_path: Path, clips: SimpleNamespace) -> None:
    path = clips.encode(tmp_path / "a.mp4", clips.grain(COUNT), codec="libx264", bf="3")
    found = moments(path)
    assert len(found) == COUNT
    assert all(isinstance(m, Frame) for m in found)


def test_a_picture_again_is_known_by_its_data(tmp_path: Path, clips: SimpleNamespace) -> None:
    """The 13th picture, which nobody wants, is the 12th again; so is the 22nd the 21st, which are both decoded."""
    pictures = clips.grain(COUNT)
    pictures[12], pictures[22] = pictures[11], pictures[21]
    path = clips.encode(tmp_path / "a.avi", pictures, qmin="3", qmax="3")
    found = moments(path)
    assert isinstance(found[12], Passed)
    assert found[12].repeated
    assert sum(m.repeated for m in found) == sum(frame.repeated for frame in open_source(str(path)))


def test_a_damaged_picture_is_looked_at_all_the_same(tmp_path: Path, clips: SimpleNamespace) -> None:
    """Its end is missing, so that it must not be told as one that is as good as any."""
    path, damaged = clips.encode(tmp_path / "a.avi", clips.grain(COUNT)), tmp_path / "b.avi"
    with av.open(str(path)) as whole, av.open(str(damaged), "w") as cut:
        stream = cut.add_stream_from_template(whole.streams.video[0])
        for number, packet in enumerate(p for p in whole.demux(video=0) if p.size):
            kept = packet
            if number in (12, 13):  # neither is wanted
                data = bytes(packet)
                kept = av.Packet(data[: len(data) // 2] if number == 12 else b"\0" * 40)
                kept.pts, kept.dts, kept.time_base = packet.pts, packet.dts, packet.time_base
            kept.stream = stream
            cut.mux(kept)
    found = {m.number: m for m in moments(damaged)}
    assert isinstance(found[12], Frame)
    assert found[13].dropped_before == 1  # the 14th picture cannot be decoded at all


@pytest.mark.parametrize("cut", [0.5, 0.8])
def test_a_file_cut_short_ends_alike(tmp_path: Path, clips: SimpleNamespace, cut: float) -> None:
    path = clips.encode(tmp_path / "a.avi", clips.grain(COUNT))
    path.write_bytes(path.read_bytes()[: round(cut * path.stat().st_size)])
    whole, passed = open_source(str(path)), open_source(str(path))
    assert isinstance(passed, FileSource)
    frames, found = list(whole), list(passed.moments(wants))
    assert len(found) == len(frames)
    assert passed.outcome is whole.outcome
    assert passed.notes == whole.notes
