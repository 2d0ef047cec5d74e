"""How well thousands of poses agree with a small picture at once: an oriented map of its edges, read along every outline.

The map is a chamfer image with edge direction (Shotton, Blake & Cipolla 2008, oriented chamfer matching): per bin of
direction, how clear the nearest edge of that direction is, fading over a few pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import EdgeMap
from bedwatch.aim.finding.fit import BEND_SPREAD, FOCAL_SHARE, FOCAL_SPREAD, LEAST_DEEPER_MM
from bedwatch.aim.pose import DEEPER, K1, LN_DISTANCE, LN_SCALE, RING, TX, TY, Vector, View, bed_outline_mm, neighbours
from bedwatch.frames.cv import cv2

BINS = 8  # of direction, over half a turn
CLEAR = 0.6  # an edge of this weight or more counts in full
SHARP = ((3, 0.8), (5, 0.5), (7, 0.25))  # how much of an edge counts 1, 2 and 3 px beside it
WIDE = ((3, 0.95), (7, 0.8), (11, 0.6), (17, 0.4), (23, 0.2))
LINE_PX, LEAST_COUNTED = 14.0, 0.3  # edges that hang together over so many pixels count in full
EDGE = 110  # of the map's 255 from which a pixel is an edge for the nearest one
COUNT = 64  # places along an outline
FILLS = 0.33  # of the picture's shorter side: beds that look smaller cannot be measured
HALF_SEEN = 0.6  # least share of an outline that must lie in the picture
BORDERS = np.tan(np.pi / BINS * np.arange(1, BINS // 2))  # between bins of direction, up to a quarter turn
Plane = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """maps: (BINS, height + 2, width + 2) uint8, 255 on a clear edge of that direction; a border of zeros."""

    maps: NDArray[np.uint8]

    @property
    def size_px(self) -> tuple[int, int]:
        return self.maps.shape[2] - 2, self.maps.shape[1] - 2


def field_of(edges: EdgeMap, size_px: tuple[int, int], fades: tuple[tuple[int, float], ...] = SHARP) -> Field:
    """The oriented map of a picture's edges; fades: how much of an edge counts within squares of these widths."""
    w, h = size_px
    maps = np.zeros((BINS, h + 2, w + 2), np.uint8)
    x, y = (edges.at_px + 1).astype(np.intp).T
    value = np.rint(255 * _joined(x, y, (h + 2, w + 2)) * np.minimum(edges.weight, CLEAR) / CLEAR).astype(np.uint8)
    turn = np.arctan2(edges.normal[:, 1], edges.normal[:, 0]) / np.pi * BINS  # bins per half turn
    for shift in (-0.5, 0.0, 0.5):  # an edge belongs to its own bin and, near a border, to the next one
        index = np.floor(turn + shift).astype(np.intp) % BINS
        np.maximum.at(maps, (index, y, x), value)
    for one in maps:
        sharp = one.copy()
        for size, share in fades:
            wide = cv2.dilate(sharp, np.ones((size, size), np.uint8))
            np.maximum(one, (share * wide.astype(np.float32)).astype(np.uint8), out=one)
        one[[0, -1]] = 0
        one[:, [0, -1]] = 0
    return Field(maps=maps)


