"""From linear light to coded pictures: exposure, flicker, shake, haze, noise, gamma, codec."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from .bed import F
from .motion import noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """Everything the camera adds. Times in s, shake in px, flicker as a share."""

    fps: float = 30.0
    codec: str = "MJPG"
    quality: int = 85
    shot: float = 0.006
    read: float = 0.0025
    flicker: float = 0.0
    flicker_hz: float = 100.0
    rolling_s: float = 0.0
    shake_px: float = 0.0
    haze: float = 0.0
    steps: tuple[tuple[float, float], ...] = ()
    hunting: float = 0.0
    blur_px: float = 0.0

    @property
    def suffix(self) -> str:
        return ".mp4" if self.codec == "mp4v" else ".avi"


class Film:
    """Takes linear frames, writes the clip."""

    def __init__(self, path: Path, size: tuple[int, int], sensor: Sensor, gain: float, seed: int) -> None:
        self.sensor, self.gain = sensor, gain
        self.rng = np.random.default_rng(seed)
        w, h = size
        self._size = size
        bank = self.rng.standard_normal((5, h + 48, w + 48, 3)).astype(np.float32)
        self._bank = [0.85 * b + 0.75 * cv2.GaussianBlur(b, (0, 0), 0.9) for b in bank]
        self._shake = np.zeros(4)
        self._veil = noise(self.rng, (h // 4 + 160, w // 4 + 160), 24)
        self._writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*sensor.codec), sensor.fps, size)
        if not self._writer.isOpened():
            raise OSError(f"cannot write {path}")
        if sensor.codec == "MJPG":
            self._writer.set(cv2.VIDEOWRITER_PROP_QUALITY, sensor.quality)

    def shift(self) -> tuple[float, float]:
        """Where shake has moved the picture in this frame, px."""
        k = self.sensor.shake_px
        if not k:
            return 0.0, 0.0
        dt = 1 / self.sensor.fps
        w = 2 * math.pi * 6.5
        pos, vel = self._shake[:2], self._shake[2:]
        for _ in range(4):
            vel += (-(w**2) * pos - 3.0 * vel) * dt / 4 + k * w * 2.4 * self.rng.standard_normal(2) * math.sqrt(dt / 4)
            pos += vel * dt / 4
        return float(pos[0]), float(pos[1])

    def add(self, frame: F, t: float) -> None:
        s = self.sensor
        w, h = self._size
        gain = self.gain
        for at, factor in s.steps:
            if t >= at:
                gain *= factor ** min(1.0, (t - at) / 0.25)
        gain *= 1 + s.hunting * math.sin(2 * math.pi * 0.45 * t) * (1 if math.sin(0.7 * t) > -0.3 else 0.2)
        light = frame * np.float32(gain)
        if s.haze:
            ox, oy = int(80 + 70 * math.sin(0.31 * t)), int(80 + 70 * math.cos(0.23 * t))
            veil = cv2.resize(self._veil[oy : oy + h // 4, ox : ox + w // 4], (w, h))
            a = (s.haze * (1 + 0.25 * veil)).clip(0, 0.9)[..., None]
            light = light * (1 - a) + np.float32(0.42) * a
        if s.flicker:
            row = np.arange(h, dtype=np.float32) / h * s.rolling_s
            wave = 1 + s.flicker * np.sin(2 * math.pi * s.flicker_hz * (t * 1.0003 + row) + 1.0)
            light *= wave[:, None, None].astype(np.float32)
        if s.blur_px:
            light = cv2.GaussianBlur(light, (0, 0), s.blur_px)
        b = self._bank[int(self.rng.integers(len(self._bank)))]
        oy, ox = self.rng.integers(0, 48, 2)
        n = b[oy : oy + h, ox : ox + w]
        if self.rng.uniform() < 0.5:
            n = n[:, ::-1]
        light += n * cv2.sqrt(np.maximum(light, 0) * np.float32(s.shot**2) + np.float32(s.read**2))
        picture = cv2.pow(np.clip(light, 0, 1), 1 / 2.2)
        self._writer.write(cv2.convertScaleAbs(picture, alpha=255))

    def close(self) -> None:
        self._writer.release()
