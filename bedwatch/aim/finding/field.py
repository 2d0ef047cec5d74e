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
from bedwatch.aim.finding.fit import BEND_SPREAD, FOCAL_SHARE, FOCAL_SPREAD
from bedwatch.aim.pose import DEEPER, K1, LN_DISTANCE, LN_SCALE, RING, TX, TY, Vector, View, bed_outline_mm, runs_of
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
    """One outline of m poses: pixels, normals (m, n, 2) outward, and usable (m, n) where the wall does not hide it."""

    pixels: NDArray[np.float64]
    normals: NDArray[np.float64]
    usable: NDArray[np.bool_]


def drawn(view: View, poses: NDArray[np.float64], finely: bool = True) -> tuple[Drawn, Drawn, Drawn]:
    """Foot, inner and outer edge of the rim of poses (m, 10). finely: not to a thousandth of a pixel, but fit for slopes."""
    depth = depth_of(view, poses)
    axes = view.axes_of(poses.T)
    parts: list[Drawn] = []
    for height, outward in ((np.zeros(len(poses)), None), (depth, None), (depth, poses[:, RING])):
        pixels = _pixels(view, poses, height, outward, np.float64 if finely else np.float32)
        along = _along(view, pixels)
        along /= np.maximum(np.hypot(along[..., 0], along[..., 1]), 1e-9)[..., None]
        usable = np.ones(pixels.shape[:2], np.bool_) if parts else _seen(view, depth, *axes)
        parts.append(Drawn(pixels=pixels, normals=np.stack([along[..., 1], -along[..., 0]], axis=2), usable=usable))
    return parts[0], parts[1], parts[2]


def _seen(view: View, depth: Vector, centre: Vector, x: Vector, y: Vector, up: Vector) -> NDArray[np.bool_]:
    """(m, COUNT) which places of the surface's outline the near wall does not hide."""
    places = bed_outline_mm(view.bed, COUNT) * (1.0 - 1e-3)
    eye = -np.stack([(centre * x).sum(axis=0), (centre * y).sum(axis=0)], axis=1)
    share = (depth / np.maximum(-(centre * up).sum(axis=0), 1e-6))[:, None, None]
    at = places + (eye[:, None] - places) * share
    if view.bed.shape == "round":
        return np.asarray(np.hypot(at[..., 0], at[..., 1]) < view.bed.width_mm / 2)
    half = np.array([view.bed.width_mm, view.bed.length_mm]) / 2
    return np.asarray((np.abs(at) < half).all(axis=2))


def _pixels(
    view: View,
    poses: NDArray[np.float64],
    height: Vector,
    outward: Vector | None,
    kind: type[np.floating[Any]],
) -> NDArray[np.float64]:
    places = bed_outline_mm(view.bed, COUNT)
    out = (bed_outline_mm(view.bed, COUNT, 1.0) - places).astype(kind)
    places = places.astype(kind)
    h = view.homographies(poses.T, height).astype(kind)
    if outward is not None:
        places = places[None] + outward.astype(kind)[:, None, None] * out
    uvw = np.matmul(places, h[:, :, :2].transpose(0, 2, 1)) + h[:, None, :, 2]
    pixels = uvw[..., :2] / np.maximum(uvw[..., 2:], 1e-3)
    if poses[:, K1].any():
        pixels -= np.array(view.middle, kind)
        bend = (poses[:, K1] * np.exp(-2.0 * (poses[:, LN_SCALE] + poses[:, LN_DISTANCE]))).astype(kind)[:, None]
        r2 = pixels[..., 0] ** 2 + pixels[..., 1] ** 2  # a sum over an axis of two is slow
        r2 = np.minimum(r2, 0.3 / np.maximum(-bend, 1e-12))
        pixels = pixels * (1.0 + bend * r2)[..., None] + np.array(view.middle, kind)
    return np.asarray(pixels)


def _along(view: View, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, n, 2) direction of outlines, from their neighbours on the same side."""
    runs = runs_of(view.bed, COUNT)
    if len(runs) == 1:
        return np.roll(pixels, -1, axis=1) - np.roll(pixels, 1, axis=1)
    along = np.empty_like(pixels)
    start = 0
    for count in runs:
        part = pixels[:, start : start + count]
        along[:, start + 1 : start + count - 1] = part[:, 2:] - part[:, :-2]
        along[:, start], along[:, start + count - 1] = part[:, 1] - part[:, 0], part[:, -1] - part[:, -2]
        start += count
    return along


def places_in(field: Field, line: Drawn) -> tuple[tuple[NDArray[np.intp], ...], NDArray[np.bool_]]:
    """Indices (bin, row, column) of the field's maps for an outline's places, and which of them lie in the picture."""
    w, h = field.size_px
    turn = np.arctan2(line.normals[..., 1], line.normals[..., 0])
    index = np.floor(turn / np.pi * BINS).astype(np.intp) % BINS
    at = np.rint(np.clip(line.pixels, -9.0, 1e5)) + 1
    u, v = np.minimum(np.maximum(at[..., 0], 0), w + 1).astype(np.intp), np.clip(at[..., 1], 0, h + 1).astype(np.intp)
    return (index, v, u), (u > 2) & (v > 2) & (u < w - 1) & (v < h - 1)


def _share(field: Field, line: Drawn) -> Vector:
    at, inside = places_in(field, line)
    usable = inside & line.usable
    found = (field.maps[at] * usable).sum(axis=1) / 255.0
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
    level = poses[:, DEEPER] / max(3.0, 0.15 * deep)
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