def _joined(x: NDArray[np.intp], y: NDArray[np.intp], shape: tuple[int, int]) -> NDArray[np.float64]:
    """(n,) how much each edge pixel counts for being part of a line: little for grain, whose edges are short."""
    mask = np.zeros(shape, np.uint8)
    mask[y, x] = 1
    _, label, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    return np.asarray(np.clip(stats[label[y, x], cv2.CC_STAT_AREA] / LINE_PX, LEAST_COUNTED, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """offset_px: (BINS, height + 2, width + 2, 2) from a pixel to the nearest edge of that direction."""

    offset_px: NDArray[np.float32]


def nearest_of(field: Field) -> Nearest:
    """Where the nearest edge of each direction lies from every pixel (distance transform with labels)."""
    offset = np.full((*field.maps.shape, 2), 99.0, np.float32)
    rows, columns = np.mgrid[0 : field.maps.shape[1], 0 : field.maps.shape[2]].astype(np.float32)
    for index, one in enumerate(field.maps):
        edge = one >= EDGE
        if not edge.any():
            continue
        _, label = cv2.distanceTransformWithLabels(
            (~edge).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
        )
        v, u = np.nonzero(edge)
        x, y = np.zeros(label.max() + 1, np.float32), np.zeros(label.max() + 1, np.float32)
        x[label[v, u]], y[label[v, u]] = u, v
        offset[index, ..., 0], offset[index, ..., 1] = x[label] - columns, y[label] - rows
    return Nearest(offset_px=offset)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One outline of m poses: x, y in px, (dx, dy) outward across it, of any length, and where the wall does not hide it;
    (m, n) each."""

    x: Plane
    y: Plane
    dx: Plane
    dy: Plane
    usable: NDArray[np.bool_]


def drawn(view: View, poses: NDArray[np.float64], finely: bool = True) -> tuple[Drawn, Drawn, Drawn]:
    """Foot, inner and outer edge of the rim of poses (m, 10). finely: not to a thousandth of a pixel, but fit for slopes."""
    ahead, back = neighbours(view.bed, COUNT)
    parts: list[Drawn] = []
    for x, y in pixels_of(view, poses, finely):
        along_x = np.take(x, ahead, axis=1) - np.take(x, back, axis=1)
        along_y = np.take(y, ahead, axis=1) - np.take(y, back, axis=1)
        usable = np.ones(x.shape, np.bool_) if parts else _seen(view, poses)
        parts.append(Drawn(x=x, y=y, dx=along_y, dy=-along_x, usable=usable))
    return parts[0], parts[1], parts[2]


def pixels_of(view: View, poses: NDArray[np.float64], finely: bool = True) -> list[tuple[Plane, Plane]]:
    """Where foot, inner and outer edge of the rim of poses (m, 10) are drawn: x and y in px, (m, n) each."""
    kind: type[np.floating[Any]] = np.float64 if finely else np.float32
    m, columns = len(poses), poses.T
    outline = bed_outline_mm(view.bed, COUNT)
    out = np.asarray(bed_outline_mm(view.bed, COUNT, 1.0) - outline, kind).T
    places = np.vstack([outline.T, np.ones(len(outline))]).astype(kind)
    low = np.asarray(view.homographies(columns, np.zeros(m)), kind)
    high = np.asarray(view.homographies(columns, depth_of(view, poses)), kind)
    foot, rim, wider = (
        np.matmul(h.reshape(3 * m, -1), at).reshape(m, 3, -1)
        for h, at in ((low, places), (high, places), (high[:, :, :2], out))
    )
    ring = rim + poses[:, RING, None, None].astype(kind) * wider
    parts: list[tuple[Plane, Plane]] = []
    for uvw in (foot, rim, ring):
        w = np.maximum(uvw[:, 2], 1e-3)
        x, y = uvw[:, 0] / w, uvw[:, 1] / w
        if poses[:, K1].any():
            cu, cv = view.middle
            x -= cu
            y -= cv
            bend = poses[:, K1, None] * np.exp(-2.0 * (poses[:, LN_SCALE] + poses[:, LN_DISTANCE]))[:, None]
            bend = np.asarray(bend, kind)
            scale = 1.0 + bend * np.minimum(x * x + y * y, 0.3 / np.maximum(np.negative(bend), 1e-12))
            x, y = x * scale + cu, y * scale + cv
        parts.append((x, y))
    return parts


def _seen(view: View, poses: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(m, n) which places of the surface's outline the near wall does not hide."""
    depth, bed = depth_of(view, poses), view.bed
    centre, x, y, up = view.axes_of(poses.T)
    share = (depth / np.maximum(-(centre * up).sum(axis=0), 1e-6))[:, None]
    px, py = bed_outline_mm(bed, COUNT).T * (1.0 - 1e-3)
    across = [p * (1.0 - share) - share * (centre * way).sum(axis=0)[:, None] for p, way in ((px, x), (py, y))]
    if bed.shape == "round":
        return np.asarray(across[0] ** 2 + across[1] ** 2 < (bed.width_mm / 2) ** 2)
    return np.asarray((np.abs(across[0]) < bed.width_mm / 2) & (np.abs(across[1]) < bed.length_mm / 2))


def direction_bins(dx: Plane, dy: Plane) -> NDArray[np.int32]:
    """The bin of direction, over half a turn, in which each of these vectors lies."""
    steep = np.abs(dy) / np.maximum(np.abs(dx), 1e-9)
    index = np.zeros(dx.shape, np.int32)
    for border in BORDERS:
        index += steep >= border
    return np.where((dx < 0) != (dy < 0), BINS - 1 - index, index)


def places_in(field: Field, line: Drawn) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """(m, n) where an outline's places stand in the field's maps, laid flat, and which of them lie in the picture."""
    w, h = field.size_px
    u = np.rint(np.clip(line.x, -1, w)).astype(np.int32) + 1
    v = np.rint(np.clip(line.y, -1, h)).astype(np.int32) + 1
    inside = (u > 2) & (v > 2) & (u < w - 1) & (v < h - 1)
    return ((direction_bins(line.dx, line.dy) * (h + 2) + v) * (w + 2) + u).astype(np.intp), inside


def _share(field: Field, line: Drawn) -> Vector:
    at, inside = places_in(field, line)
    usable = inside & line.usable
    found = np.where(usable, field.maps.ravel()[at], 0).sum(axis=1, dtype=np.int32) / 255.0
    # what lies outside the picture neither speaks for a pose nor against it, as long as enough is left
    least = HALF_SEEN * np.maximum(line.usable.sum(axis=1), 0.5 * COUNT)
    return np.asarray(found / np.maximum(usable.sum(axis=1), least))


def likelihood(view: View, field: Field, poses: NDArray[np.float64]) -> Vector:
    """(m,) how much speaks for each pose: its outlines' edges, and the common sense of camera, lens, level and size."""
    foot, rim, ring = (_share(field, line) for line in drawn(view, poses, finely=False))
    if view.bed.surface_below_rim_mm == 0.0:
        edges = foot * (0.8 + 0.2 * ring)
    else:
        edges = foot * (0.75 * np.maximum(rim, ring) + 0.25 * np.minimum(rim, ring))
    span = np.exp(poses[:, LN_SCALE]) * min(view.bed.width_mm, view.bed.length_mm) / (FILLS * min(view.size_px))
    return edges * np.exp(-0.06 * oddity(view, poses)) * np.clip(span, 0.1, 1.0)


def oddity(view: View, poses: NDArray[np.float64]) -> Vector:
    """(m,) how unusual a camera, its place and the level are: a sum of squares, 0 for the most usual."""
    focal = (poses[:, LN_SCALE] + poses[:, LN_DISTANCE] - np.log(FOCAL_SHARE * max(view.size_px))) / FOCAL_SPREAD
    focal = 2.0 * np.log1p(0.5 * focal * focal)
    deep = view.bed.surface_below_rim_mm
    level = poses[:, DEEPER] / max(1.2 * LEAST_DEEPER_MM, 0.15 * deep)
    lean = (poses[:, TX] ** 2 + poses[:, TY] ** 2) / 0.3**2
    lens = (poses[:, K1] / (1.5 * BEND_SPREAD)) ** 2
    odd = focal + level * level + lean + lens
    far = np.exp(poses[:, LN_DISTANCE]) - deep
    wrong = (
        (far < 250)
        | (far > 3000)
        | (np.hypot(poses[:, TX], poses[:, TY]) > 0.57)
        | (depth_of(view, poses) < 0.4 * deep)
    )
    return np.where(wrong, 1e3, odd)


def depth_of(view: View, poses: NDArray[np.float64]) -> Vector:
    return np.asarray(view.bed.surface_below_rim_mm + poses[:, DEEPER])
