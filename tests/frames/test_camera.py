"""Setting a camera up, on a stand-in whose pictures follow its controls as a real one's would, good manners or bad."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bedwatch.commands.cameras import look, name_of, numbers, words
from bedwatch.frames.camera import CameraStart, set_up, tone_of
from bedwatch.frames.cv import cv2

STEP_S = 1 / 30


class Camera:
    """Automatic until told otherwise. kept: the exposure that `by hand` falls back to, None for the present one; drops:
    properties it refuses; warm, blurs: what white balance and focus by hand do to its picture."""

    def __init__(
        self, *, kept: float | None = None, refuses: tuple[int, ...] = (), warm: float = 1.0, blurs: bool = False
    ) -> None:
        self.kept, self.refuses, self.warm, self.blurs = kept, refuses, warm, blurs
        self.by_hand = {cv2.CAP_PROP_AUTO_EXPOSURE: 3.0, cv2.CAP_PROP_AUTO_WB: 1.0, cv2.CAP_PROP_AUTOFOCUS: 1.0}
        self.exposure = 156.0
        self.dead = False
        self.stuck = False  # whether exposure by hand does nothing
        self.asked: list[int] = []
        self.now_s = 0.0
        self.grain = np.random.default_rng(1).normal(0.0, 8.0, (72, 128, 1))

    def clock(self) -> float:
        return self.now_s

    def isOpened(self) -> bool:  # noqa: N802
        return not self.dead

    def release(self) -> None:
        self.dead = True

    def get(self, what: int) -> float:
        return {cv2.CAP_PROP_FRAME_WIDTH: 128.0, cv2.CAP_PROP_FRAME_HEIGHT: 72.0}.get(what, self.exposure)

    def set(self, what: int, value: float) -> bool:
        self.asked.append(what)
        if what in self.refuses:
            return False
        if what in self.by_hand:
            if what == cv2.CAP_PROP_AUTO_EXPOSURE and value == 1.0 and self.kept is not None:
                self.exposure = self.kept
            elif what == cv2.CAP_PROP_AUTO_EXPOSURE and value == 3.0:
                self.exposure = 156.0
            self.by_hand[what] = value
        elif what == cv2.CAP_PROP_EXPOSURE and not self.stuck:
            self.exposure = float(np.clip(round(value), 3, 2000))  # drivers clamp
        return True

    def read(self) -> tuple[bool, object]:
        self.now_s += STEP_S
        colour = np.array([0.9, 1.0, 1.1])
        grain = self.grain
        if self.by_hand[cv2.CAP_PROP_AUTO_WB] == 0.0:
            colour = colour * [1.0, 1.0, self.warm]
        if self.by_hand[cv2.CAP_PROP_AUTOFOCUS] == 0.0 and self.blurs:
            grain = cv2.GaussianBlur(grain, (0, 0), 2.0)[..., None]
        light = (120.0 + grain) * self.exposure / 156.0
        return not self.dead, np.clip(light * colour, 0, 255).astype(np.uint8)


def told(camera: Camera, platform: str = "linux") -> str:
    found = set_up(camera, platform, camera.clock)
    assert found is not None
    return found


def bright(camera: Camera) -> float:
    return tone_of(np.asarray(camera.read()[1], np.uint8)).brightness


def test_what_stays_the_same_is_locked() -> None:
    camera = Camera()
    assert told(camera) == "128 x 72 px; locked, and the picture stayed the same: exposure, white balance, focus"


@pytest.mark.parametrize("kept", [30.0, 60.0, 300.0])
def test_an_exposure_that_jumps_is_brought_back_to_what_it_was(kept: float) -> None:
    camera = Camera(kept=kept)
    before = bright(camera)
    assert "same: exposure" in told(camera)
    assert camera.by_hand[cv2.CAP_PROP_AUTO_EXPOSURE] == 1.0
    # Within what is taken for the same picture, 15 %.
    assert bright(camera) == pytest.approx(before, rel=0.15)


def test_a_lock_that_spoils_the_picture_is_undone_and_said() -> None:
    camera = Camera(kept=3.0, warm=1.6, blurs=True)
    camera.stuck = True
    before = bright(camera)
    assert told(camera).endswith(
        "locked, and the picture stayed the same: nothing; left automatic: exposure, white balance, focus"
    )
    assert bright(camera) == pytest.approx(before, rel=0.01)
    assert camera.by_hand == {
        cv2.CAP_PROP_AUTO_EXPOSURE: 3.0,
        cv2.CAP_PROP_AUTO_WB: 1.0,
        cv2.CAP_PROP_AUTOFOCUS: 1.0,
    }


def test_what_the_driver_refuses_is_left_and_said() -> None:
    camera = Camera(refuses=(cv2.CAP_PROP_AUTOFOCUS, cv2.CAP_PROP_AUTO_WB))
    assert told(camera).endswith("same: exposure; left automatic: white balance, focus")
    assert "exposure" not in told(Camera(), "darwin").partition(";")[2].partition(";")[0]


def test_the_format_is_asked_for_before_the_size_and_again_after_it_came_back() -> None:
    cameras = [Camera(), Camera(kept=30.0)]
    made = iter(cameras)
    start = CameraStart(2, lambda _: next(made), platform="linux", clock=lambda: cameras[0].now_s + cameras[1].now_s)
    for camera in cameras:
        assert start() is camera
        assert camera.asked[:3] == [cv2.CAP_PROP_FOURCC, cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT]
    assert start.told() == (
        "camera 2: 128 x 72 px; locked, and the picture stayed the same: exposure, white balance, focus",
    )


def test_a_camera_that_gives_nothing_is_left_to_the_reader() -> None:
    camera = Camera()
    camera.dead = True
    assert set_up(camera, "linux", camera.clock) is None
    assert look(3, lambda _: camera, camera.clock) is None


def test_a_camera_is_told_by_number_size_rate_and_picture() -> None:
    camera = Camera()
    seen = look(3, lambda _: camera, camera.clock)
    assert seen is not None
    assert camera.dead
    assert seen.per_s == pytest.approx(30.0, rel=0.05)
    assert words(seen).startswith("camera 3")
    assert words(seen).endswith(": 128 x 72 px, 30 pictures a second")


def test_numbers_and_names_come_from_the_system_where_it_has_them(tmp_path: Path) -> None:
    for number, name in ((0, "Shop cam\n"), (10, "\n")):
        (tmp_path / f"video{number}").mkdir()
        (tmp_path / f"video{number}" / "name").write_text(name)
    assert list(numbers(tmp_path)) == [0, 10]
    assert list(numbers(tmp_path / "none")) == [0, 1, 2, 3, 4, 5]
    assert [name_of(number, tmp_path) for number in (0, 10, 4)] == ["Shop cam", None, None]
