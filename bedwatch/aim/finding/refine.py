"""A guess made exact in the full picture, and which edge of the rim is which told apart.

The ring on top of the wall shows an inner and an outer edge a few millimetres apart, and the foot of the wall lies
inside both. Where only one edge of it shows (rim and wall of one colour) it is taken for the outer one of a thin ring,
and the doubt goes into the error.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedwatch.aim.finding.beside import beside_rim
from bedwatch.aim.finding.edges import Array
from bedwatch.aim.finding.fit import Fitted, settle, side_of
from bedwatch.aim.finding.guesses import gap_px, one_outline
from bedwatch.aim.finding.lines import FOOT, RIM, RING_EDGE
from bedwatch.aim.outline import ellipse_of_circle
from bedwatch.aim.pose import K1, LN_SCALE, RING, TX, TY, Vector, View

HOPELESS = 0.3  # support of an outline below which no second try helps
GOOD = 0.2  # badness of a pose that needs no second try
NEARLY = 0.75  # badness above which leaving a side out does not save a pose
HARDLY = 1.2  # badness of a new reading above which it is none
NARROW = (2.5, 2.0, 2.0, 2.0)
NEVER = 1.2  # badness of a pose that is never believed, whatever else speaks for it
BEYOND = 2.0  # badness of a first try above which nothing comes of it
FREE = (4.0, 4.0, 3.0, 3.0, 2.0)
LONE_RING_MM = 3.0  # a rim of which one edge shows is taken to be this wide, give or take as much
LONE_WORSE = 0.15  # badness by which two edges of a rim may fit worse than one and still be believed
LEAST_BEND = 0.03  # of k1: less moves nothing in a bed by a millimetre
SURE_BEND = 2.0  # standard errors of k1 from which the picture is believed to bend
ROUGHLY = 120  # places along an outline of a pose that is only settled to see what it is worth
MOST_LONE, MOST_READ_ANEW, MOST_SECOND_TRIES, MOST_REFINED = 6, 3, 4, 6
ENOUGH, SURE = 8, 0.12  # so many looks are enough when one leaves as little unexplained
SAME_PX = 1.0  # poses whose outlines lie nearer than this are one


@dataclass(frozen=True, slots=True, kw_only=True)
class Refined:
    """A pose in the full picture. lone: only one edge of the rim shows, so its width is a guess."""

    fitted: Fitted
    lone: bool

    @property
    def badness(self) -> float:
        return self.fitted.badness + LONE_WORSE * self.lone


def enlarged(pose: Vector, times: float) -> Vector:
    """The same pose in a picture `times` as large."""
    large = pose.copy()
    large[:2] = (pose[:2] + 0.5) * times - 0.5
    large[LN_SCALE] += np.log(times)
    return large


def refine(view: View, picture: Array, poses: Sequence[Vector]) -> list[Refined]:
    """Settle poses of the full picture in it, the likeliest first; best first and none twice."""
    settled: list[Refined] = []
    seen: list[Fitted] = []
    for number, pose in enumerate(poses):
        if number >= ENOUGH and any(one.fitted.badness < SURE for one in settled):
            break
        first = _first(view, picture, pose)
        if first is None or any(apart_px(first, other) < SAME_PX for other in seen):
            continue
        seen.append(first)
        if first.badness > BEYOND:
            continue
        fitted = _settle(view, picture, first.pose, _kinds(view), NARROW)
        if fitted is not None:
            settled.append(Refined(fitted=fitted, lone=not _ring_shows(fitted)))
    kept = unlike(settled)
    found = [one for one in kept if not one.lone]
    alone = [_lone(view, picture, one.fitted.pose) for one in [one for one in kept if one.lone][:MOST_LONE]]
    found += [Refined(fitted=one, lone=True) for one in alone if one is not None]
    found += [ring for one in unlike(found)[:MOST_READ_ANEW] if one.lone for ring in _read_anew(view, picture, one)]
    if one_outline(view):
        found += [two for one in unlike(found)[:2] if one.lone for two in _two_edges(view, picture, one.fitted.pose)]
    found = unlike(found)
    for one in found[:MOST_SECOND_TRIES]:
        if one.fitted.badness > GOOD:
            found += _second_tries(view, picture, one)
    best = unlike(found)[:MOST_REFINED]
    worth = [one for one in best if one is best[0] or one.fitted.badness < NEVER]
    return [_straightened(view, picture, one) for one in worth]


def _straightened(view: View, picture: Array, one: Refined) -> Refined:
    """The same with a straight lens, where the picture does not clearly say that it bends.

    What the bend might do to the rest stays in the covariance.
    """
    error = float(np.sqrt(one.fitted.covariance[K1, K1]))
    if abs(one.fitted.pose[K1]) > max(LEAST_BEND, SURE_BEND * error):
        return one
    pose = one.fitted.pose.copy()
    pose[K1] = 0.0
    kinds = tuple(line.kind for line in one.fitted.lines)
    flat = settle(view, picture, pose, kinds, (3.0, *NARROW), hold_ring=one.lone, level=not one_outline(view))
    if flat is None or flat.badness > one.fitted.badness + 0.1:
        return one
    return Refined(fitted=replace(flat, covariance=one.fitted.covariance), lone=one.lone)


def unlike(found: Sequence[Refined]) -> list[Refined]:
    """Those that differ in where the surface and the rim are drawn, best first."""
    kept: list[Refined] = []
    for one in sorted(found, key=lambda one: one.badness):
        if all(apart_px(one.fitted, other.fitted) > SAME_PX for other in kept):
            kept.append(one)
    return kept


def apart_px(a: Fitted, b: Fitted) -> float:
    """Mean distance of the outlines that both of two poses have."""
    both = [(one, b.line(one.kind)) for one in a.lines]
    return max(float(np.hypot(*(p.pixels - q.pixels).T).mean()) for p, q in both if q is not None)


def _kinds(view: View) -> tuple[str, ...]:
    return (FOOT, RING_EDGE) if one_outline(view) else (RIM, FOOT, RING_EDGE)


def _first(view: View, picture: Array, pose: Vector) -> Fitted | None:
    """All outlines settled at once from where the pose has them, the lens's bend and the level free."""
    ring_px = max(6.0, float(pose[RING])) * float(np.exp(pose[LN_SCALE]))
    near = float(np.clip(0.6 * min(gap_px(view, pose), ring_px), 2.5, 8.0))
    reaches = (near, near, near, max(2.5, 0.7 * near), 3.0)
    first = settle(
        view, picture, pose, _kinds(view), reaches, bend=True, level=not one_outline(view), count=ROUGHLY, hopeless=0.2
    )
    line = None if first is None else first.line(FOOT)
    return first if line is not None and line.support(3.0) >= HOPELESS else None


