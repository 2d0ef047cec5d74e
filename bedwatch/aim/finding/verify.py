"""Whether a settled pose is really a bed: evidence that was not used to find it, and a reason when it is not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.finding.beside import drawn_inside, unexplained_mm
from bedwatch.aim.finding.edges import Array
from bedwatch.aim.finding.fit import FOCAL_SHARE, FOCAL_SPREAD, Fitted, within_px
from bedwatch.aim.finding.guesses import gap_px, plausible
from bedwatch.aim.finding.lines import BLUR_PX, FOOT, RIM, RING_EDGE, Line, beneath, looks, told_apart
from bedwatch.aim.finding.refine import Refined
from bedwatch.aim.pose import DEEPER, LN_DISTANCE, LN_SCALE, RING, U, V, Vector, View, bed_outline_mm
from bedwatch.frames.cv import cv2

SECTORS = 12
MOST_AGAINST = 0.6  # penalty above which a pose is not believed
MOST_AGAINST_LIVELY = 1.0  # of what moves inside its outline and not outside, as only a bed does
WHOLE_SIDE = 0.75  # of a rectangle's outline: so much is left when a side is missing
MISFIT_SQUARE = (
    0.3  # badness of a still rectangle: its twelve lines fix a pose so often over that only the right one fits
)
# With a side beyond the picture's edge a rectangle is no longer fixed so often over: what is left must fit closely, two
# outlines more closely than three.
SIDE_CUT, MISFIT_CUT, MISFIT_CUT_LONE = 0.24, 0.18, 0.12
SHOWS = 0.9  # share of a true outline that shows
LEAST_TELLING = 0.35  # of what does not move: below it the edges of a busy picture may look like an outline
BY_CHANCE = 0.25  # of an outline that plain powder may show somewhere inside the foot
MOST_AGAINST_LONE = 0.45  # of a still bed of whose rim one edge shows
LEAST_WALL_LONE_PX = 8.0  # a lid's or a hoop's edge looks like a wall so low
# Of three outlines within so little of each other, and of foot and rim within blur: a loose fit does not tell which is which.
MISFIT_THIN, MISFIT_THINNER = 0.3, 0.2
MOST_AGAINST_FULL = 0.35  # of a still bed full to the brim, which shows but one outline
# Where outlines are laid for comparison: aside, of the bed's width, and larger, logarithm.
ASIDE = ((0.11, 0.06, 0.0), (-0.07, 0.1, 0.0), (-0.09, -0.08, -0.2), (0.05, -0.12, -0.35), (0.0, 0.0, -0.5))


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What speaks for a bed, each 0 to 1.

    wall: share of the rim's outline, inner or outer, on clear edges. foot: the same for the seen part of the surface's outline.
    chance: the same share for outlines of that kind laid beside it (busy pictures have edges everywhere).
    whole: share of 12 sectors in which rim and foot both show.
    size: 1 when the bed fills a third of the picture or more.
    moving: how many times livelier a band inside the surface's outline is than one outside the rim.
    ringed: both edges of the rim show. apart: share of sectors in which the inside looks unlike the outside of the rim.
    wall_px: how wide the wall and rim look, foot to outermost edge (median, pixels).
    inside: share of another outline that shows inside the foot, where only powder should be.
    beside_mm: how far from the one edge of the rim that shows another outline runs, which the pose does not explain; 0
    where none does.
    level_odd, lens_odd: how unusual the level of the surface and the focal length would be, in standard deviations.
    drawn: share of a clear outline around the middle of the surface, where powder has none.
    spread_px, badness: misfit of the outlines (see `Fitted`). plausible: a camera could stand so.
    """

    wall: float
    foot: float
    chance: float
    whole: float
    size: float
    moving: float
    ringed: bool
    apart: float
    wall_px: float
    inside: float
    beside_mm: float
    level_odd: float
    lens_odd: float
    drawn: float
    spread_px: float
    badness: float
    plausible: bool

    @property
    def telling(self) -> float:
        """How much a place of the worse outline speaks for one being there, on average: logarithm of the likelihood ratio.

        A true outline shows in `SHOWS` of its places, any other line in as many as `chance` says.
        """
        shown, chance = min(self.wall, self.foot), min(max(self.chance, 0.02), SHOWS)
        return shown * math.log(SHOWS / chance) + (1.0 - shown) * math.log((1.0 - SHOWS) / (1.0 - chance))

    @property
    def lively(self) -> bool:
        """Whether it moves inside and not outside."""
        return self.moving > 1.5

    @property
    def penalty(self) -> float:
        """What speaks against the pose altogether; 0 when nothing does."""
        return sum(weight for weight, _ in self.against)

    @property
    def rank(self) -> float:
        """What candidates are ordered by, 0 to 1."""
        return math.exp(-self.penalty) * self.plausible

    @property
    def against(self) -> tuple[tuple[float, str], ...]:
        """What speaks against the pose, each with its weight and in words."""
        shows = min(self.wall, self.foot)
        missing = max(0.0, 0.9 - self.wall) + max(0.0, 0.9 - self.foot)
        whole = 1.0 - self.whole
        return (
            (self.badness, "the outlines found do not fit a bed of this size and depth"),
            (0.2 * (not self.ringed), "only one edge of the rim shows"),
            (max(0.0, self.inside - BY_CHANCE), "another outline shows inside the one that would be the powder's"),
            # what is missing counts once, whether it is scattered or in one piece
            (0.5 * missing * (missing >= whole), f"only {100 * shows:.0f} % of the outline shows"),
            (
                0.5 * whole * (missing < whole),
                f"the outline shows in only {round(SECTORS * self.whole)} of {SECTORS} sectors",
            ),
            (0.03 * min(self.lens_odd**2, 12.0), "the outlines found would need an unusual lens"),
            (
                0.03 * min(self.level_odd**2, 6.0),
                "the outlines found would need a surface much deeper or shallower than the bed file says",
            ),
        )


