"""Cards with marks in a bed, photographed: every pixel's ray is met with the planes of cards, wall and rim.

Written apart from the fit under test; it shares only what is printed on a card. The lens is OpenCV's own model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bedwatch.aim.cards.marks import HOURS, card
from bedwatch.aim.cards.marks_seen import mark_bits
from bedwatch.bed.model import Bed, Zone
from bedwatch.frames.frame import Picture

Array = NDArray[Any]


def make_bed(shape: str = "round", width: float = 420.0, length: float | None = None, below: float = 80.0) -> Bed:
    length = width if length is None else length
    outline = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * np.array([width, length]) / 2
    kind: Any = shape
    zone = Zone(name="1", polygon_mm=outline, area_mm2=width * length)
    return Bed(name="drawn", shape=kind, width_mm=width, length_mm=length, surface_below_rim_mm=below, zones=(zone,))


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A camera above cards. lift: of the powder surface with air on, above the cards. slid, gap: per hour, deg and mm."""

    bed: Bed = field(default_factory=make_bed)
    size: tuple[int, int] = (960, 540)
    focal: float = 800.0
    k: tuple[float, float] = (0.0, 0.0)
    middle_off: tuple[float, float] = (0.0, 0.0)
    tilt: float = 0.0
    azimuth: float = 30.0
    distance: float = 900.0
    roll: float = 0.0
    lift: float = 8.0
    blur: float = 0.8
    noise: float = 2.0
    gamma: float = 1.0
    hours: tuple[int, ...] = HOURS
    swapped: bool = False
    factor: float = 1.0
    scale: float = 1.0
    slid: dict[int, float] = field(default_factory=dict)
    gap: dict[int, float] = field(default_factory=dict)

    @property
    def camera(self) -> Array:
        cu, cv = ((side - 1) / 2 + off for side, off in zip(self.size, self.middle_off, strict=True))
        return np.array([[self.focal, 0, cu], [0, self.focal, cv], [0, 0, 1.0]])

    @property
    def bend(self) -> Array:
        return np.array([*self.k, 0.0, 0.0, 0.0])

    @property
    def stand(self) -> tuple[Array, Array]:
        """Rotation (3, 3) and shift (3,) from the bed to the camera; z up from the cards."""
        tilt, azimuth, roll = np.deg2rad([self.tilt, self.azimuth, self.roll])
        up = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), -np.cos(tilt)])
        x = np.cross([0.0, 1.0, 0.0], up)
        x *= np.sign(x[0]) / np.linalg.norm(x)
        y = np.cross(up, x)
        turn = np.stack([np.cos(roll) * x + np.sin(roll) * y, np.cos(roll) * y - np.sin(roll) * x, up], axis=1)
        return turn, np.array([0.0, 0.0, self.distance])

    def pixels(self, places_mm: Array, height: float | None = None) -> Array:
        """Where OpenCV's own model sees places of the surface, or of the plane this far above the cards."""
        turn, shift = self.stand
        z = self.lift if height is None else height
        places = np.column_stack([places_mm, np.full(len(places_mm), z)])
        return cv2.projectPoints(places, cv2.Rodrigues(turn)[0], shift, self.camera, self.bend)[0].reshape(-1, 2)


def _wall(bed: Bed, hour: int, width: float) -> float:
    if bed.shape == "round":
        return float(np.sqrt(bed.width_mm**2 - width**2) / 2)
    return (bed.length_mm if hour in (12, 6) else bed.width_mm) / 2


def _on_card(shot: Shot, hour: int, x: Array, y: Array) -> tuple[Array, Array]:
    """Card coordinates of bed places."""
    wide = card(shot.factor, hour).width_mm * shot.scale
    where = {3: 9, 9: 3}.get(hour, hour) if shot.swapped else hour
    slid = shot.slid.get(hour, 0.0)
    angle = np.deg2rad(30.0 * where + (slid if shot.bed.shape == "round" else 0.0))
    along, out = np.cos(angle) * x - np.sin(angle) * y, np.sin(angle) * x + np.cos(angle) * y
    if shot.bed.shape == "rectangular":
        along = along - slid
    return along / shot.scale, (out - (_wall(shot.bed, where, wide) - shot.gap.get(hour, 0.0))) / shot.scale


