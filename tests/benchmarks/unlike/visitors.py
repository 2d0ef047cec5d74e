"""What comes into the picture: hands, rods, parts, shadows, people. Linear light, drawn in pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from .bed import F

D = NDArray[np.float64]
Kind = Literal["hand", "rod", "part"]


class Visitor(Protocol):
    """Draws itself into the frame at a time; gives its mask when it covers things, else None."""

    def draw(self, frame: F, t: float) -> F | None: ...


def _ease(t: float, since: float, until: float, ramp: float) -> float:
    x = min((t - since) / ramp, (until - t) / ramp)
    x = min(max(x, 0.0), 1.0)
    return x * x * (3 - 2 * x)


@dataclass(slots=True)
class Limb:
    """A hand, a rod or a part on its hook reaching over the bed and leaving again."""

    kind: Kind
    since: float
    until: float
    target: tuple[float, float]
    come_from_deg: float
    scale: float
    tone: tuple[float, float, float]
    seed: int
    _sprite: F | None = None
    _mask: F | None = None

    def _make(self) -> None:
        n, s = 700, self.scale
        rng = np.random.default_rng(self.seed)
        m = np.zeros((n, n), np.uint8)
        c = n // 2
        if self.kind == "hand":
            w = 34 * s
            cv2.fillPoly(
                m,
                [
                    np.array(
                        [
                            [c - 70 * s, c - 0.75 * w],
                            [c - 70 * s, c + 0.75 * w],
                            [-60, c + 1.3 * w],
                            [-60, c - 1.3 * w],
                        ],
                        np.int32,
                    )
                ],
                255,
            )
            cv2.ellipse(m, (int(c - 45 * s), c), (int(48 * s), int(40 * s)), 0, 0, 360, 255, -1)
            for k, (a, length) in enumerate(((-0.75, 62), (-0.22, 88), (-0.02, 96), (0.18, 90), (0.42, 72))):
                p = np.array([c - 30 * s, c + (k - 2) * 17 * s])
                q = p + s * length * np.array([math.cos(a), math.sin(a)]) * rng.uniform(0.8, 1)
                cv2.line(m, tuple(p.astype(int).tolist()), tuple(q.astype(int).tolist()), 255, max(2, int(17 * s)))
        elif self.kind == "rod":
            cv2.line(m, (-60, c), (c, c), 255, max(3, int(14 * s)))
        else:
            cv2.line(m, (-60, c), (c, c), 255, max(2, int(5 * s)))
            p = np.array([[-10, -42], [60, -38], [75, -8], [60, 30], [-5, 44], [-20, 10]]) * s + c
            cv2.fillPoly(m, [p.astype(np.int32)], 255)
            cv2.circle(m, (int(c + 22 * s), c), max(2, int(11 * s)), 0, -1)
        soft = cv2.GaussianBlur(m.astype(np.float32) / 255, (0, 0), 0.9)
        body = cv2.GaussianBlur(m.astype(np.float32) / 255, (0, 0), 10 * s)
        grain = cv2.GaussianBlur(rng.standard_normal((n, n)).astype(np.float32), (0, 0), 2.5)
        self._mask = soft
        self._sprite = ((0.35 + 0.75 * body + 0.25 * grain)[..., None] * np.array(self.tone)).astype(np.float32)

    def draw(self, frame: F, t: float) -> F | None:
        if not self.since - 0.6 < t < self.until + 0.6:
            return None
        if self._mask is None:
            self._make()
        assert self._mask is not None
        assert self._sprite is not None
        h, w = frame.shape[:2]
        inside = _ease(t, self.since - 0.4, self.until + 0.4, 0.7)
        a = math.radians(self.come_from_deg)
        out = (1 - inside) * 1.1 * max(h, w)
        wobble = 0.07 * h * inside
        x = self.target[0] + out * math.cos(a) + wobble * math.sin(4.1 * t + self.seed)
        y = self.target[1] + out * math.sin(a) + wobble * math.cos(3.3 * t)
        turn = a + math.pi + 0.12 * math.sin(1.7 * t)
        c, s = math.cos(turn), math.sin(turn)
        n = self._mask.shape[0] / 2
        m = np.array([[c, -s, x - c * n + s * n], [s, c, y - s * n - c * n]])
        mask = cv2.warpAffine(self._mask, m, (w, h), borderMode=cv2.BORDER_REPLICATE)
        colour = cv2.warpAffine(self._sprite, m, (w, h), borderMode=cv2.BORDER_REPLICATE)
        m[:, 2] += np.array([0.05, 0.07]) * h
        small = cv2.warpAffine(self._mask, m / 4, (w // 4, h // 4), borderMode=cv2.BORDER_REPLICATE)
        shade = cv2.resize(cv2.GaussianBlur(small, (0, 0), 3.0), (w, h))
        frame *= (1 - 0.45 * shade)[..., None]
        frame += (colour - frame) * mask[..., None]
        return np.asarray(mask)


@dataclass(slots=True)
class Shadow:
    """A soft shadow that passes over everything."""

    since: float
    until: float
    depth: float
    angle_deg: float

    def draw(self, frame: F, t: float) -> F | None:
        if not self.since < t < self.until:
            return None
        h, w = frame.shape[:2]
        a = math.radians(self.angle_deg)
        x, y = np.meshgrid(np.linspace(-1, 1, w // 4), np.linspace(-h / w, h / w, h // 4))
        at = -1.8 + 3.6 * (t - self.since) / (self.until - self.since)
        d = (x * math.cos(a) + y * math.sin(a) - at) / 0.35
        shade = cv2.resize((1 - self.depth * np.exp(-(d**2))).astype(np.float32), (w, h))
        frame *= shade[..., None]
        return None


@dataclass(slots=True)
class Passer:
    """Somebody walking beside the bed: moves outside the tub, dims the light a little."""

    since: float
    until: float
    keep_clear: F
    tone: tuple[float, float, float]
    side: int

    def draw(self, frame: F, t: float) -> F | None:
        if not self.since < t < self.until:
            return None
        h, w = frame.shape[:2]
        p = (t - self.since) / (self.until - self.since)
        x = int((-0.2 + 1.4 * p) * w) if self.side < 2 else int((0.02 if self.side == 2 else 0.98) * w)
        y = int((0.02 if self.side == 0 else 0.98) * h) if self.side < 2 else int((-0.2 + 1.4 * p) * h)
        m = np.zeros((h, w), np.float32)
        cv2.ellipse(m, (x, y), (int(0.13 * h), int(0.2 * h)), 20 * math.sin(5 * t), 0, 360, 1.0, -1)
        cv2.circle(m, (x + int(0.1 * h * math.sin(6 * t)), y + int(0.13 * h)), int(0.06 * h), 1.0, -1)
        m = cv2.GaussianBlur(m, (0, 0), 1.5) * self.keep_clear
        frame += (np.array(self.tone, np.float32) - frame) * m[..., None]
        frame *= np.float32(1 - 0.05 * math.sin(math.pi * p))
        return None