def _on_edge(line: Line, within_px: float) -> NDArray[np.bool_]:
    return np.asarray((np.abs(line.at_px) <= within_px) & (line.clear > 0.4) & line.seen)


def _sectors(shown: NDArray[np.bool_], seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(12,) true where a sector of an outline shows or cannot be seen."""
    parts = zip(np.array_split(shown & seen, SECTORS), np.array_split(seen, SECTORS), strict=True)
    return np.array([there.sum() < 4 or good.sum() >= 0.45 * there.sum() for good, there in parts])


def evidence(view: View, picture: Array, refined: Refined, liveliness: NDArray[np.float32] | None) -> Evidence:
    """Weigh a refined pose. liveliness: mean change between frames, any size, or None for a single picture."""
    fitted = refined.fitted
    scale = float(np.exp(fitted.pose[LN_SCALE]))
    within = within_px(fitted.pose)
    foot, rim, ring = told_apart(looks(view, picture, np.tile(fitted.pose, (3, 1)), (FOOT, RIM, RING_EDGE), 2.5))
    shown = _on_edge(rim, within) | _on_edge(ring, within)
    if refined.lone and fitted.line(RIM) is None and fitted.line(RING_EDGE) is not None:
        shown = _on_edge(ring, within)
    elif refined.lone:
        shown = _on_edge(rim, within)
    there = rim.seen | (shown & ring.seen)  # of the rim's outlines, where either tells something
    whole = np.mean(_sectors(shown, there) & _sectors(_on_edge(foot, within), foot.seen))
    span = scale * min(view.bed.width_mm, view.bed.length_mm) / min(view.size_px)
    return Evidence(
        wall=float(shown.sum() / max(1, there.sum())),
        foot=foot.support(within),
        chance=chance(view, picture, fitted.pose, within),
        whole=float(whole),
        size=float(np.clip(span / 0.33, 0.0, 1.0) ** 2),
        moving=inside_motion(view, fitted.pose, liveliness),
        ringed=not refined.lone,
        apart=apart(view, picture, fitted.pose),
        wall_px=wall_px(fitted),
        inside=beneath(view, picture, fitted.pose)[0],
        beside_mm=unexplained_mm(view, picture, fitted.pose) if refined.lone else 0.0,
        level_odd=float(fitted.pose[DEEPER]) / (4.0 + 0.1 * view.bed.surface_below_rim_mm),
        lens_odd=float(np.log(view.focal_px(fitted.pose) / (FOCAL_SHARE * max(view.size_px)))) / FOCAL_SPREAD,
        drawn=drawn_inside(view, picture, fitted.pose),
        spread_px=fitted.spread_px,
        badness=fitted.badness,
        plausible=plausible(view, fitted.pose),
    )


def chance(view: View, picture: Array, pose: Vector, within_px: float) -> float:
    """Support that outlines of the same kind find when they are laid where no outline is expected."""
    span = float(np.exp(pose[LN_SCALE])) * view.bed.width_mm
    moved = np.tile(pose, (len(ASIDE), 1))
    du, dv, grow = np.array(ASIDE).T
    moved[:, U] += du * span
    moved[:, V] += dv * span
    moved[:, LN_SCALE] += grow
    moved[:, LN_DISTANCE] -= grow
    lines = looks(view, picture, moved, [RIM] * len(ASIDE), 2.5)
    shares = [line.support(within_px) for line in lines if line.seen.sum() > 40]
    return float(np.mean(shares)) if shares else 1.0


def apart(view: View, picture: Array, pose: Vector) -> float:
    """Share of 12 sectors in which a band inside the bed differs from one outside its rim, in colour or in liveliness.

    A hoop, a cable or a drawn circle has the same on both sides of its line; a tub has powder in it.
    """
    height, span = view.depth_mm(pose), min(view.bed.width_mm, view.bed.length_mm)
    ring = max(float(pose[RING]), 0.01 * span)
    bands = []
    for base, outward, step in ((0.0, -0.06, -0.05), (height, 0.025, 0.04)):
        begin = outward * span + (ring if outward > 0 else 0.0)
        rows = [begin + k * step * span / 7 for k in range(8)]
        pixels = np.stack([view.project(pose, bed_outline_mm(view.bed, 180, mm), base) for mm in rows], axis=1)
        u, v = pixels[..., 0].astype(np.float32), pixels[..., 1].astype(np.float32)
        values = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        values = np.asarray(values, np.float32).reshape(*u.shape, -1)
        h, w = picture.shape[:2]
        values[(u < 0) | (v < 0) | (u > w - 1) | (v > h - 1)] = np.nan
        bands.append(np.array_split(values, SECTORS))
    unlike, known = 0, 0
    for inside, outside in zip(*bands, strict=True):
        a, b = (band.reshape(-1, band.shape[-1]) for band in (inside, outside))
        a, b = a[np.isfinite(a).all(axis=1)], b[np.isfinite(b).all(axis=1)]
        if len(a) > 20 and len(b) > 20:
            known += 1
            shift = np.abs(np.median(a, axis=0) - np.median(b, axis=0)).max()
            rough = (a.std(axis=0).mean() + 1.0) / (b.std(axis=0).mean() + 1.0)
            unlike += bool(shift > 7.0 or not 0.6 < rough < 1.7)
    return unlike / known if known >= SECTORS // 3 else 1.0


def wall_px(fitted: Fitted) -> float:
    """Median distance in the picture from the seen foot of the wall to the outermost edge of the rim."""
    foot, outer = fitted.line(FOOT), fitted.line(RING_EDGE) or fitted.line(RIM)
    if foot is None or outer is None or not foot.seen.any():
        return 0.0
    return float(np.median(np.hypot(*(foot.pixels - outer.pixels)[foot.seen].T)))


def inside_motion(view: View, pose: Vector, liveliness: NDArray[np.float32] | None) -> float:
    """Median change in a band just inside the surface's outline over that in one outside the rim; 1 when nothing moves."""
    if liveliness is None:
        return 1.0
    h, w = liveliness.shape
    times = view.size_px[0] / w
    span, depth = min(view.bed.width_mm, view.bed.length_mm), view.depth_mm(pose)
    ring = max(float(pose[RING]), 0.01 * span)
    medians = []
    for height, begin, end in ((0.0, -0.14 * span, -0.03 * span), (depth, ring + 0.02 * span, ring + 0.1 * span)):
        rows = [bed_outline_mm(view.bed, 120, float(mm)) for mm in np.linspace(begin, end, 5)]
        pixels = np.vstack([view.project(pose, places, height) for places in rows])
        at = np.rint((pixels + 0.5) / times - 0.5)
        at = at[(at >= 0).all(axis=1) & (at[:, 0] < w) & (at[:, 1] < h)].astype(np.intp)
        if len(at) < 60:
            return 1.0
        share = 50 if height == 0.0 else 30  # beside the tub people and hoses may move
        medians.append(float(np.percentile(liveliness[at[:, 1], at[:, 0]], share)))
    return medians[0] / max(medians[1], 0.25)


def side_cut(view: View, fitted: Fitted) -> bool:
    """Whether a side of a rectangular bed's surface lies outside the picture."""
    if view.bed.shape != "rectangular":
        return False
    u, v = view.project(fitted.pose, bed_outline_mm(view.bed, 40), 0.0).T
    outside = (u < 0) | (v < 0) | (u > view.size_px[0] - 1) | (v > view.size_px[1] - 1)
    return bool(outside.mean() > SIDE_CUT)


def doubt(view: View, fitted: Fitted, found: Evidence, slack: float = 0.0) -> str | None:
    """Why this is not surely a bed; None when it is. slack: so much more may speak against it."""
    lively = found.lively
    full = view.bed.surface_below_rim_mm == 0.0
    if not found.plausible:
        return "the outlines found would need an impossible camera place"
    if min(found.wall, found.foot) < 0.5:
        return f"only {100 * min(found.wall, found.foot):.0f} % of the outline shows"
    if found.whole < 0.5:
        return f"the outline shows in only {round(SECTORS * found.whole)} of {SECTORS} sectors"
    if found.telling < (0.0 if lively else LEAST_TELLING):
        return "the picture is so busy that edges lie everywhere, also where no outline is"
    if found.spread_px > max(1.2, 0.0035 * float(np.exp(fitted.pose[LN_SCALE])) * view.bed.width_mm):
        return "the outlines found do not fit a bed of this size and depth"
    if found.size < 0.45:
        return "the outline found is too small in the picture to be measured"
    if found.inside > 0.6:
        return "another outline shows inside the one that would be the powder's"
    closely = MISFIT_CUT if found.ringed else MISFIT_CUT_LONE
    if found.badness > closely + slack and side_cut(view, fitted):
        return "one side lies outside the picture, and what shows fits too loosely to tell where it is"
    if view.bed.shape == "rectangular" and not lively:
        if found.whole <= WHOLE_SIDE:
            return "one side of the outline hardly shows, so that the bed might end elsewhere"
        if found.badness > MISFIT_SQUARE + slack:
            return "the outlines found do not fit a bed of this size and depth"
    if found.drawn > 0.7 and not lively:
        return "another outline shows in the middle of the one that would be the powder's, like that of a lid"
    if found.apart < 0.6 and not lively:
        return "the outline found has the same on both sides, like a hoop or a drawn line"
    thin = not full and found.wall_px < LEAST_WALL_LONE_PX and not lively
    thinner = not full and gap_px(view, fitted.pose) < BLUR_PX and not lively  # a wide rim of a lid is no wall
    if (thin and (not found.ringed or found.badness > MISFIT_THIN)) or (thinner and found.badness > MISFIT_THINNER):
        return "rim and surface lie too close together in the picture to be told apart"
    if full and not found.ringed and not lively:
        return "a single plain outline shows, which could be any disc or plate"
    most = MOST_AGAINST_LIVELY if lively else MOST_AGAINST
    if not lively and not found.ringed:
        most = MOST_AGAINST_FULL if full else MOST_AGAINST_LONE
    return max(found.against)[1] if found.penalty > most + slack else None


__all__ = ["Evidence", "bed_outline_mm", "chance", "doubt", "evidence", "inside_motion"]
