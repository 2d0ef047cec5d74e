"""Where the bed fills the picture: a jolt moves all of it at once, powder never does."""

from __future__ import annotations

import numpy as np
import pytest

from bedwatch.aim.following.jolt import Jolt
from bedwatch.frames.cv import cv2

ROWS, COLS = 360, 480


def lively(step: int, right: float = 0.0, down: float = 0.0) -> np.ndarray:
    """Powder of which every place takes its own way: the pattern is another one after ten frames."""
    noise = []
    for seed in (step // 10, step // 10 + 1):
        grain = np.random.default_rng(seed).normal(size=(ROWS, COLS)).astype(np.float32)
        grain = cv2.GaussianBlur(grain, (0, 0), 3.0)
        noise.append(grain / grain.std())
    part = (step % 10) / 10
    light = 120 + 15 * (np.sqrt(1 - part) * noise[0] + np.sqrt(part) * noise[1])
    there = np.array([[1, 0, right], [0, 1, down]], np.float64)
    light = cv2.warpAffine(light, there, (COLS, ROWS), borderMode=cv2.BORDER_REFLECT)
    return np.clip(light + np.random.default_rng(1000 + step).normal(0, 2, light.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("knock", [(4.0, 0.0), (-5.0, 6.0), (0.0, 20.0)])
def test_a_jolt_is_seen_in_its_frame_and_once(knock: tuple[float, float]) -> None:
    jolt = Jolt()
    found = [jolt.add(lively(step, *(knock if step >= 40 else (0.0, 0.0)))) for step in range(70)]
    assert [step for step, jump in enumerate(found) if jump is not None] == [40]
    jump = found[40]
    assert jump is not None
    # A third of a pixel of the small picture, three wide, and what the powder itself did.
    assert np.hypot(jump[0] - knock[0], jump[1] - knock[1]) < 1.5


def test_powder_alone_gives_none() -> None:
    jolt = Jolt()
    assert all(jolt.add(lively(step)) is None for step in range(90))
