"""The outlines of a tub as poses draw them, and the edges of the picture that show across them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.edges import Array, Runs, clearness, peaks, strip, tops
from bedwatch.aim.pose import DEEPER, LN_SCALE, RING, Vector, View, bed_outline_mm, neighbours, runs_of
from bedwatch.bed.model import Bed, Points

FOOT, RIM, RING_EDGE = "foot", "rim", "ring"
COUNT = 180  # places along an outline
LEDGE = 0.12  # of half the bed's width: how far inside a foot another outline is looked for at least
BLUR_PX, EDGE_PX = 4.0, 0.35  # outlines nearer than this may show as one edge; how well the place of an edge is known
MOST_MERGED = 0.6  # share of the foot
ALONG = 0.04  # share of an outline over which its edges are averaged


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What one outline of the tub shows in the picture.

    seen: (n,) in the picture and not hidden. at_px: (n,) offset of the edge along the normal. clear: (n,) 0 to 1.
    """

    kind: str
    pixels: Points
    normals: Points
    seen: NDArray[np.bool_]
    at_px: NDArray[np.float64]
    clear: NDArray[np.float64]

    def support(self, within_px: float, clear: float = 0.4) -> float:
        """Share of the seen places that have a clear edge this near."""
        good = (np.abs(self.at_px) <= within_px) & (self.clear > clear) & self.seen
        return float(good.sum() / max(1, self.seen.sum()))


def draw(view: View, poses: NDArray[np.float64], kinds: Sequence[str], count: int) -> Vector:
    """Pixels (m, n, 2) of an outline of each of several poses (m, 10), which are of these kinds."""
    outline = bed_outline_mm(view.bed, count)
    outward = np.where([kind == RING_EDGE for kind in kinds], poses[:, RING], 0.0)
    places = outline + outward[:, None, None] * (bed_outline_mm(view.bed, count, 1.0) - outline)
    depth = view.bed.surface_below_rim_mm + poses[:, DEEPER]
    return view.project_all(poses, places, np.where([kind == FOOT for kind in kinds], 0.0, depth))


def look(view: View, picture: Array, pose: Vector, kind: str, reach_px: float, count: int = COUNT) -> Line:
    """Seek the edges of one outline within `reach_px` of where the pose draws it."""
    return looks(view, picture, pose[None], (kind,), reach_px, count)[0]


def looks(
    view: View, picture: Array, poses: NDArray[np.float64], kinds: Sequence[str], reach_px: float, count: int = COUNT
) -> list[Line]:
    """The same for an outline of each of several poses (m, 10), all at once."""
    pixels = draw(view, poses, kinds, count)
    m, n = pixels.shape[:2]
    normals = _outward(view, pixels, count)
    step = 0.5 if reach_px < 16 else 1.0
    runs, rays = _runs(view.bed, count, m), round(ALONG * n)
    across = strip(picture, pixels.reshape(-1, 2), normals.reshape(-1, 2), runs, rays, reach_px + 4.0, step)
    clear = clearness(across.size, m)
    at, height = peaks(clear, tops(clear), across.offset_px, 0.0, 0.5 * reach_px)
    height[np.abs(at) > reach_px] = 0.0
    seen = (np.isfinite(across.size).mean(axis=1) > 0.5).reshape(m, n)
    at, height = at.reshape(m, n), height.reshape(m, n)
    places = bed_outline_mm(view.bed, count) * (1.0 - 1e-3)
    for index, kind in enumerate(kinds):
        if kind == FOOT and view.bed.surface_below_rim_mm != 0.0:
            seen[index] &= view.seen(poses[index], places)
    return [
        Line(kind=kind, pixels=pixels[i], normals=normals[i], seen=seen[i], at_px=at[i], clear=height[i])
        for i, kind in enumerate(kinds)
    ]


