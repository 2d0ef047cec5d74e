"""The camera above the make-believe bed: where every point of the bed lands in the picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.sim.bend import Bend

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A webcam looking down into the tub.

    size_px: (width, height). focal_px: focal length in pixels.
    height_mm: lens above the plane of the rim. tilt_deg: optical axis off the vertical, 0 = straight down.
    tilt_azimuth_deg: which way the camera leans, clockwise from picture-up; at 0 it stands on the
    6 o'clock side and looks towards 12. off_centre_px: the bed's centre, from the picture's centre.
    roll_deg: how far the bed's own x axis lies off the line that is level in the picture, anticlockwise as seen.
    k1, k2: how the lens bends about the picture's centre (see `bend.Bend`); 0 is a straight lens.
    blur_px: standard deviation of the lens blur. vignette: share of light lost in the corners.
    gamma: coded value = light ** (1 / gamma). full_well_e: electrons at white, read_noise_e: electrons,
    both of the noise model of EMVA Standard 1288. black_dn: black offset of the 8-bit picture.
    """

    size_px: tuple[int, int] = (1280, 720)
    focal_px: float = 1000.0
    height_mm: float = 900.0
    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    off_centre_px: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.7
    vignette: float = 0.12
    gamma: float = 2.0
    full_well_e: float = 5000.0
    read_noise_e: float = 8.0
    black_dn: float = 4.0
    roll_deg: float = 0.0
    k1: float = 0.0
    k2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Where the camera is in the bed frame (millimetres, z up from the powder surface).

    matrix: (3, 4), takes (x, y, z, 1) to homogeneous picture pixels, pixel centres at whole numbers.
    centre_mm: (3,) the lens. bend: how the lens bends that picture, None when it is straight.
    """

    matrix: Matrix
    centre_mm: Matrix
    bend: Bend | None = None


def _rotation(camera: Camera) -> Matrix:
    """World (x right, y up in the picture, z up) to camera (x right, y down, z forward), minimal turn."""
    tilt, azimuth = math.radians(camera.tilt_deg), math.radians(camera.tilt_azimuth_deg)
    lean_x, lean_y = math.sin(azimuth), math.cos(azimuth)
    axis = np.array([-lean_y, lean_x, 0.0])  # turning the world about it brings the leaning side underneath
    cross = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    turn = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * (cross @ cross)
    down = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])
    return np.asarray(down @ turn, dtype=np.float64)


def _horizontal_turn(plane: Matrix) -> float:
    """Angle (rad, anticlockwise) of the plane's direction through its origin that is level in the picture."""
    (a, b), w = plane[1, :2] * plane[2, 2] - plane[1, 2] * plane[2, :2], plane[2, 2]
    direction = np.array([b, -a])
    along_u = plane[0, :2] * w - plane[0, 2] * plane[2, :2]
    if float(along_u @ direction) < 0:
        direction = -direction
    return math.atan2(direction[1], direction[0])


@lru_cache(maxsize=64)
def pose(camera: Camera, surface_below_rim_mm: float) -> Pose:
    """The camera in the bed frame.

    The bed's x axis is the line through its centre, in the powder surface, that is level in the picture (straightened,
    where the lens bends), then turned by roll_deg.
    """
    width, height = camera.size_px
    principal = ((width - 1) / 2, (height - 1) / 2)
    inner = np.array([[camera.focal_px, 0.0, principal[0]], [0.0, camera.focal_px, principal[1]], [0.0, 0.0, 1.0]])
    turn = _rotation(camera)
    bend = None
    towards = camera.off_centre_px
    if camera.k1 or camera.k2:
        bend = Bend(k1=camera.k1, k2=camera.k2, focal_px=camera.focal_px, centre_px=principal)
        u, v = bend.straighten(np.array(principal[0] + towards[0]), np.array(principal[1] + towards[1]))
        towards = (float(u) - principal[0], float(v) - principal[1])
    ray = turn.T @ np.array([towards[0] / camera.focal_px, towards[1] / camera.focal_px, 1.0])
    if ray[2] >= 0:
        raise ValueError(f"the camera does not look down at the bed: {camera}")
    centre = ray * ((camera.height_mm + surface_below_rim_mm) / ray[2])  # ray[2] < 0, so z comes out positive
    plane = inner @ np.column_stack([turn[:, 0], turn[:, 1], -turn @ centre])
    angle = _horizontal_turn(plane) + math.radians(camera.roll_deg)
    spin = np.array(
        [
            [math.cos(angle), -math.sin(angle), 0.0],
            [math.sin(angle), math.cos(angle), 0.0],
            [0.0, 0.0, 1.0],
        ]
    )
    matrix = inner @ np.column_stack([turn @ spin, -turn @ centre])
    matrix.setflags(write=False)
    return Pose(matrix=matrix, centre_mm=spin.T @ centre, bend=bend)


def plane_to_picture(at: Pose, z_mm: float = 0.0) -> Matrix:
    """(3, 3) homography taking (x_mm, y_mm, 1) of the level plane at z_mm to picture pixels; [2, 2] is 1.

    Of the straightened picture, where the lens bends.
    """
    p = at.matrix
    plane = np.column_stack([p[:, 0], p[:, 1], p[:, 2] * z_mm + p[:, 3]])
    return np.asarray(plane / plane[2, 2], dtype=np.float64)


def project(at: Pose, xyz_mm: Matrix) -> Matrix:
    """(n, 3) points of the bed frame to (n, 2) picture pixels (u right, v down)."""
    h = np.column_stack([xyz_mm, np.ones(len(xyz_mm))]) @ at.matrix.T
    straight = np.asarray(h[:, :2] / h[:, 2:3], dtype=np.float64)
    return straight if at.bend is None else at.bend.bend(straight)


def scale_mm_per_px(at: Pose) -> float:
    """Millimetres of surface per picture pixel at the bed's centre (square root of the area scale)."""
    if at.bend is not None:
        step = np.array([[-0.5, 0, 0], [0.5, 0, 0], [0, -0.5, 0], [0, 0.5, 0]])
        left, right, low, high = project(at, step)
        return float(1 / math.sqrt(abs(np.linalg.det(np.column_stack([right - left, high - low])))))
    h = plane_to_picture(at)
    jacobian = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])
    return float(1 / math.sqrt(abs(np.linalg.det(jacobian))))


def pixel_grid(at: Pose, z_mm: float, size_px: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """x_mm, y_mm, each (height, width), of the plane at z_mm behind every pixel."""
    inverse = np.linalg.inv(plane_to_picture(at, z_mm))
    u = np.arange(size_px[0], dtype=np.float64)[None, :]
    v = np.arange(size_px[1], dtype=np.float64)[:, None]
    if at.bend is not None:
        u, v = at.bend.straighten(u, v)
    w = inverse[2, 0] * u + inverse[2, 1] * v + inverse[2, 2]
    x = (inverse[0, 0] * u + inverse[0, 1] * v + inverse[0, 2]) / w
    y = (inverse[1, 0] * u + inverse[1, 1] * v + inverse[1, 2]) / w
    return x.astype(np.float32), y.astype(np.float32)


def fitting_focal_px(size_px: tuple[int, int], height_mm: float, across_mm: float, fill: float) -> float:
    """Focal length (px) at which across_mm, at height_mm, takes the share `fill` of the picture's height."""
    return fill * size_px[1] * height_mm / across_mm
