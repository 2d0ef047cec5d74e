"""What goes wrong between a bed and its pictures: each trouble takes a clear picture and a time and gives another.

Pictures are (h, w, 3) coded values before noise (`BedSource.clear_at`); `BedSource.develop` adds the noise afterwards, as a
sensor would. A change of light by a factor f changes coded values by f ** (1 / gamma).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Frame

Image = NDArray[np.float32]


class Trouble(Protocol):
    """Something that spoils pictures."""

    def spoil(self, clear: Image, time_s: float) -> Image:
        """The picture as it becomes; the one given is left as it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Defocus:
    """Blur by a disc of that diameter from start_s on, coming over over_s; zoom: how much larger the picture gets with it."""

    disc_px: float
    start_s: float = -1e9
    over_s: float = 0.0
    zoom: float = 0.0

    def spoil(self, clear: Image, time_s: float) -> Image:
        share = _ramp(time_s, self.start_s, self.over_s)
        size = self.disc_px * share
        if self.zoom and share:
            clear = _warp(clear, zoom_matrix((clear.shape[1], clear.shape[0]), 1 + self.zoom * share))
        if size < 1.0:
            return clear
        side = 2 * math.ceil(size / 2) + 1
        offset = np.arange(side) - side // 2
        kernel = np.clip(size / 2 + 0.5 - np.hypot(*np.meshgrid(offset, offset)), 0, 1)
        return np.asarray(cv2.filter2D(clear, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """So many times the light."""

    times: float
    gamma: float = 2.0

    def spoil(self, clear: Image, time_s: float) -> Image:  # noqa: ARG002
        return np.asarray(clear * np.float32(self.times ** (1 / self.gamma)), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hunting:
    """Automatic exposure that swings: the light goes up and down by depth (share) over period_s."""

    depth: float
    period_s: float = 3.0
    gamma: float = 2.0

    def spoil(self, clear: Image, time_s: float) -> Image:
        swing = 1 + self.depth * math.sin(2 * math.pi * time_s / self.period_s)
        return np.asarray(clear * np.float32(swing ** (1 / self.gamma)), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flicker:
    """Lamps on the mains: light 1 + depth cos(4 pi f t), each row read a little later than the one above.

    mains_hz: f; the light goes at twice that. readout_s: from the first row to the last. exposure_s averages it.
    """

    depth: float
    mains_hz: float = 50.0
    readout_s: float = 0.02
    exposure_s: float = 0.004
    gamma: float = 2.0

    def spoil(self, clear: Image, time_s: float) -> Image:
        row = np.arange(clear.shape[0]) / clear.shape[0]
        omega = 4 * math.pi * self.mains_hz
        held = self.depth * float(np.sinc(2 * self.mains_hz * self.exposure_s))
        light = 1 + held * np.cos(omega * (time_s + self.readout_s * row))
        return np.asarray(clear * np.power(light, 1 / self.gamma).astype(np.float32)[:, None, None], np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Haze:
    """A veil of one tone over everything: share of it in each pixel, level its coded brightness."""

    share: float
    level: float = 130.0

    def spoil(self, clear: Image, time_s: float) -> Image:  # noqa: ARG002
        return np.asarray(clear * np.float32(1 - self.share) + np.float32(self.share * self.level), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloud:
    """Thrown-up powder that drifts over: patches of share up to `share`, from start_s until end_s."""

    share: float
    level: float = 170.0
    start_s: float = 2.0
    end_s: float = 4.5
    drift_px_s: float = 60.0
    seed: int = 0

    def spoil(self, clear: Image, time_s: float) -> Image:
        strength = _ramp(time_s, self.start_s, 0.3) * (1 - _ramp(time_s, self.end_s, 0.8))
        if strength <= 0:
            return clear
        height, width = clear.shape[:2]
        sheet = cv2.resize(_patches(self.seed, 24), (2 * width, 2 * height), interpolation=cv2.INTER_CUBIC)
        right = round(self.drift_px_s * (time_s - self.start_s)) % width
        view = sheet[height // 3 : height // 3 + height, right : right + width]
        v, u = np.mgrid[-1 : 1 : complex(0, height), -1 : 1 : complex(0, width)].astype(np.float32)
        veil = np.clip(0.55 + 0.25 * view, 0, 1) * np.exp(-0.8 * (u * u + v * v)) * np.float32(self.share * strength)
        return np.asarray(clear + veil[..., None] * (np.float32(self.level) - clear), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Specks:
    """Dust on the lens: soft round blots that stand still in the picture, and a faint veil.

    depth: share of light the darkest takes; sizes between 1.5 and 5 % of the picture's height.
    """

    count: int
    depth: float
    veil: float = 0.05
    level: float = 140.0
    seed: int = 0

    def spoil(self, clear: Image, time_s: float) -> Image:  # noqa: ARG002
        lost = _blots(self.count, self.depth, self.seed, clear.shape[1], clear.shape[0])[..., None]
        return np.asarray(
            clear * (1 - lost) * np.float32(1 - self.veil) + np.float32(self.veil * self.level), np.float32
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shake:
    """A camera that trembles: root mean square so many pixels, about hz times a second."""

    rms_px: float
    hz: float = 6.0
    seed: int = 0

    def place(self, time_s: float) -> tuple[float, float]:
        rng = np.random.default_rng([self.seed, 9])
        rates, turns = self.hz * rng.uniform(0.7, 1.3, (2, 3)), rng.uniform(0, 2 * math.pi, (2, 3))
        right, down = (self.rms_px / math.sqrt(3) * np.sin(2 * math.pi * rates * time_s + turns)).sum(axis=1)
        return float(right), float(down)

    def spoil(self, clear: Image, time_s: float) -> Image:
        right, down = self.place(time_s)
        return _warp(clear, np.array([[1, 0, right], [0, 1, down], [0, 0, 1.0]]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """The picture moves by right_px, down_px and turns, at start_s, over over_s: a jolt, or a slow creep.

    ringing: a jolt swings on by so much of itself, dying away within half a second.
    """

    right_px: float
    down_px: float
    turn_deg: float = 0.0
    start_s: float = 3.0
    over_s: float = 0.1
    ringing: float = 0.0

    def matrix(self, size_px: tuple[int, int], time_s: float) -> NDArray[np.float64]:
        """(3, 3) from where a pixel was to where it is; size_px: (width, height)."""
        share = _ramp(time_s, self.start_s, self.over_s)
        after = time_s - self.start_s - self.over_s
        if self.ringing and after > 0:
            share += self.ringing * math.exp(-after / 0.15) * math.sin(2 * math.pi * 8 * after)
        turn = math.radians(self.turn_deg * share)
        c, s = math.cos(turn), math.sin(turn)
        u, v = (size_px[0] - 1) / 2, (size_px[1] - 1) / 2
        return np.array([[c, -s, u - c * u + s * v + self.right_px * share], [s, c, v - s * u - c * v + self.down_px * share],
                         [0, 0, 1.0]])  # fmt: skip

    def spoil(self, clear: Image, time_s: float) -> Image:
        if time_s < self.start_s:
            return clear
        return _warp(clear, self.matrix((clear.shape[1], clear.shape[0]), time_s))


def zoom_matrix(size_px: tuple[int, int], times: float) -> NDArray[np.float64]:
    """(3, 3) larger about the picture's centre."""
    u, v = (size_px[0] - 1) / 2, (size_px[1] - 1) / 2
    return np.array([[times, 0, u - times * u], [0, times, v - times * v], [0, 0, 1.0]])


def slowed(frames: Iterable[Frame], every: int) -> Iterator[Frame]:
    """One frame of `every`, as from a camera that gives no more."""
    for number, frame in enumerate(frame for k, frame in enumerate(frames) if k % every == 0):
        yield replace(frame, number=number)


def with_gaps(frames: Iterable[Frame], share: float, *, repeated: bool, seed: int = 0) -> Iterator[Frame]:
    """Frames of which a share is missing, or is the one before over again."""
    rng = np.random.default_rng([seed, 12])
    missing, number = 0, 0
    last: Frame | None = None
    for frame in frames:
        if last is not None and rng.random() < share:
            if repeated:
                yield replace(frame, picture=last.picture, number=number, repeated=True)
                number += 1
            else:
                missing += 1
            continue
        last = replace(frame, number=number, dropped_before=missing)
        missing, number = 0, number + 1
        yield last


def _ramp(time_s: float, start_s: float, over_s: float) -> float:
    """0 before, 1 after, smooth in between."""
    if time_s < start_s:
        return 0.0
    t = min(1.0, (time_s - start_s) / over_s) if over_s > 0 else 1.0
    return t * t * (3 - 2 * t)


def _warp(clear: Image, matrix: NDArray[np.float64]) -> Image:
    size = (clear.shape[1], clear.shape[0])
    return np.asarray(
        cv2.warpPerspective(clear, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT), np.float32
    )


def _patches(seed: int, count: int) -> Image:
    return np.random.default_rng([seed, 21]).standard_normal((count, 2 * count), dtype=np.float32)


@lru_cache(maxsize=8)
def _blots(count: int, depth: float, seed: int, width: int, height: int) -> Image:
    rng = np.random.default_rng([seed, 23])
    lost: Image = np.zeros((height, width), np.float32)
    for _ in range(count):
        x, y, radius = rng.uniform(0, width), rng.uniform(0, height), height * rng.uniform(0.015, 0.05)
        u = np.arange(width, dtype=np.float32)[None, :] - np.float32(x)
        v = np.arange(height, dtype=np.float32)[:, None] - np.float32(y)
        edge = np.clip((np.float32(radius) - np.hypot(u, v)) / np.float32(0.5 * radius) + 0.5, 0, 1)
        lost = np.maximum(lost, edge * np.float32(depth * rng.uniform(0.5, 1.0)))
    return lost
