"""How a camera stands to a bed: ten numbers that draw every outline of the tub.

Square pixels, principal point and centre of the lens's bend at the middle of the picture, focal length unknown. The
numbers of a pose are (u, v) the straightened picture of the surface's centre, ln(pixels per mm) there, (tx, ty) the
picture-plane part of the unit normal of the surface, ln(distance along the camera's axis in mm), the turn of the bed
in its plane (rectangular beds) in radians, the width of the ring on top of the wall in mm, the first term k1 of the
lens's radial bend (see `lens`), and by how many mm the surface lies deeper below the rim than the bed file says. They
are chosen so that those which a picture fixes badly (distance without tilt or depth) do not spoil the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import conic_of_ellipse
from bedwatch.aim.types import Ellipse, Homography
from bedwatch.bed.model import Bed, Points

Vector = NDArray[np.float64]
U, V, LN_SCALE, TX, TY, LN_DISTANCE, ROLL, RING, K1, DEEPER = range(10)
NUMBERS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A bed before a camera whose pictures have this size (width, height)."""

    bed: Bed
    size_px: tuple[int, int]

    @property
    def middle(self) -> tuple[float, float]:
        return (self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2

    def focal_px(self, pose: Vector) -> float:
        return float(np.exp(pose[LN_SCALE] + pose[LN_DISTANCE]))

    def depth_mm(self, pose: Vector) -> float:
        """How far the surface lies below the rim."""
        return self.bed.surface_below_rim_mm + float(pose[DEEPER])

    def lens(self, pose: Vector) -> Lens:
        """The lens of a pose; its straightened picture has the real one's scale at the middle."""
        focal = self.focal_px(pose)
        return Lens(k1=float(pose[K1]), focal_px=focal, centre_px=self.middle, straight_focal_px=focal)

    def axes(self, pose: Vector) -> tuple[Vector, Vector, Vector, Vector]:
        """Centre of the surface and the bed's x, y and upward axes, in camera coordinates (x right, y down), mm."""
        centre, x, y, up = self.axes_of(pose[:, None])
        return centre[:, 0], x[:, 0], y[:, 0], up[:, 0]

    def axes_of(self, poses: Vector) -> tuple[Vector, Vector, Vector, Vector]:
        """The same, each (3, m), for poses (10, m)."""
        distance = np.exp(poses[LN_DISTANCE])
        focal = np.exp(poses[LN_SCALE]) * distance
        (cu, cv), tx, ty = self.middle, poses[TX], poses[TY]
        a, b = (poses[U] - cu) / focal, (poses[V] - cv) / focal
        tz = -np.sqrt(np.maximum(1e-6, 1.0 - tx * tx - ty * ty))
        # centre + t * flat stays in one picture row; flat = up x (0, Z, -Y)
        flat = np.array([-ty * b - tz, tx * b, tx])
        flat /= np.sqrt((flat * flat).sum(axis=0))
        up = np.array([tx, ty, tz])
        away = np.array([ty * flat[2] - tz * flat[1], tz * flat[0] - tx * flat[2], tx * flat[1] - ty * flat[0]])
        centre = np.array([a * distance, b * distance, distance])
        if poses[ROLL].any():
            c, s = np.cos(poses[ROLL]), np.sin(poses[ROLL])
            flat, away = c * flat + s * away, c * away - s * flat
        return centre, flat, away, up

    def homography(self, pose: Vector, height_mm: float = 0.0) -> Homography:
        """Takes (x_mm, y_mm, 1) of the plane this far above the surface to pixels of the straightened picture."""
        return np.asarray(self.homographies(pose[:, None], np.array([height_mm]))[0], np.float64)

    def homographies(self, poses: Vector, heights_mm: Vector) -> Homography:
        """(m, 3, 3) for poses (10, m) and heights (m,)."""
        centre, x, y, up = self.axes_of(poses)
        h = np.stack([x, y, centre + heights_mm * up], axis=1)  # (3, 3, m)
        focal, (cu, cv) = np.exp(poses[LN_SCALE] + poses[LN_DISTANCE]), self.middle
        h[0] = focal * h[0] + cu * h[2]
        h[1] = focal * h[1] + cv * h[2]
        h /= h[2, 2].copy()
        return np.ascontiguousarray(h.transpose(2, 0, 1))

    def project(self, pose: Vector, places_mm: Points, height_mm: float) -> Points:
        """Pixels (n, 2) of places (n, 2) in the plane this far above the surface, as the lens shows them."""
        h = self.homography(pose, height_mm)
        w = places_mm @ h[2, :2] + h[2, 2]
        pixels = (places_mm @ h[:2, :2].T + h[:2, 2]) / w[:, None]
        if pose[K1] == 0.0:
            return np.asarray(pixels, np.float64)
        pixels -= self.middle
        bend = pose[K1] / self.focal_px(pose) ** 2
        # never past where the lens would fold the picture over
        r2 = np.minimum((pixels * pixels).sum(axis=1), 0.3 / max(-bend, 1e-12))
        return np.asarray(pixels * (1.0 + bend * r2)[:, None] + self.middle, np.float64)

    def project_all(
        self, poses: NDArray[np.float64], places_mm: Points, heights_mm: Sequence[float] | Vector
    ) -> Vector:
        """Pixels (m, n, 2) of places for each of several poses (m, 10), each with its height above the surface.

        places_mm: (n, 2), the same for all, or (m, n, 2).
        """
        h = self.homographies(poses.T, np.asarray(heights_mm, np.float64))
        places = np.moveaxis(places_mm, -1, -2)
        uvw = np.matmul(h[:, :, :2], places) + h[:, :, 2:]
        u, v = uvw[:, 0] / uvw[:, 2], uvw[:, 1] / uvw[:, 2]
        if poses[:, K1].any():
            cu, cv = self.middle
            u, v = u - cu, v - cv
            bend = (poses[:, K1] * np.exp(-2.0 * (poses[:, LN_SCALE] + poses[:, LN_DISTANCE])))[:, None]
            # never past where the lens would fold the picture over
            scale = 1.0 + bend * np.minimum(u * u + v * v, 0.3 / np.maximum(-bend, 1e-12))
            u, v = u * scale + cu, v * scale + cv
        return np.stack([u, v], axis=-1)

    def places(self, pose: Vector, pixels: Points) -> Points:
        """Places (n, 2) of the surface in mm that pixels (n, 2) show; the inverse of `project` at height 0."""
        if pose[K1] != 0.0:
            pixels = self.lens(pose).straighten(pixels)
        xyw = np.column_stack([pixels, np.ones(len(pixels))]) @ np.linalg.inv(self.homography(pose)).T
        return np.asarray(xyw[:, :2] / xyw[:, 2:], np.float64)

    def tilt_deg(self, pose: Vector) -> float:
        """Angle between the bed's axis and the line of sight to its centre."""
        centre, _, _, up = self.axes(pose)
        return float(np.degrees(np.arccos(np.clip(-(centre @ up) / np.sqrt(centre @ centre), -1, 1))))

    def lean_deg(self, pose: Vector) -> float:
        """Angle between the bed's axis and the camera's."""
        return float(np.degrees(np.arcsin(min(1.0, float(np.hypot(pose[TX], pose[TY]))))))

    def seen(self, pose: Vector, places_mm: Points) -> NDArray[np.bool_]:
        """(n,) which places of the surface are not hidden by the near wall."""
        height = self.depth_mm(pose)
        centre, x, y, up = self.axes(pose)
        eye = np.array([-(centre @ x), -(centre @ y)])
        share = height / max(-float(centre @ up), 1e-6)
        return np.asarray(outside_mm(self.bed, places_mm + (eye - places_mm) * share) < 0.0)

    def from_axes(self, focal_px: float, centre: Vector, up: Vector) -> Vector:
        """The pose of a surface centred there (camera coordinates, mm) with this normal."""
        return np.asarray(self._from_axes(np.array([focal_px]), centre[None], up[None])[0], np.float64)

    def _from_axes(self, focal_px: Vector, centre: Vector, up: Vector, x: Vector | None = None) -> NDArray[np.float64]:
        """(m, 10) poses of centres (m, 3), normals (m, 3) and, if given, x axes (m, 3)."""
        poses = np.zeros((len(centre), NUMBERS))
        poses[:, U] = self.middle[0] + focal_px * centre[:, 0] / centre[:, 2]
        poses[:, V] = self.middle[1] + focal_px * centre[:, 1] / centre[:, 2]
        poses[:, LN_DISTANCE] = np.log(np.maximum(centre[:, 2], 1.0))
        poses[:, LN_SCALE] = np.log(focal_px) - poses[:, LN_DISTANCE]
        poses[:, TX : TY + 1], poses[:, RING] = up[:, :2], 5.0
        if x is not None:
            _, flat, away, _ = self.axes_of(poses.T)
            poses[:, ROLL] = np.arctan2((x * away.T).sum(axis=1), (x * flat.T).sum(axis=1))
        return poses

    def of_circle(self, ellipse: Ellipse, focal_px: float, height_mm: float) -> list[Vector]:
        """As `of_circle_at`, for one focal length."""
        return list(self.of_circle_at(ellipse, np.array([focal_px]), height_mm))

    def of_circle_at(
        self, ellipses: Ellipse | Sequence[Ellipse], focal_px: Vector, height_mm: float
    ) -> NDArray[np.float64]:
        """The poses (k, 10), two per focal length (m,), in which a circle of the bed's size, this far above the surface,
        looks like the ellipse, or like the one of several that belongs to the focal length.

        From the axes of the cone through the eye (Shiu & Ahmad 1989, 3D location of circular and spherical features).
        """
        m = len(focal_px)
        camera = np.zeros((m, 3, 3))
        camera[:, 0, 0] = camera[:, 1, 1] = focal_px
        camera[:, :, 2] = (*self.middle, 1.0)
        each = [ellipses] if isinstance(ellipses, Ellipse) else ellipses
        cone = camera.transpose(0, 2, 1) @ np.array([conic_of_ellipse(one) for one in each]) @ camera
        tips = np.array([[*_tip(one), 1.0] for one in each])[..., None]
        values, vectors = np.linalg.eigh(cone)  # one negative, two positive, rising
        low, mid, high = values.T
        lean, stand = np.sqrt((high - mid) / (high - low)), np.sqrt((mid - low) / (high - low))
        rim = np.linalg.solve(camera, np.broadcast_to(tips, (m, 3, 1)))[..., 0]
        # both signs of the lean
        lean, stand = np.concatenate([lean, -lean]), np.tile(stand, 2)
        cone, vectors = np.tile(cone, (2, 1, 1)), np.tile(vectors, (2, 1, 1))
        rim, focal = np.tile(rim, (2, 1)), np.tile(focal_px, 2)
        up = lean[:, None] * vectors[:, :, 2] + stand[:, None] * vectors[:, :, 0]
        axis = np.linalg.solve(cone, up[..., None])[..., 0]
        axis *= np.sign(axis[:, 2:])
        up *= -np.sign((axis * up).sum(axis=1, keepdims=True))
        reach = (up * axis).sum(axis=1) / (up * rim).sum(axis=1)
        radius = np.sqrt(((rim * reach[:, None] - axis) ** 2).sum(axis=1))
        centre = axis * (self.bed.width_mm / 2 / radius)[:, None] - height_mm * up
        good = (up[:, 2] < -0.7) & (centre[:, 2] > 0)
        return self._from_axes(focal[good], centre[good], up[good])

    def of_pair(self, rim: Ellipse, foot: Ellipse) -> list[Vector]:
        """The pose in which the rim and the surface of a round bed look like these ellipses; empty when none does.

        Their sizes give the distance, the shift of their centres the tilt (to first order).
        """
        height, radius = self.bed.surface_below_rim_mm, self.bed.width_mm / 2
        outer, inner = max(rim.axes_px), max(foot.axes_px)
        ratio = outer / inner
        if height <= 0.0 or ratio < 1.002:
            return []
        distance = height * ratio / (ratio - 1)
        focal = inner * distance / radius
        ray = (np.array([*foot.centre_px, 0.0]) - [*self.middle, -focal]) / focal
        low = ray * distance
        high = (np.array([*rim.centre_px, 0.0]) - [*self.middle, -focal]) / focal * (distance - height)
        up = (high - low) / height
        side = float(np.hypot(*up[:2]))
        if side > 0.55 or not 200 < distance < 4000:
            return []
        return [self.from_axes(focal, low, np.array([up[0], up[1], -np.sqrt(1 - side * side)]))]

    def of_homography(self, h: Homography, focal_px: float, height_mm: float) -> tuple[Vector, float]:
        """As `of_homography_at`, for one focal length."""
        poses, misfit = self.of_homography_at(h, np.array([focal_px]), height_mm)
        return np.asarray(poses[0], np.float64), float(misfit[0])

    def of_homography_at(
        self, h: Homography, focal_px: Vector, height_mm: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Per focal length (m,) the nearest pose (m, 10) to a homography of the plane this far above the surface, and how
        far (m,) it is from a rotation.

        The misfit is |length ratio - 1| + |cosine| of the two in-plane axes (0 for a true view).
        """
        (cu, cv), focal = self.middle, focal_px[:, None]
        m = np.stack([(h[0] - cu * h[2]) / focal, (h[1] - cv * h[2]) / focal, np.repeat(h[2:], len(focal), 0)], axis=1)
        m *= np.sign(h[2, 2])
        x, y = m[:, :, 0], m[:, :, 1]
        one, two = (np.sqrt((side * side).sum(axis=1)) for side in (x, y))
        misfit = np.abs(one / two - 1.0) + np.abs((x * y).sum(axis=1)) / (one * two)
        m /= np.sqrt(one * two)[:, None, None]
        up = np.cross(x, y)
        up /= np.sqrt((up * up).sum(axis=1, keepdims=True))
        centre = m[:, :, 2] - height_mm * up
        return self._from_axes(focal_px, centre, up, x), np.asarray(misfit)


def _tip(ellipse: Ellipse) -> Vector:
    angle = np.radians(ellipse.angle_deg)
    return np.asarray(ellipse.centre_px + ellipse.axes_px[0] * np.array([np.cos(angle), np.sin(angle)]))


def outside_mm(bed: Bed, places_mm: Points) -> NDArray[np.float64]:
    """How far places (n, 2) lie outside the bed's outline; negative inside."""
    if bed.shape == "round":
        return np.asarray(np.hypot(places_mm[:, 0], places_mm[:, 1]) - bed.width_mm / 2)
    half = np.array([bed.width_mm, bed.length_mm]) / 2
    return np.asarray((np.abs(places_mm) - half).max(axis=1))


def bed_outline_mm(bed: Bed, count: int, outward_mm: float = 0.0) -> Points:
    """About `count` places (n, 2) evenly along the bed's outline, moved outward; corners of a rectangle left out."""
    places, outward = _outline(bed.shape, bed.width_mm, bed.length_mm, count)
    return places if outward_mm == 0.0 else np.asarray(places + outward_mm * outward)


def runs_of(bed: Bed, count: int) -> tuple[int, ...]:
    """How the places of an outline split into straight sides; a single run for a round bed."""
    if bed.shape == "round":
        return (count,)
    around = 2 * (bed.width_mm + bed.length_mm)
    wide, long = (max(8, round(count * side / around)) for side in (bed.width_mm, bed.length_mm))
    return wide, long, wide, long


def neighbours(bed: Bed, count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Of each place of an outline the next one and the one before, (n,) each, on its own side; ends of a side stand for
    themselves."""
    return _neighbours(runs_of(bed, count), bed.shape == "round")


@lru_cache(maxsize=64)
def _neighbours(runs: tuple[int, ...], closed: bool) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    number = np.arange(sum(runs))
    first = np.repeat(np.cumsum([0, *runs[:-1]]), runs)
    last = np.repeat(np.cumsum(runs) - 1, runs)
    if closed:
        return np.roll(number, -1), np.roll(number, 1)
    return np.minimum(number + 1, last), np.maximum(number - 1, first)


@lru_cache(maxsize=64)
def _outline(shape: str, width_mm: float, length_mm: float, count: int) -> tuple[Points, Points]:
    """Places along an outline, clockwise from 12 o'clock (a rectangle: from -x, +y), and the outward unit vectors."""
    if shape == "round":
        turn = 2 * np.pi * np.arange(count) / count
        outward = np.column_stack([np.sin(turn), np.cos(turn)])
        places = width_mm / 2 * outward
    else:
        w, l_ = width_mm / 2, length_mm / 2
        along_w, along_l = (max(8, round(count * part / (2 * (w + l_)))) for part in (w, l_))
        a, b = np.linspace(-0.94, 0.94, along_w) * w, np.linspace(-0.94, 0.94, along_l) * l_
        sides = [(a, 0 * a + l_), (0 * b + w, -b), (-a, 0 * a - l_), (0 * b - w, b)]
        places = np.vstack([np.column_stack(side) for side in sides])
        out = ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0))
        outward = np.vstack([np.tile(way, (len(side[0]), 1)) for way, side in zip(out, sides, strict=True)])
    places.setflags(write=False)
    outward.setflags(write=False)
    return places, outward
