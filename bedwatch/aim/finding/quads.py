"""Four-sided outlines in a picture, without knowing where: straight edges first, then pairs of pairs of them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.blobs import hulls
from bedwatch.aim.finding.edges import Array, EdgeMap
from bedwatch.aim.finding.field import BINS, Field
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

LEAN_DEG = 46  # how far a side may lean from the picture's rows or columns
LINES = 30
VOTED, VOTED_LEAN_DEG = 14, 32
SHORTEST_PX, MOST_SEGMENTS = 14.0, 250
NEAR_PX = 1.5  # pieces of one line lie within this of it
SIDE = 0.08  # of the picture's shorter side: sides of a region shorter than this are no lines
STEEP = np.tan(np.radians(14.0))  # how far opposite sides may be from parallel
PLACES = np.linspace(0.05, 0.95, 20)  # along a side where its edge is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Quad:
    """Corners (4, 2) in pixels, clockwise from top left. support: share of its sides in the picture that lie on edges.

    hidden: the side (0 top, 1 right, 2 bottom, 3 left) that lies beyond the picture's edge, where it is only guessed; or -1.
    """

    corners: Points
    support: float
    hidden: int = -1


def straight_edges(picture: Array) -> NDArray[np.float64]:
    """The longest straight edges (n, 4): normal x, normal y, distance of `x nx + y ny = d`, length in px.

    Segments of OpenCV's detector (von Gioi et al. 2010, LSD), pieces of one line put together.
    """
    grey = np.asarray(np.clip(picture.mean(axis=2), 0, 255), np.uint8)
    segments: object = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(grey)[0]
    if segments is None:
        return np.empty((0, 4))
    ends = np.asarray(segments, np.float64).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    length = np.hypot(*along.T)
    long = length > SHORTEST_PX
    order = np.argsort(-length[long])[:MOST_SEGMENTS]
    ends, along, length = ends[long][order], along[long][order], length[long][order]
    lines = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]
    lines = np.column_stack([lines, (lines * ends.mean(axis=1)).sum(axis=1)])
    found = []
    free = np.ones(len(lines), np.bool_)
    for index, line in enumerate(lines):
        if not free[index]:
            continue
        near = free & (np.abs(ends @ line[:2] - line[2]) < NEAR_PX).all(axis=1)
        free &= ~near
        found.append(_through(ends[near], length[near], line))
    return np.array(found).reshape(-1, 4)


def _through(ends: Points, length: NDArray[np.float64], line: NDArray[np.float64]) -> NDArray[np.float64]:
    """The line through several segments, weighted by their lengths, and their length together."""
    at, weight = ends.reshape(-1, 2), np.repeat(length, 2)
    middle = np.average(at, axis=0, weights=weight)
    away = (at - middle) * np.sqrt(weight)[:, None]
    normal = np.linalg.svd(away, full_matrices=False)[2][1]
    normal *= np.sign(normal @ line[:2])
    return np.array([*normal, normal @ middle, length.sum()])


def voted_edges(edges: EdgeMap, size_px: tuple[int, int], upright: bool) -> NDArray[np.float64]:
    """The clearest straight edges (n, 4) as of `straight_edges`, however broken.

    upright: edges near the picture's columns, else near its rows. Hough transform with edge direction
    (Duda & Hart 1972; O'Gorman & Clowes 1976).
    """
    turn = np.radians(np.arange(-VOTED_LEAN_DEG, VOTED_LEAN_DEG + 0.5, 1.0))
    nx, ny = np.cos(turn), np.sin(turn)
    if not upright:
        nx, ny = -np.sin(turn), np.cos(turn)
    bins = int(2 * np.hypot(*size_px)) + 8
    votes = np.zeros((len(turn), bins), np.float32)
    for index in range(len(turn)):
        along = np.abs(edges.normal @ [nx[index], ny[index]]) > np.cos(np.radians(6.0))
        place = edges.at_px[along] @ [nx[index], ny[index]] + bins / 2
        cell = np.rint(place).astype(np.intp)
        good = (cell >= 0) & (cell < bins)
        votes[index] = np.bincount(cell[good], edges.weight[along][good], bins)
    votes = np.asarray(cv2.GaussianBlur(votes, (0, 0), sigmaX=0.8, sigmaY=0.6), np.float32)
    top = (votes >= cv2.dilate(votes, np.ones((7, 5), np.uint8))) & (votes > 0.04 * min(size_px))
    at = np.argwhere(top)
    at = at[np.argsort(-votes[at[:, 0], at[:, 1]])[:VOTED]]
    lines = np.column_stack([nx[at[:, 0]], ny[at[:, 0]], at[:, 1] - bins / 2])
    found = [[*_sharpened(edges, line), votes[tuple(where)]] for line, where in zip(lines, at, strict=True)]
    return np.array(found).reshape(-1, 4)


def _sharpened(edges: EdgeMap, line: NDArray[np.float64]) -> NDArray[np.float64]:
    """The line through the edges near this one, by weighted least squares in narrowing bands."""
    for near in (2.5, 1.5, 1.2):
        miss = edges.at_px @ line[:2] - line[2]
        on = (np.abs(miss) < near) & (np.abs(edges.normal @ line[:2]) > np.cos(np.radians(12.0)))
        if on.sum() < 12:
            return line
        along = edges.at_px[on] @ np.array([-line[1], line[0]])
        middle = float(np.average(along, weights=edges.weight[on]))
        slope, shift = np.polyfit(along - middle, miss[on], 1, w=np.sqrt(edges.weight[on]))
        turn = float(np.clip(slope, -0.03, 0.03))
        point = line[2] * line[:2] + shift * line[:2] + middle * np.array([-line[1], line[0]])
        normal = line[:2] - turn * np.array([-line[1], line[0]])
        normal /= np.hypot(*normal)
        line = np.array([normal[0], normal[1], point @ normal])
    return line


def sides_of_regions(picture: Array) -> NDArray[np.float64]:
    """Lines (n, 4, as of `straight_edges`) along the straight sides of even regions, those at the picture's edge left out."""
    h, w = picture.shape[:2]
    found = []
    for hull in hulls(picture):
        around = float(cv2.arcLength(hull.astype(np.float32), closed=True))
        corner = cv2.approxPolyDP(hull.astype(np.float32), 0.02 * around, closed=True).reshape(-1, 2).astype(np.float64)
        for a, b in zip(corner, np.roll(corner, -1, axis=0), strict=True):
            if np.hypot(*(b - a)) < SIDE * min(w, h):
                continue
            if any(max(abs(a[k] - end), abs(b[k] - end)) < 8 for k, side in ((0, w), (1, h)) for end in (0, side - 1)):
                continue
            normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
            found.append([*normal, normal @ (a + b) / 2, np.hypot(*(b - a))])
    return np.array(found).reshape(-1, 4)


def lines_of(picture: Array, edges: EdgeMap) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lines (n, 3) near the picture's rows and near its columns, normals pointing down and right, none twice."""
    size = (picture.shape[1], picture.shape[0])
    voted = [voted_edges(edges, size, upright) for upright in (False, True)]
    lines = np.vstack([sides_of_regions(picture), straight_edges(picture), *voted])
    lines = lines[np.argsort(-lines[:, 3])]
    steep = np.cos(np.radians(LEAN_DEG))
    sorts = []
    for axis in (1, 0):
        ours = lines[np.abs(lines[:, axis]) > steep]
        ours = ours[:, :3] * np.sign(ours[:, axis])[:, None]
        sorts.append(_unlike_lines(ours, size, axis)[:LINES])
    return sorts[0], sorts[1]


def _unlike_lines(lines: NDArray[np.float64], size_px: tuple[int, int], axis: int) -> NDArray[np.float64]:
    kept: list[NDArray[np.float64]] = []
    ends = np.array([0.0, size_px[1 - axis] - 1.0])
    where: list[NDArray[np.float64]] = []
    for line in lines:
        at = (line[2] - line[1 - axis] * ends) / line[axis]  # where it crosses two sides of the picture
        if all(np.abs(at - other).max() > 2.0 for other in where):
            kept.append(line)
            where.append(at)
    return np.array(kept).reshape(-1, 3)


def _crossing(a: NDArray[np.float64], b: NDArray[np.float64]) -> Points:
    det = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    det = np.where(np.abs(det) > 1e-6, det, np.nan)
    x = (a[..., 2] * b[..., 1] - a[..., 1] * b[..., 2]) / det
    y = (a[..., 0] * b[..., 2] - a[..., 2] * b[..., 0]) / det
    return np.stack([x, y], axis=-1)


def _pairs(lines: NDArray[np.float64], axis: int) -> NDArray[np.intp]:
    """(n, 2) indices of nearly parallel lines, the nearer to the picture's corner first."""
    pair = np.array(list(combinations(range(len(lines)), 2)), np.intp).reshape(-1, 2)
    a, b = lines[pair[:, 0]], lines[pair[:, 1]]
    turn = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    pair, a, b = (some[turn < np.sin(np.arctan(STEEP))] for some in (pair, a, b))
    swap = a[:, 2] / a[:, axis] > b[:, 2] / b[:, axis]
    pair[swap] = pair[swap, ::-1]
    return np.asarray(pair, np.intp)


def find_quads(picture: Array, edges: EdgeMap, field: Field, width_to_length: float, most: int = 60) -> list[Quad]:
    """The best-supported four-sided outlines of about this shape, best first; one side may lie outside the picture."""
    size = field.size_px
    flat, tall = lines_of(picture, edges)
    if len(flat) < 1 or len(tall) < 1:
        return []
    parts = [(-1, _whole(flat, tall)), *_cut(flat, tall, size, width_to_length)]
    corner = np.concatenate([part for _, part in parts])
    hidden = np.concatenate([np.full(len(part), side) for side, part in parts])
    good = np.isfinite(corner).all(axis=(1, 2))
    corner, hidden = corner[good], hidden[good]
    if not len(corner):
        return []
    good = _shaped(corner, size, width_to_length)
    corner, hidden = corner[good], hidden[good]
    support = _support(corner, field)
    kept: list[Quad] = []
    others = np.empty((most, 4, 2))  # corners of those kept
    for index in np.argsort(-support):
        if support[index] < 0.4 or len(kept) >= most:
            break
        if (np.abs(corner[index] - others[: len(kept)]).mean(axis=(1, 2)) > 2.0).all():
            others[len(kept)] = corner[index]
            kept.append(Quad(corners=corner[index], support=float(support[index]), hidden=int(hidden[index])))
    return kept


def _whole(flat: NDArray[np.float64], tall: NDArray[np.float64]) -> Points:
    rows, columns = _pairs(flat, 1), _pairs(tall, 0)
    r, c = (grid.ravel() for grid in np.meshgrid(np.arange(len(rows)), np.arange(len(columns))))
    top, bottom, left, right = flat[rows[r, 0]], flat[rows[r, 1]], tall[columns[c, 0]], tall[columns[c, 1]]
    sides = ((top, left), (top, right), (bottom, right), (bottom, left))
    return np.stack([_crossing(a, b) for a, b in sides], axis=1)


def _cut(
    flat: NDArray[np.float64], tall: NDArray[np.float64], size_px: tuple[int, int], ratio: float
) -> list[tuple[int, Points]]:
    """The fourth side and the corners of outlines of which three sides are seen and that one lies beyond the picture's edge."""
    found: list[tuple[int, Points]] = []
    for lines, others, axis in ((flat, tall, 1), (tall, flat, 0)):
        pairs = _pairs(lines, axis)
        p, o = (grid.ravel() for grid in np.meshgrid(np.arange(len(pairs)), np.arange(len(others))))
        first, second, end = lines[pairs[p, 0]], lines[pairs[p, 1]], others[o]
        a, b = _crossing(first, end), _crossing(second, end)
        across = np.hypot(*np.moveaxis(b - a, -1, 0))
        long = across * (ratio if axis == 1 else 1 / ratio)  # the sides that run along the pair of lines
        for way in (1.0, -1.0):
            along = [np.stack([line[:, 1], -line[:, 0]], axis=1) for line in (first, second)]
            along = [one * (way * np.sign(one[:, 1 - axis]))[:, None] for one in along]
            c, d = a + along[0] * long[:, None], b + along[1] * long[:, None]
            beyond = (
                np.maximum(c[:, 1 - axis], d[:, 1 - axis]) if way > 0 else -np.minimum(c[:, 1 - axis], d[:, 1 - axis])
            )
            edge = size_px[1 - axis] - 1 if way > 0 else 0
            out = beyond > edge - 4
            order = {
                (1, True): (a, c, d, b),
                (1, False): (c, a, b, d),
                (0, True): (a, b, d, c),
                (0, False): (c, d, b, a),
            }
            side = {(1, True): 1, (1, False): 3, (0, True): 2, (0, False): 0}[axis, way > 0]
            found.append((side, np.stack(order[axis, way > 0], axis=1)[out]))
    return found


def _shaped(corner: Points, size_px: tuple[int, int], ratio: float) -> NDArray[np.bool_]:
    side = np.hypot(*np.moveaxis(np.roll(corner, -1, axis=1) - corner, -1, 0))
    wide, long = side[:, 0::2].mean(axis=1), side[:, 1::2].mean(axis=1)
    shape = wide / np.maximum(long, 1.0) / ratio
    good = (np.minimum(wide, long) > 0.1 * min(size_px)) & (np.maximum(wide, long) > 0.2 * min(size_px))
    good &= (shape > 0.8) & (shape < 1.25)
    good &= (side[:, 0::2].min(axis=1) > 0.72 * wide) & (side[:, 1::2].min(axis=1) > 0.72 * long)
    middle = corner.mean(axis=1)
    good &= (middle > 0).all(axis=1) & (middle < np.array(size_px)).all(axis=1)
    return np.asarray(good)


def _support(corner: Points, field: Field) -> NDArray[np.float64]:
    """(n,) share of the sides that lies on edges of their direction, half the worst side's; what is outside is left out."""
    w, h = field.size_px
    total = np.zeros((len(corner), 4))
    known = np.zeros((len(corner), 4))
    for index in range(4):
        a, b = corner[:, index], corner[:, (index + 1) % 4]
        at = np.rint(a[:, None] + (b - a)[:, None] * PLACES[:, None]) + 1
        u, v = np.clip(at[..., 0], 0, w + 1).astype(np.intp), np.clip(at[..., 1], 0, h + 1).astype(np.intp)
        inside = (u > 2) & (v > 2) & (u < w - 1) & (v < h - 1)
        bin_ = np.floor(np.arctan2((b - a)[:, 0], -(b - a)[:, 1]) / np.pi * BINS).astype(np.intp) % BINS
        value = field.maps[bin_[:, None], v, u] * inside / 255.0
        total[:, index], known[:, index] = value.sum(axis=1), inside.sum(axis=1)
    share = np.where(known >= 5, total / np.maximum(known, 1), 2.0)
    seen = (known >= 5).sum(axis=1)
    least, mean = share.min(axis=1), total.sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    enough = (seen >= 3) & (known.sum(axis=1) > 0.5 * 4 * len(PLACES))
    return np.where(enough, 0.5 * least + 0.5 * mean, 0.0)
