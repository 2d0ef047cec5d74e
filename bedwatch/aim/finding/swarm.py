"""Many starts walked uphill at once: each pose tries small random changes and keeps what the edges like better.

An evolution strategy with one parent per line (Rechenberg 1973), all lines evaluated together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.field import Field, likelihood, nearest_of
from bedwatch.aim.finding.walk import walk
from bedwatch.aim.pose import DEEPER, K1, LN_SCALE, NUMBERS, RING, ROLL, Vector, View, bed_outline_mm

LINES, LAST_LINES = 250, 30
CHILDREN = 10
WIDE_ROUNDS, SHARP_ROUNDS = 4, 6
WALKING = 100
RINGS_MM, RING_JUMP = (3.0, 5.0, 8.0, 12.0, 18.0, 25.0), 0.25
APART = 0.006  # of the bed's width: lines whose outlines lie nearer than this are one
SAME = 0.25  # of a bed's width, and of the logarithm of its size: lines that are about the same thing


def climb(
    view: View, wide: Field, sharp: Field, starts: NDArray[np.float64], times: int = 1
) -> tuple[NDArray[np.float64], Vector]:
    """Poses (k, 10) reached from starts (n, 10), and how much speaks for each, best first. times: as many as usual."""
    rng = np.random.default_rng(1)
    walking = WALKING * times
    poses, value = unlike(view, starts, likelihood(view, wide, starts), LINES * times)
    for turn in range(WIDE_ROUNDS):
        poses, value = _round(view, wide, poses, value, 0.83**turn, rng)
    poses, value = unlike(view, poses, value, walking)
    both = np.vstack([poses, walk(view, sharp, nearest_of(sharp), poses)])
    poses, value = unlike(view, both, likelihood(view, sharp, both), walking)
    for turn in range(SHARP_ROUNDS):
        poses, value = _round(view, sharp, poses, value, 0.4 * 0.85**turn, rng)
        if turn == SHARP_ROUNDS // 2:
            poses, value = unlike(view, poses, value, walking // 2)
    return unlike(view, poses, value, LAST_LINES * times)


def _round(
    view: View, field: Field, poses: NDArray[np.float64], value: Vector, size: float, rng: np.random.Generator
) -> tuple[NDArray[np.float64], Vector]:
    """Every pose or the best of its children, and their likelihoods."""
    deep, half = view.bed.surface_below_rim_mm, min(view.bed.width_mm, view.bed.length_mm) / 2
    spread = np.array([0.02, 0.02, 0.02, 0.05, 0.05, 0.12, 0.03, 3.0, 0.05, max(1.0, 0.1 * deep)])
    if view.bed.shape == "round":
        spread[ROLL] = 0.0
    step = rng.standard_normal((len(poses), CHILDREN, NUMBERS)) * spread * size
    # few numbers at a time: most changes of all at once are bad ones
    step *= (rng.random(step.shape) < 0.45) * np.exp(0.6 * rng.standard_normal((*step.shape[:2], 1)))
    step[..., :2] *= (np.exp(poses[:, LN_SCALE]) * view.bed.width_mm)[:, None, None]
    children = poses[:, None] + step
    jump = rng.random(children.shape[:2]) < RING_JUMP
    ring = np.where(jump, rng.choice(RINGS_MM, jump.shape), np.clip(children[..., RING], 2.0, 30.0))
    # with some of the jumps the outer edge stays where it was
    stays = jump & (rng.random(jump.shape) < 0.5)
    children[..., LN_SCALE] += np.where(stays, np.log((half + children[..., RING]) / (half + ring)), 0.0)
    children[..., RING] = ring
    children[..., K1] = np.clip(children[..., K1], -0.35, 0.05)
    children[..., DEEPER] = np.clip(children[..., DEEPER], -0.5 * deep, max(8.0, 0.5 * deep))
    reached = likelihood(view, field, children.reshape(-1, NUMBERS)).reshape(jump.shape)
    best, row = reached.argmax(axis=1), np.arange(len(poses))
    better = reached[row, best] > value
    return np.where(better[:, None], children[row, best], poses), np.where(better, reached[row, best], value)


def unlike(view: View, poses: NDArray[np.float64], value: Vector, most: int) -> tuple[NDArray[np.float64], Vector]:
    """The best poses, best first, none drawing nearly the same outlines as a better one."""
    order = np.argsort(-value, kind="stable")[: 12 * most]
    poses, value = poses[order], value[order]
    drawn = _outlines(view, poses)
    span = np.exp(poses[:, LN_SCALE]) * view.bed.width_mm
    middle, size = drawn.mean(axis=1), np.log(span)
    kept: list[int] = []
    # of those kept, one behind the other
    middles, sizes, outlines = np.empty((most, 2)), np.empty(most), np.empty((most, *drawn.shape[1:]))
    for index in range(len(poses)):
        many = len(kept)
        if many:
            aside = middles[:many] - middle[index]
            off = np.sqrt(aside[:, 0] ** 2 + aside[:, 1] ** 2)
            least = max(APART * span[index], 0.7)
            near = np.flatnonzero(off < least)  # others' outlines lie at least as far as their middles
            if len(near):
                away = outlines[near] - drawn[index]
                if (np.sqrt(away[..., 0] ** 2 + away[..., 1] ** 2).mean(axis=1) < least).any():
                    continue
            same = (off < SAME * span[index]) & (np.abs(sizes[:many] - size[index]) < SAME)
            if same.sum() >= most // 2:  # leave room for other things in the picture
                continue
        middles[many], sizes[many], outlines[many] = middle[index], size[index], drawn[index]
        kept.append(index)
        if len(kept) >= most:
            break
    return poses[kept], value[kept]


def apart(view: View, poses: NDArray[np.float64], known: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(m,) which of some poses (m, 10) draw none of the outlines of known ones (k, 10)."""
    away = _outlines(view, poses)[:, None] - _outlines(view, known)[None]
    off = np.sqrt(away[..., 0] ** 2 + away[..., 1] ** 2).mean(axis=2)
    least = np.maximum(APART * np.exp(poses[:, LN_SCALE]) * view.bed.width_mm, 0.7)
    return np.asarray((off > least[:, None]).all(axis=1))


def _outlines(view: View, poses: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, n, 2) some places along foot and rim."""
    places, depth = bed_outline_mm(view.bed, 8), view.bed.surface_below_rim_mm + poses[:, DEEPER]
    drawn = [view.project_all(poses, places, height) for height in (np.zeros(len(poses)), depth)]
    return np.concatenate(drawn, axis=1)
