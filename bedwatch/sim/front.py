"""What comes between camera and bed, and what light and camera do by themselves: laid over the pictures of another source."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim.playing import MadeSource
from bedwatch.sim.truth import Truth

Colour = tuple[float, float, float]
Image = NDArray[np.float32]


class Disturbance(Protocol):
    """Something that is there from start_s to stop_s (source time)."""

    @property
    def start_s(self) -> float: ...

    @property
    def stop_s(self) -> float: ...

    def lay(self, picture: Image, time_s: float) -> Image:
        """(h, w, 3) the picture with it, 0 to 255."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """A bar with round ends that reaches from a place outside into the picture and stirs about: a rod, an arm, a scoop.

    from_px, to_px: where it comes in, and where its tip is. width_px. stir_px, stir_s: how far and how fast the tip goes to and
    fro across. colour: blue, green, red, 0 to 255.
    """

    from_px: tuple[float, float]
    to_px: tuple[float, float]
    width_px: float
    colour: Colour = (110.0, 140.0, 200.0)
    stir_px: float = 20.0
    stir_s: float = 1.1
    start_s: float = 0.0
    stop_s: float = 1e9

    def lay(self, picture: Image, time_s: float) -> Image:
        a, b = np.array(self.from_px), np.array(self.to_px)
        # In and out within a quarter of a second.
        way = min(1.0, (time_s - self.start_s) / 0.25, (self.stop_s - time_s) / 0.25)
        across = np.array([b[1] - a[1], a[0] - b[0]]) / max(1e-9, float(np.hypot(*(b - a))))
        tip = a + max(0.0, way) * (b - a) + across * self.stir_px * math.sin(2 * math.pi * time_s / self.stir_s)
        cover = np.zeros(picture.shape[:2], np.uint8)
        ends = [np.round(16 * end).astype(int).tolist() for end in (a, tip)]
        cv2.line(cover, ends[0], ends[1], 255, max(1, round(self.width_px)), cv2.LINE_AA, 4)
        share = cv2.GaussianBlur(cover.astype(np.float32) / 255, (0, 0), 0.8)[..., None]
        return np.asarray(picture + share * (np.array(self.colour, np.float32) - picture), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloud:
    """Dust over the whole picture that takes this share of the view, in soft billows that drift."""

    share: float
    colour: Colour = (150.0, 150.0, 150.0)
    start_s: float = 0.0
    stop_s: float = 1e9

    def lay(self, picture: Image, time_s: float) -> Image:
        way = min(1.0, (time_s - self.start_s) / 0.8, (self.stop_s - time_s) / 0.8)
        rng = np.random.default_rng(7)
        small = rng.standard_normal((6, 12)).astype(np.float32)
        billow = cv2.resize(
            np.roll(small, int(2 * time_s), axis=1), picture.shape[1::-1], interpolation=cv2.INTER_CUBIC
        )
        share = np.clip(self.share * max(0.0, way) * (1 + 0.15 * billow), 0, 0.97)[..., None]
        return np.asarray(picture + share * (np.array(self.colour, np.float32) - picture), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light that is stronger by this factor, all over (exposure) or rising from left to right by `lean` (another lamp)."""

    factor: float
    lean: float = 0.0
    start_s: float = 0.0
    stop_s: float = 1e9

    def lay(self, picture: Image, time_s: float) -> Image:  # noqa: ARG002
        along = np.linspace(-1, 1, picture.shape[1], dtype=np.float32)[None, :, None]
        return np.asarray(picture * (self.factor * (1 + self.lean * along)), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Mains light at twice mains_hz through a shutter that reads the rows out in readout_s; share: half swing over mean."""

    mains_hz: float = 50.0
    share: float = 0.04
    readout_s: float = 0.025
    start_s: float = 0.0
    stop_s: float = 1e9

    def lay(self, picture: Image, time_s: float) -> Image:
        rows = np.arange(picture.shape[0], dtype=np.float32)[:, None, None] / picture.shape[0]
        wave = np.sin(4 * math.pi * self.mains_hz * (time_s + rows * self.readout_s))
        return np.asarray(picture * (1 + self.share * wave), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shadow:
    """A soft shadow width_px wide that crosses the picture from left to right between start_s and stop_s."""

    depth: float
    width_px: float
    start_s: float
    stop_s: float

    def lay(self, picture: Image, time_s: float) -> Image:
        width = picture.shape[1]
        at = -self.width_px + (width + 2 * self.width_px) * (time_s - self.start_s) / (self.stop_s - self.start_s)
        gap = (np.arange(width, dtype=np.float32) - at)[None, :, None] / (self.width_px / 2)
        return np.asarray(picture * (1 - self.depth * np.exp(-(gap**4))), np.float32)


class DisturbedSource(MadeSource):
    """The pictures of another make-believe source with disturbances over them. Its truth is that of the other."""

    def __init__(self, source: MadeSource, disturbances: Sequence[Disturbance]) -> None:
        super().__init__(source.size_px, source.duration_s or 0.0, source.fps)
        self._source = source
        self._disturbances = tuple(disturbances)

    @property
    def truth(self) -> Truth:
        return self._source.truth

    def picture_at(self, time_s: float) -> Picture:
        picture = self._source.picture_at(time_s)
        on = [one for one in self._disturbances if one.start_s <= time_s < one.stop_s]
        if not on:
            return picture
        laid: Image = picture.astype(np.float32)
        for one in on:
            laid = one.lay(laid, time_s)
        made = np.asarray(np.clip(np.rint(laid), 0, 255), np.uint8)
        made.setflags(write=False)
        return made
