"""Which of several candidates is the bed: things apart in the picture, and readings of one thing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedwatch.aim.finding.lines import FOOT
from bedwatch.aim.finding.refine import Refined
from bedwatch.aim.finding.verify import Evidence, doubt, side_cut
from bedwatch.aim.pose import LN_SCALE, View, bed_outline_mm

RIVAL = 0.15  # more penalty than that and another thing is no rival
# Of things that lie still a bucket may look more like the bed than the bed does, which is then just not believed.
RIVAL_STILL, BARELY = 0.3, 0.1
STILL = 1.25  # times livelier inside than outside: less is no motion at all
NEAR = 0.3  # of the bed's width: poses farther apart are of different things
UNLIKELY = 0.06  # penalty by which a pose is a third as likely
# So much more the misfit of outlines counts between readings of one thing: one place in ten of three outlines is news.
FIT_TELLS = 2.0
MUCH_WHOLER = 0.3  # more of the outline is seen, share of it
# Where the best reading itself fits loosely, by dents or things in the way, a worse fit does not make another one unlikely.
LOOSE, AS_GOOD = 0.15, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A refined pose and its evidence."""

    refined: Refined
    found: Evidence


def ordered(view: View, found: Sequence[Candidate]) -> list[Candidate]:
    """Candidates in the order in which they are to be believed.

    Best first, but what moves as a bed before the rest. Of several readings of the same thing that are believed, the one
    that leaves the least unexplained goes first, even before one that is refused and explains hardly more.
    """
    ranked = sorted(found, key=lambda one: (not moves_as_a_bed(view, one), -one.found.rank))
    if not ranked:
        return ranked
    best = ranked[0]
    sure = believed(view, best)
    readings = [
        one
        for one in ranked
        if believed(view, one)
        and same_thing(view, best, one)
        and (one.found.penalty < best.found.penalty + BARELY or sure)
        and not explains_less(one, best)
    ]
    if not readings:
        return ranked
    first = min(readings, key=unexplained)
    return [first, *(one for one in ranked if one is not first)]


def unexplained(one: Candidate) -> float:
    """What a reading leaves unexplained, to compare it with others of the same thing.

    How well outlines fit tells more about which reading is right than about whether there is a bed: a bed may be dented,
    but it is so in all of its readings.
    """
    return one.found.penalty + FIT_TELLS * one.refined.fitted.badness


def explains_less(one: Candidate, best: Candidate) -> bool:
    """Whether a reading has one outline less of the same tub to show than the best one.

    An outline that is drawn where half of it is not to be seen is none more.
    """
    return one.refined.lone and not best.refined.lone and one.found.whole < best.found.whole + MUCH_WHOLER


def same_thing(view: View, one: Candidate, other: Candidate) -> bool:
    """Whether two candidates are readings of the same thing in the picture."""
    span = float(np.exp(one.refined.fitted.pose[LN_SCALE])) * view.bed.width_mm
    return surface_apart_px(one, other) < NEAR * span


def believed(view: View, one: Candidate) -> bool:
    return doubt(view, one.refined.fitted, one.found) is None


def moves_as_a_bed(view: View, one: Candidate) -> bool:
    """Whether this moves inside its outline and nothing speaks against it: then a still thing that looks more like a bed
    does not stand in its way."""
    return one.found.lively and believed(view, one)


def rivalry(view: View, ranked: Sequence[Candidate]) -> str | None:
    """A reason to refuse when another thing in another place looks as much like the bed."""
    best = ranked[0]
    span = float(np.exp(best.refined.fitted.pose[LN_SCALE])) * view.bed.width_mm
    near, slack = (RIVAL, 0.0) if best.found.lively else (RIVAL_STILL, BARELY)
    for other in ranked[1:]:
        if other.found.penalty > best.found.penalty + near:
            continue
        if doubt(view, other.refined.fitted, other.found, slack) is not None:
            continue
        within = float(np.hypot(*(best.refined.fitted.pose - other.refined.fitted.pose)[:2])) < 0.05 * span
        if within and other.refined.lone and not best.refined.lone:  # a ledge or flange around the bed itself
            continue
        if best.found.moving > 2.0 and other.found.moving < 0.5 * best.found.moving:
            continue
        if best.found.lively and other.found.moving < STILL and other.found.penalty > best.found.penalty:
            continue
        if not same_thing(view, best, other):  # how much other readings of the same thing matter stands in the error
            return "two things in the picture look like the bed"
    return None


def surface_apart_px(a: Candidate, b: Candidate) -> float:
    """Mean distance of the surface outlines of two candidates."""
    lines = [one.refined.fitted.line(FOOT) for one in (a, b)]
    assert lines[0] is not None
    assert lines[1] is not None
    return float(np.hypot(*(lines[0].pixels - lines[1].pixels).T).mean())


def astray_mm(view: View, ranked: Sequence[Candidate]) -> float:
    """How far places of the surface may lie off because another pose explains the picture nearly as well, mm.

    Root mean square over the poses that are not in doubt, weighed by how little each leaves unexplained.
    """
    best = ranked[0]
    places = np.vstack([[[0.0, 0.0]], bed_outline_mm(view.bed, 8)])
    pixels = view.project(best.refined.fitted.pose, places, 0.0)
    # with a side out of sight an outline more may well be one taken for its neighbour all along another side
    loose = side_cut(view, best.refined.fitted)
    total, weights = 0.0, 1.0
    for other in ranked[1:]:
        if not believed(view, other):
            continue
        if explains_less(other, best) and not loose:
            continue
        if not same_thing(view, best, other):  # `rivalry` has judged it
            continue
        weight = min(1.0, float(np.exp((unexplained(best) - unexplained(other)) / UNLIKELY)))
        badness = best.refined.fitted.badness
        if badness > LOOSE and other.refined.fitted.badness < 2.0 * badness:
            weight = max(weight, AS_GOOD * min(1.0, float(np.exp((_rest(best) - _rest(other)) / UNLIKELY))))
        miss = view.places(other.refined.fitted.pose, pixels) - places
        total += weight * float((miss * miss).sum(axis=1).mean())
        weights += weight
    return float(np.sqrt(total / weights))


def _rest(one: Candidate) -> float:
    """What speaks against a reading beside its misfit."""
    return one.found.penalty - one.found.badness
