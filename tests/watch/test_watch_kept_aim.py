"""An aim kept from another day: gone by while the camera stands, left when it has moved, a way out when nothing is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bedwatch import watch as watching
from bedwatch.aim.kept import apart_mm, settled
from bedwatch.aim.types import Aim, Ellipse, NotFound
from bedwatch.bed import Bed, ring_zones
from bedwatch.frames.frame import Frame
from bedwatch.judge.types import State
from bedwatch.watch import Watch

BED = Bed(
    name="Gate-latch bed",
    shape="round",
    width_mm=420.0,
    length_mm=420.0,
    surface_below_rim_mm=80.0,
    zones=ring_zones((1, 6), 210.0),
)
SIZE_PX = (320, 240)
REFUSAL = NotFound(reason="no rim", advice="Light the rim.")


def aim_at(u: float, size_px: tuple[int, int] | None = SIZE_PX) -> Aim:
    return Aim(
        surface=Ellipse(centre_px=(u, 120.0), axes_px=(105.0, 105.0), angle_deg=0.0),
        rim=None,
        bed_to_picture=np.array([[0.5, 0.0, u], [0.0, -0.5, 120.0], [0.0, 0.0, 1.0]]),
        mm_per_px=2.0,
        size_px=size_px,
    )


def frames(count: int, start: int = 0) -> list[Frame]:
    rng = np.random.default_rng(1)
    return [
        Frame(picture=rng.integers(90, 150, (240, 320), np.uint8), time_s=0.1 * n, number=n)
        for n in range(start, start + count)
    ]


@pytest.fixture
def finds(monkeypatch: pytest.MonkeyPatch) -> list[Aim | NotFound]:
    """What the search gives, one after the other; the last for ever."""
    given: list[Aim | NotFound] = []
    monkeypatch.setattr(watching, "find_bed", lambda *_: given.pop(0) if len(given) > 1 else given[0])
    return given


def test_how_far_apart_two_aims_are() -> None:
    # One pixel is 2 mm here.
    assert apart_mm(aim_at(160.0), aim_at(162.0), BED) == pytest.approx(4.0)
    assert settled(aim_at(162.0), aim_at(160.0), BED, SIZE_PX).bed_to_picture[0, 2] == 160.0
    assert settled(aim_at(164.0), aim_at(160.0), BED, SIZE_PX).bed_to_picture[0, 2] == 164.0
    assert settled(aim_at(162.0), aim_at(160.0, (640, 480)), BED, SIZE_PX).bed_to_picture[0, 2] == 162.0


@pytest.mark.parametrize(("now", "by"), [(161.0, 160.0), (170.0, 170.0)])
def test_a_kept_aim_holds_while_the_camera_stands(finds: list[Aim | NotFound], now: float, by: float) -> None:
    finds.append(aim_at(now))
    watch = Watch(BED, kept=aim_at(160.0))
    for frame in frames(15):
        watch.step(frame)
    assert watch.aim is not None
    assert watch.aim.bed_to_picture[0, 2] == by


def test_a_kept_aim_is_the_way_out_when_the_bed_is_not_found(finds: list[Aim | NotFound]) -> None:
    finds.append(REFUSAL)
    kept = aim_at(160.0)
    watch = Watch(BED, kept=kept)
    for frame in frames(45):
        watch.step(frame)
    assert watch.aim is kept
    assert watch.not_found is None
    other = Watch(BED, kept=replace(kept, size_px=(640, 480)))
    for frame in frames(45):
        other.step(frame)
    assert other.not_found is REFUSAL


def test_looking_again_says_what_was_wrong_until_the_bed_is_found(finds: list[Aim | NotFound]) -> None:
    finds.extend([REFUSAL, REFUSAL, REFUSAL, aim_at(160.0)])
    watch = Watch(BED)
    for frame in frames(45):
        watch.step(frame)
        if watch.not_found is not None:
            break
    assert watch.not_found is REFUSAL
    watch.look_again()
    assert watch.not_found is None
    seen = [watch.step(frame) for frame in frames(25, 45)]
    told = [reading for reading in seen if reading is not None]
    assert told
    assert all(reading.state is State.NO_PICTURE for reading in told)
    assert all("no rim" in problem.advice for reading in told for problem in reading.problems[-1:])
    for frame in frames(25, 70):
        last = watch.step(frame)
        told += [] if last is None else [last]
    assert watch.aim is not None
    assert told[-1].state is not State.NO_PICTURE
