"""Four-sided outlines in a picture, without knowing where: straight edges first, then pairs of pairs of them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, EdgeMap
from bedwatch.bed.model import Points
from bedwatch.frames.cv import cv2

LEAN_DEG = 24  # how far a side may lean from the picture's rows or columns
LINES = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class Quad:
    """Corners (4, 2) in pixels, clockwise from top left. support: the least of its sides' share of edge."""

    corners: Points
    support: float


def straight_edges(edges: EdgeMap, size_px: tuple[int, int], upright: bool) -> NDArray[np.float64]:
    """The clearest straight edges (n, 3): normal x, normal y, distance of `x nx + y ny = d`.

    upright: edges near the picture's columns, else near its rows. Hough transform with edge direction
    (Duda & Hart 1972; O'Gorman & Clowes 1976).
    """
    turn = np.radians(np.arange(-LEAN_DEG, LEAN_DEG + 0.5, 1.0))
    nx, ny = np.cos(turn), np.sin(turn)
    if not upright:
        nx, ny = -np.sin(turn), np.cos(turn)
    bins = int(np.hypot(*size_px)) + 200
    votes = np.zeros((len(turn), bins), np.float32)
    for index in range(len(turn)):
        along = np.abs(edges.normal @ [nx[index], ny[index]]) > np.cos(np.radians(6.0))
        place = edges.at_px[along] @ [nx[index], ny[index]] + 0.45 * size_px[1]
        cell = np.rint(place).astype(np.intp)
        good = (cell >= 0) & (cell < bins)
        votes[index] = np.bincount(cell[good], edges.weight[along][good], bins)
    votes = np.asarray(cv2.GaussianBlur(votes, (0, 0), sigmaX=0.8, sigmaY=0.6), np.float32)
    top = (votes >= cv2.dilate(votes, np.ones((7, 5), np.uint8))) & (votes > 0.04 * min(size_px))
    at = np.argwhere(top)
    at = at[np.argsort(-votes[at[:, 0], at[:, 1]])[:LINES]]
    lines = np.column_stack([nx[at[:, 0]], ny[at[:, 0]], at[:, 1] - 0.45 * size_px[1]])
    return np.array([_sharpened(edges, line) for line in lines]).reshape(-1, 3)


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


def _masks(edges: EdgeMap, size_px: tuple[int, int]) -> tuple[Array, Array]:
    w, h = size_px
    masks = []
    for axis in (1, 0):
        mask = np.zeros((h, w), np.float32)
        along = np.abs(edges.normal[:, axis]) > np.cos(np.radians(LEAN_DEG + 6.0))
        x, y = edges.at_px[along].astype(np.intp).T
        mask[y, x] = 1.0
        masks.append(np.asarray(cv2.dilate(mask, np.ones((3, 3), np.uint8)), np.float32))
    return masks[0], masks[1]


def _crossing(a: NDArray[np.float64], b: NDArray[np.float64]) -> Points:
    det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    x = (a[:, 2] * b[:, 1] - a[:, 1] * b[:, 2]) / det
    y = (a[:, 0] * b[:, 2] - a[:, 2] * b[:, 0]) / det
    return np.column_stack([x, y])


def find_quads(edges: EdgeMap, size_px: tuple[int, int], width_to_length: float, most: int = 60) -> list[Quad]:
    """The best-supported four-sided outlines of about this shape, best first."""
    flat, tall = (straight_edges(edges, size_px, upright) for upright in (False, True))
    if len(flat) < 2 or len(tall) < 2:
        return []
    rows = np.array(list(combinations(np.argsort(flat[:, 2]), 2)))
    columns = np.array(list(combinations(np.argsort(tall[:, 2]), 2)))
    r, c = (grid.ravel() for grid in np.meshgrid(np.arange(len(rows)), np.arange(len(columns))))
    top, bottom, left, right = flat[rows[r, 0]], flat[rows[r, 1]], tall[columns[c, 0]], tall[columns[c, 1]]
    corner = np.stack(
        [_crossing(top, left), _crossing(top, right), _crossing(bottom, right), _crossing(bottom, left)], axis=1
    )
    side = np.hypot(*np.moveaxis(np.roll(corner, -1, axis=1) - corner, -1, 0))
    wide, long = side[:, 0::2].mean(axis=1), side[:, 1::2].mean(axis=1)
    shape = wide / np.maximum(long, 1.0) / width_to_length
    good = (np.minimum(wide, long) > 0.1 * min(size_px)) & (np.maximum(wide, long) > 0.25 * min(size_px))
    good &= (shape > 0.82) & (shape < 1.22)
    good &= (side[:, 0::2].min(axis=1) > 0.75 * wide) & (side[:, 1::2].min(axis=1) > 0.75 * long)
    corner = corner[good]
    supports = _side_supports(corner, *_masks(edges, size_px))
    least = supports.min(axis=1) * 0.5 + supports.mean(axis=1) * 0.5
    kept: list[Quad] = []
    for index in np.argsort(-least):
        if least[index] < 0.45 or len(kept) >= most:
            break
        if all(np.abs(corner[index] - quad.corners).mean() > 1.5 for quad in kept):
            kept.append(Quad(corners=corner[index], support=float(least[index])))
    return kept


def _side_supports(corner: Points, flat: Array, tall: Array) -> NDArray[np.float64]:
    """(n, 4) share of each side that lies on an edge of its direction; outside the picture counts as none."""
    t = np.linspace(0.06, 0.94, 24)[:, None]
    h, w = flat.shape
    supports = np.zeros((len(corner), 4))
    for index in range(4):
        a, b = corner[:, None, index], corner[:, None, (index + 1) % 4]
        at = np.rint(a + (b - a) * t).astype(np.intp)
        inside = (at >= 0).all(axis=-1) & (at[..., 0] < w) & (at[..., 1] < h)
        mask = flat if index % 2 == 0 else tall
        hit = mask[np.clip(at[..., 1], 0, h - 1), np.clip(at[..., 0], 0, w - 1)]
        supports[:, index] = np.where(inside, hit, 0.0).mean(axis=1)
    return supports