def _outside(bed: Bed, x: Array, y: Array) -> Array:
    if bed.shape == "round":
        return np.hypot(x, y) - bed.width_mm / 2
    return np.maximum(np.abs(x) - bed.width_mm / 2, np.abs(y) - bed.length_mm / 2)


def photograph(shot: Shot, seed: int = 1) -> Picture:
    (w, h), fine = shot.size, 2
    u = ((np.arange(w * fine) + 0.5) / fine - 0.5 - shot.camera[0, 2]) / shot.focal
    v = ((np.arange(h * fine) + 0.5) / fine - 0.5 - shot.camera[1, 2]) / shot.focal
    times = _unbent(shot, np.hypot(*np.meshgrid(u, v)))
    rays = np.stack([u[None, :] * times, v[:, None] * times, np.ones_like(times)], axis=2)
    turn, shift = shot.stand

    def meet(z: float) -> tuple[Array, Array]:
        origin = shift + z * turn[:, 2]
        hit = rays * (turn[:, 2] @ origin / (rays @ turn[:, 2]))[..., None] - origin
        return hit @ turn[:, 0], hit @ turn[:, 1]

    x, y = meet(0.0)
    light = np.full(x.shape, 110.0, np.float32)
    for hour in shot.hours:
        _lay(light, shot, hour, x, y)
    light[_outside(shot.bed, x, y) > 0] = 140.0
    rim = _outside(shot.bed, *meet(shot.bed.surface_below_rim_mm + shot.lift))
    light[rim > 0], light[rim > 12.0] = 190.0, 80.0
    light = cv2.resize(cv2.GaussianBlur(light, (0, 0), shot.blur * fine), (w, h), interpolation=cv2.INTER_AREA)
    coded = 255.0 * (light / 255.0) ** (1 / shot.gamma)
    grain = np.random.default_rng(seed).normal(0.0, shot.noise, coded.shape)
    return np.clip(coded + grain, 0, 255).astype(np.uint8)


def _unbent(shot: Shot, radius: Array) -> Array:
    """How many times farther out a ray stands than the lens shows it: OpenCV's own model along a line, turned round."""
    line = np.linspace(1e-4, 2.0 * radius.max(), 4000)
    ahead = np.column_stack([line, np.zeros_like(line), np.ones_like(line)])
    seen = cv2.projectPoints(ahead, np.zeros(3), np.zeros(3), np.eye(3), shot.bend)[0].reshape(-1, 2)[:, 0]
    rising = np.append(True, np.minimum.accumulate(np.diff(seen) > 0))  # past its fold a lens shows nothing
    return np.interp(radius, seen[rising], (line / seen)[rising])


def _lay(light: Array, shot: Shot, hour: int, x: Array, y: Array) -> None:
    one = card(shot.factor, hour)
    across, out = _on_card(shot, hour, x, y)
    row, column = np.nonzero((np.abs(across) < one.width_mm / 2) & (out < 0) & (out > -one.depth_mm))
    across, out = across[row, column], out[row, column]
    tone = np.full(len(row), 240.0, np.float32)
    for mark, square in zip(one.ids, one.corners_mm, strict=True):
        module = (square[1, 0] - square[0, 0]) / 7
        i, j = np.floor((square[0, 1] - out) / module), np.floor((across - square[0, 0]) / module)
        on = (i >= 0) & (i < 7) & (j >= 0) & (j < 7)
        white = mark_bits(mark)[i[on].astype(int), j[on].astype(int)]
        tone[on] = np.where(white, 240.0, 20.0)
    light[row, column] = tone


@pytest.fixture(scope="session")
def shoot() -> Callable[..., tuple[Shot, Picture]]:
    made: dict[str, tuple[Shot, Picture]] = {}

    def make(**settings: Any) -> tuple[Shot, Picture]:
        key = repr(sorted(settings.items(), key=lambda item: item[0]))
        if key not in made:
            shot = Shot(**settings)
            made[key] = shot, photograph(shot)
        return made[key]

    return make


@pytest.fixture(scope="session")
def drawn_bed() -> Callable[..., Bed]:
    return make_bed
