"""Ways to divide one zone into cells of equal area."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedwatch.bed.model import CellLayout, Points, Sector, Zone
from bedwatch.bed.shapes import Floats, Scan, centroid_mm

Indices = NDArray[np.intp]
_MOST_SAMPLES = 4_000_000
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_WAYS = np.array([[1.0, 0.0], [0.0, 1.0], [math.sqrt(0.5), math.sqrt(0.5)], [math.sqrt(0.5), -math.sqrt(0.5)]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Division:
    """A zone's cells. centre_mm: (n, 2). share: (n,) of the zone's area. samples_mm: (m, 2) points that
    reach to the
    edges of the cells, give or take reach_mm, and sample_cell: (m,) the cell of each."""

    layout: CellLayout
    centre_mm: Points
    share: Floats
    samples_mm: Points
    sample_cell: Indices
    reach_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PolarLayout:
    """Rows of cells around the bed's axis. radii_mm: (rows + 1,). counts: (rows,) cells in each row,
    clockwise.
    """

    sector: Sector
    radii_mm: Floats = field(repr=False)
    counts: Indices = field(repr=False)

    def index(self, xy_mm: Points) -> Indices:
        """(n, 2) points of the zone -> (n,) cell of the zone; points beyond an edge go to the nearest row
        or column.
        """
        out = np.hypot(xy_mm[:, 0], xy_mm[:, 1])
        row = np.searchsorted(self.radii_mm[1:-1], out, side="right")
        turn = (np.degrees(np.arctan2(xy_mm[:, 0], xy_mm[:, 1])) - self.sector.start_deg) % 360.0
        # a point a hair before the first boundary has gone all the way round
        past = self.sector.sweep_deg
        turn = np.where(turn > (past + 360.0) / 2, 0.0, turn) if past < 360.0 else turn
        column = np.minimum((turn / past * self.counts[row]).astype(np.intp), self.counts[row] - 1)
        return np.asarray((np.cumsum(self.counts) - self.counts)[row] + column, np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class GridLayout:
    """Rows from the top, columns from the left, of a rectangle with its sides along x and y."""

    left_mm: float
    top_mm: float
    width_mm: float
    length_mm: float
    rows: int
    columns: int

    def index(self, xy_mm: Points) -> Indices:
        """(n, 2) points of the zone -> (n,) cell of the zone."""
        row = ((self.top_mm - xy_mm[:, 1]) / self.length_mm * self.rows).astype(np.intp)
        column = ((xy_mm[:, 0] - self.left_mm) / self.width_mm * self.columns).astype(np.intp)
        row, column = np.clip(row, 0, self.rows - 1), np.clip(column, 0, self.columns - 1)
        return np.asarray(row * self.columns + column, np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitLayout:
    """Halved again and again by straight cuts.

    One entry per cut: way (a unit vector; a point p lies at p . way), at_mm (where along it), and sides, what lies
    below and above: the number of another cut, or -1 - cell.
    """

    way: Points = field(repr=False)
    at_mm: Floats = field(repr=False)
    sides: Indices = field(repr=False)

    def index(self, xy_mm: Points) -> Indices:
        """(n, 2) points of the zone -> (n,) cell of the zone."""
        node = np.zeros(len(xy_mm), np.intp) if len(self.at_mm) else np.full(len(xy_mm), -1, np.intp)
        active = np.flatnonzero(node >= 0)
        while len(active):
            cut = node[active]
            above = (xy_mm[active] * self.way[cut]).sum(axis=1) > self.at_mm[cut]
            node[active] = self.sides[cut, above.astype(np.intp)]
            active = active[node[active] >= 0]
        return -1 - node


def polar_cells(sector: Sector, count: int, size_mm: float) -> Division:
    """`count` cells of exactly equal area in rows about size_mm deep, each row cut into cells about as
    wide.
    """
    sweep = math.radians(sector.sweep_deg)
    square = (sector.outer_mm**2 - sector.inner_mm**2) / count  # equal areas are equal steps of the squared radius
    first = (
        [] if sector.inner_mm > 0 else [min(sector.outer_mm, math.sqrt(square))]
    )  # a tip, or the middle, is one cell
    begin = first[0] if first else sector.inner_mm
    rows = min(round((sector.outer_mm - begin) / size_mm), count - len(first))
    rows = max(rows, 0 if first and count == 1 else 1)
    steps = np.linspace(begin, sector.outer_mm, rows + 1)[1:]
    nominal = np.concatenate([[sector.inner_mm], first, steps])
    counts = _shared_out(count, np.diff(nominal**2), bool(first))
    radii = np.sqrt(sector.inner_mm**2 + square * np.concatenate([[0], np.cumsum(counts)]))
    radii[0], radii[-1] = sector.inner_mm, sector.outer_mm
    inner, outer = np.repeat(radii[:-1], counts), np.repeat(radii[1:], counts)
    half = sweep / np.repeat(counts, counts) / 2
    column = np.concatenate([np.arange(n) for n in counts])
    middle = math.radians(sector.start_deg) + half * (2 * column + 1)
    out = 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2) * np.sin(half) / half
    out[half > math.pi * 0.99] = 0.0
    out = np.where(out < inner, np.sqrt((inner**2 + outer**2) / 2), out)  # a long thin arc curves round its centroid
    corners = np.concatenate([np.linspace(-1, 1, 9)] * 2)
    turn = middle[:, None] + half[:, None] * corners
    reach = np.where(np.arange(18) < 9, inner[:, None], outer[:, None])
    samples = np.stack([reach * np.sin(turn), reach * np.cos(turn)], axis=-1).reshape(-1, 2)
    return Division(
        layout=PolarLayout(sector=sector, radii_mm=radii, counts=counts),
        centre_mm=np.stack([out * np.sin(middle), out * np.cos(middle)], axis=1),
        share=np.full(count, 1.0 / count),
        samples_mm=samples,
        sample_cell=np.repeat(np.arange(count), 18),
    )


def rectangle_cells(zone: Zone, count: int) -> Division | None:
    """About `count` (within 5 %) nearly square cells; None when the zone is no upright rectangle or they do
    not fit.
    """
    left, bottom = zone.polygon_mm.min(axis=0).tolist()
    right, top = zone.polygon_mm.max(axis=0).tolist()
    width, length = right - left, top - bottom
    if len(zone.polygon_mm) != 4 or abs(width * length - zone.area_mm2) > 1e-6 * zone.area_mm2:
        return None
    ideal = math.sqrt(count * length / width)
    options = [
        (
            abs(math.log(rows * columns / count)) + 0.3 * abs(math.log(length * columns / (rows * width))),
            rows,
            columns,
        )
        for rows in {max(1, math.floor(ideal)), math.ceil(ideal)}
        for columns in {max(1, math.floor(count / rows)), math.ceil(count / rows)}
    ]
    _, rows, columns = min(options)
    tall = length * columns / (rows * width)
    if abs(rows * columns / count - 1) > 0.05 or max(tall, 1 / tall) > 1.6:
        return None
    x = left + (np.arange(columns) + 0.5) * width / columns
    y = top - (np.arange(rows) + 0.5) * length / rows
    centres = np.stack([np.tile(x, rows), np.repeat(y, columns)], axis=1)
    around = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)]) * [
        width / columns / 2,
        length / rows / 2,
    ]
    grid = GridLayout(left_mm=left, top_mm=top, width_mm=width, length_mm=length, rows=rows, columns=columns)
    return Division(
        layout=grid,
        centre_mm=centres,
        share=np.full(rows * columns, 1.0 / (rows * columns)),
        samples_mm=(centres[:, None] + around).reshape(-1, 2),
        sample_cell=np.repeat(np.arange(rows * columns), 9),
    )


def split_cells(zone: Zone, count: int, size_mm: float) -> Division:
    """`count` cells of equal area (to about 1 %) in an outline of any shape.

    The zone is filled with evenly spread points (a golden-section lattice, no two of one x or y) and cut
    where the points divide in proportion, along x, y or a diagonal. Where the outline is hollow, a cell may have a
    part on either side of the hollow.
    """
    low, high = zone.polygon_mm.min(axis=0), zone.polygon_mm.max(axis=0)
    width, length = (high - low).tolist()
    many = int(min(_MOST_SAMPLES, max(1024.0, width * length / (size_mm / 16) ** 2)))
    number = np.arange(many)
    spread = np.stack([number * _GOLDEN % 1.0, (number + 0.5) / many], axis=1)
    samples = low + spread * (high - low)
    samples = samples[Scan(samples).inside(zone.polygon_mm)]
    if len(samples) < count:
        samples, count = np.array([centroid_mm(zone.polygon_mm)]), 1
    ways, at, sides, cell = _split(samples, count)
    layout = SplitLayout(way=ways, at_mm=at, sides=sides)
    held = np.bincount(cell, minlength=count)
    centres = np.stack([np.bincount(cell, samples[:, k], count) / held for k in (0, 1)], axis=1)
    for i in np.flatnonzero(~Scan(centres).inside(zone.polygon_mm)):
        own = samples[cell == i]
        centres[i] = own[np.argmin(((own - centres[i]) ** 2).sum(axis=1))]
    return Division(
        layout=layout,
        centre_mm=centres,
        share=held / len(samples),
        samples_mm=samples,
        sample_cell=cell,
        reach_mm=math.sqrt(width * length / many) / 2,
    )


def _split(samples: Points, count: int) -> tuple[Points, Floats, Indices, Indices]:
    """The cuts of a `SplitLayout` (way, at_mm, sides) and the cell of each sample."""
    ways: list[Points] = []
    at: list[float] = []
    sides: list[list[int]] = []
    cell = np.zeros(len(samples), np.intp)
    done = 0
    waiting = [(np.arange(len(samples)), count, -1, 0)]
    while waiting:
        own, cells, parent, side = waiting.pop()
        if cells == 1:
            name = -1 - done
            cell[own] = done
            done += 1
        else:
            name = len(at)
            way, place, less, below, above = _best_cut(samples[own], cells)
            ways.append(way)
            at.append(place)
            sides.append([0, 0])
            waiting += [(own[below], less, name, 0), (own[above], cells - less, name, 1)]
        if parent >= 0:
            sides[parent][side] = name
    return np.array(ways).reshape(-1, 2), np.array(at), np.array(sides, np.intp).reshape(-1, 2), cell


def _best_cut(points: Points, cells: int) -> tuple[Points, float, int, Indices, Indices]:
    """The straight cut that divides the points in proportion to whole cells and leaves both sides most compact.

    Its way and place, the number of cells below it, and the points below and above. Compact: little scatter about the
    sides' centres for their number of cells (a row of n squares scatters as n cubed, a block as n squared).
    """
    count = len(points)
    moments = np.concatenate([points, (points**2).sum(axis=1)[:, None]], axis=1)
    best, cut = math.inf, None
    for way in _WAYS:
        along = (points * way).sum(axis=1)
        order = np.argsort(along)
        sums = np.cumsum(moments[order], axis=0)
        for less in {cells // 2, (cells + 1) // 2}:
            size = min(max(round(count * less / cells), less), count - (cells - less))
            rest = sums[-1] - sums[size - 1]
            score = _scatter(sums[size - 1], size) / less + _scatter(rest, count - size) / (cells - less)
            if score < best:
                place = float(along[order[size - 1]] + along[order[size]]) / 2
                best, cut = score, (way, place, less, order[:size], order[size:])
    if cut is None:
        raise ValueError(f"found {count} points, expected more than {cells} cells")
    return cut


def _scatter(sums: Floats, count: int) -> float:
    """Sum of squared distances from the centre, from the sums of x, y and x2 + y2."""
    return float(sums[2] - (sums[0] ** 2 + sums[1] ** 2) / count)


def _shared_out(count: int, parts: Floats, first_is_one: bool) -> Indices:
    """Whole numbers, at least 1 each, that add up to `count` and are nearly in proportion to the parts."""
    if first_is_one:
        rest = _shared_out(count - 1, parts[1:], False) if len(parts) > 1 else np.zeros(0, np.intp)
        return np.asarray(np.append(1, rest), np.intp)
    ideal = parts / parts.sum() * count
    shares: Indices = np.maximum(np.floor(ideal).astype(np.intp), 1)
    while shares.sum() != count:
        step = 1 if shares.sum() < count else -1
        wanting = np.where((shares > 1) | (step > 0), (ideal - shares) * step, -np.inf)
        shares[int(np.argmax(wanting))] += step
    return shares