def _lone(view: View, picture: Array, pose: Vector) -> Fitted | None:
    """The pose that comes out when only one edge of the rim is believed to show."""
    start = pose.copy()
    start[RING] = LONE_RING_MM
    if one_outline(view):
        return _settle(view, picture, start, (FOOT,), (4.0, 3.0, *NARROW), hold_ring=True)
    tries = []
    outer = pose.copy()  # the edge taken for the outer one is the only one
    half = min(view.bed.width_mm, view.bed.length_mm) / 2
    outer[LN_SCALE] += np.log((half + pose[RING]) / (half + LONE_RING_MM))
    outer[RING] = LONE_RING_MM
    for one in (start, outer):
        tried = _settle(view, picture, one, (FOOT, RING_EDGE), (5.0, 4.0, 3.0, *NARROW), hold_ring=True)
        if tried is not None:
            tries.append(tried)
    return min(tries, key=lambda one: one.badness, default=None)


def _read_anew(view: View, picture: Array, one: Refined) -> list[Refined]:
    """The poses in which the one edge of the rim that was seen has a second one inside or outside of it after all.

    What was taken for the foot may then be the rim's inner edge, with the foot farther in.
    """
    if one_outline(view):
        return []
    half = min(view.bed.width_mm, view.bed.length_mm) / 2
    edge = float(one.fitted.pose[RING])
    found = []
    for other in beside_rim(view, picture, one.fitted.pose):
        inner, width = (edge, other - edge) if other > edge else (other, edge - other)
        start = one.fitted.pose.copy()
        start[LN_SCALE] += np.log1p(inner / half)
        start[RING] = width
        near = float(np.clip(0.4 * width * np.exp(start[LN_SCALE]), 2.0, 5.0))  # both edges were seen, the foot was not
        reaches = (8.0, 6.0, 4.0, *NARROW)
        fitted = settle(view, picture, start, _kinds(view), reaches, rim_reach_px=near, bend=True, level=True)
        if fitted is not None and GOOD < fitted.badness < HARDLY:
            fitted = _without_a_side(view, picture, fitted, _kinds(view))
        if fitted is not None and _ring_shows(fitted):
            found.append(Refined(fitted=fitted, lone=False))
    return found