def told_apart(lines: Sequence[Line]) -> list[Line]:
    """The same with no edge taken for two outlines: the one that is drawn nearer to it has it.

    Where the wall is seen nearly edge-on it is narrower than blur, and an edge between foot and rim is what is left of
    both: it tells of neither. A foot that shows no other edge nearly all around is left as it is.
    """
    seen, clear = [line.seen.copy() for line in lines], [line.clear.copy() for line in lines]
    merged = [np.zeros(len(line.seen), np.bool_) for line in lines]
    for i, j in itertools.combinations(range(len(lines)), 2):
        a, b = lines[i], lines[j]
        gap = ((b.pixels - a.pixels) * a.normals).sum(axis=1)
        same = (np.abs(gap + b.at_px - a.at_px) < 2 * EDGE_PX) & (np.abs(gap) > 2 * EDGE_PX)
        same &= a.seen & b.seen & (a.clear > 0.25) & (b.clear > 0.25)
        if not same.any():
            continue
        between = (np.sign(gap) * a.at_px > -EDGE_PX) & (np.sign(gap) * b.at_px < EDGE_PX)
        one = same & between & (np.abs(gap) < BLUR_PX) & (FOOT in (a.kind, b.kind))
        nearer = np.abs(a.at_px) < np.abs(b.at_px)
        clear[j][same & ~one & nearer] = 0.0
        clear[i][same & ~one & ~nearer] = 0.0
        merged[i] |= one
        merged[j] |= one
    if any(
        one.sum() > MOST_MERGED * line.seen.sum() for one, line in zip(merged, lines, strict=True) if line.kind == FOOT
    ):
        return list(lines)
    parts = zip(lines, seen, clear, merged, strict=True)
    return [replace(line, seen=there & ~one, clear=how) for line, there, how, one in parts]


def _runs(bed: Bed, count: int, outlines: int) -> Runs:
    return _runs_of(runs_of(bed, count), bed.shape == "round", outlines)


@lru_cache(maxsize=64)
def _runs_of(counts: tuple[int, ...], closed: bool, outlines: int) -> Runs:
    return Runs(counts * outlines, closed)


def beneath(view: View, picture: Array, pose: Vector, count: int = 120) -> tuple[float, float]:
    """Share of the clearest outline that shows inside the foot, as if the wall went on below it, and that depth in mm.

    A ledge of powder on the wall, a stain or the rim itself may be taken for the foot; the innermost outline is the foot.
    """
    height = view.depth_mm(pose)
    if view.bed.surface_below_rim_mm == 0.0:
        return 0.0, 0.0
    places = bed_outline_mm(view.bed, count)
    pixels = view.project(pose, places, 0.0)
    shift = view.project(pose, places, -height) - pixels
    normals = _outward(view, pixels[None], count)[0]
    wide = float(np.median(np.hypot(*shift.T)))
    if not 0.5 < wide < 1e4:
        return 0.0, 0.0
    span = float(np.exp(pose[LN_SCALE])) * min(view.bed.width_mm, view.bed.length_mm) / 2
    most = max(0.7, min(8.0, LEDGE * span / wide))  # of the wall's depth
    reach = float(np.clip(most * wide, 4.0, 70.0))
    runs, rays = _runs(view.bed, count, 1), round(ALONG * len(pixels))
    across = strip(picture, pixels, normals, runs, rays, reach + 4.0, max(0.5, reach / 60.0))
    clear = clearness(across.size)
    seen = (np.isfinite(across.size).mean(axis=1) > 0.5) & view.seen(pose, places * (1.0 - 1e-3))
    if seen.sum() < 40:
        return 0.0, 0.0
    top = tops(clear) > 0.4
    inward = -(shift * normals).sum(axis=1) / height  # px per mm of depth
    step = float(across.offset_px[1] - across.offset_px[0])
    best = (0.0, 0.0)
    level = np.nan_to_num(across.rise)
    for depth in height * np.linspace(0.04, most, int(np.clip(most * wide, 4, 60))):
        at = -np.maximum(inward, 0.0) * depth
        usable = seen & (at < -1.6) & (at > across.offset_px[1])
        if usable.sum() < 0.5 * seen.sum():
            continue
        column = np.clip(np.rint((at - across.offset_px[0]) / step).astype(np.intp), 1, clear.shape[1] - 2)
        row = np.arange(len(column))
        hit = top[row, column] | top[row, column - 1] | top[row, column + 1]
        rise = level[row, column][usable]
        alike = float(np.linalg.norm(rise.mean(axis=0))) / max(float(np.sqrt((rise * rise).sum(axis=1)).mean()), 1e-6)
        share = float(hit[usable].mean()) * min(1.0, 1.3 * alike)
        if share > best[0]:
            best = (share, float(depth))
    return best


def _outward(view: View, pixels: Vector, count: int) -> Vector:
    """Unit picture normals (m, n, 2) of outlines, outward; those of a rectangle's sides stop at its corners."""
    ahead, back = neighbours(view.bed, count)
    along = pixels[:, ahead] - pixels[:, back]
    x, y = along[..., 0], along[..., 1]
    length = np.sqrt(x * x + y * y)
    return np.stack([y / length, -x / length], axis=-1)


__all__ = ["COUNT", "FOOT", "RIM", "RING_EDGE", "Line", "beneath", "draw", "look", "looks"]