def _two_edges(view: View, picture: Array, pose: Vector) -> list[Refined]:
    """Of a bed full to the brim whose rim's edges were taken for one: the poses that put the wall on the inner one."""
    half = min(view.bed.width_mm, view.bed.length_mm) / 2
    found = []
    for width, inward in itertools.product((3.0, 6.0, 10.0), (0.0, 1.0)):
        start = pose.copy()
        start[LN_SCALE] += np.log1p(-inward * width / half)
        start[RING] = width
        fitted = _settle(view, picture, start, _kinds(view), (3.0, 2.5, *NARROW))
        if fitted is not None and _ring_shows(fitted):
            found.append(Refined(fitted=fitted, lone=False))
    return found


def _second_tries(view: View, picture: Array, found: Refined) -> list[Refined]:
    """Other poses near one that leaves something unexplained."""
    kinds = tuple(line.kind for line in found.fitted.lines)
    better = found.fitted
    if found.fitted.badness < NEARLY:
        better = _without_a_side(view, picture, better, kinds, hold_ring=found.lone)
    if one_outline(view):
        better = _upright(view, picture, better, kinds)
    return [] if better is found.fitted else [Refined(fitted=better, lone=found.lone)]


def _settle(
    view: View,
    picture: Array,
    pose: Vector,
    kinds: tuple[str, ...],
    reaches: tuple[float, ...],
    *,
    side: int | None = None,
    hold_ring: bool = False,
) -> Fitted | None:
    level = not one_outline(view)
    return settle(view, picture, pose, kinds, reaches, without_side=side, hold_ring=hold_ring, bend=True, level=level)


def _without_a_side(
    view: View, picture: Array, fitted: Fitted, kinds: tuple[str, ...], *, hold_ring: bool = False
) -> Fitted:
    """A better pose, if there is one, that comes out when the rim's edges on one side were a trap.

    On the near side powder, rim and bench follow each other closely, and one pair may look alike in colour.
    """
    found = [fitted]
    side = _worst_side(view, fitted)
    free = _settle(view, picture, fitted.pose, kinds, FREE, side=side, hold_ring=hold_ring)
    again = None if free is None else _settle(view, picture, free.pose, kinds, NARROW, hold_ring=hold_ring)
    if again is not None:
        found.append(again)
    return min(found, key=lambda one: one.badness)


def _worst_side(view: View, fitted: Fitted) -> int:
    """The side (0 to 3) on which the edges of the rim lie farthest from where the pose has them."""
    lines = [line for line in fitted.lines if line.kind != FOOT or view.bed.surface_below_rim_mm == 0.0]
    sides = side_of(view.bed, 180)
    miss = [np.mean([np.minimum(np.abs(line.at_px[sides == side]), 3.0).mean() for line in lines]) for side in range(4)]
    return int(np.argmax(miss))


def _ring_shows(fitted: Fitted) -> bool:
    """Whether both edges of the ring run along most of it (the inner one at least where powder lies behind it)."""
    inner = fitted.line(RIM) or fitted.line(FOOT)
    outer, foot = fitted.line(RING_EDGE), fitted.line(FOOT)
    if inner is None or outer is None or foot is None:
        return False
    scale = float(np.exp(fitted.pose[LN_SCALE]))
    if fitted.pose[RING] * scale < 2.0 or outer.support(1.2) < 0.6:
        return False
    hidden = ~foot.seen & inner.seen
    good = (np.abs(inner.at_px) <= 1.2) & (inner.clear > 0.4)
    behind = float(good[hidden].mean()) if hidden.sum() > 20 else 0.0
    return max(inner.support(1.2), behind) > 0.6


def _mirrored(view: View, pose: Vector) -> list[Vector]:
    """The other lean in which a full round bed looks the same; empty when the wall's depth tells them apart."""
    if not one_outline(view) or view.bed.shape != "round":
        return []
    ellipse = ellipse_of_circle(view.homography(pose), view.bed.width_mm / 2)
    others = view.of_circle(ellipse, view.focal_px(pose), 0.0)
    for other in others:
        other[RING], other[K1] = pose[RING], pose[K1]
    return [other for other in others if np.hypot(*(other[TX : TY + 1] - pose[TX : TY + 1])) > 0.02]


def _upright(view: View, picture: Array, fitted: Fitted, kinds: tuple[str, ...]) -> Fitted:
    """Of the two ways a full round bed may lean and look alike, the one that fits better."""
    tries = [_settle(view, picture, way, kinds, (3.0, *NARROW)) for way in _mirrored(view, fitted.pose)]
    return min([fitted, *(one for one in tries if one is not None)], key=lambda one: one.cost)
