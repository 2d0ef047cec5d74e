"""The bed's plane, the lens and 12 o'clock from printed cards that lie on the powder."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bedwatch.aim.cards.by_marks import find_by_marks
from bedwatch.aim.cards.marks import HOURS, Card, card, factor_for, wall_mm
from bedwatch.aim.cards.marks_seen import mark_bits
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.sim import BedSource
from bedwatch.sim.clutter import Sheet
from bedwatch.sim.shop import Shop, shop
from tests.benchmarks.aim_scenes import FARTHEST_K1, errors, pictures_of
from tests.benchmarks.group import Group, Row

STRAIGHT, BENT = 6, 12
PX_PER_MM = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """One shop with cards: errors of the plane (mm) and of 12 o'clock (deg); NaN when refused."""

    seed: int
    words: str
    k1: float
    centre_mm: float = math.nan
    edge_mm: float = math.nan
    turn_deg: float = math.nan
    stated_mm: float = math.nan
    refused: str = ""


def printed(one: Card) -> Picture:
    """The card as printed, grey; its first row is the straight edge that goes to the wall."""
    width, depth = round(one.width_mm * PX_PER_MM), round(one.depth_mm * PX_PER_MM)
    picture = np.full((depth, width), 255, np.uint8)
    for mark, corners in zip(one.ids, one.corners_mm, strict=True):
        left, top = (corners[0] + [one.width_mm / 2, 0.0]) * [PX_PER_MM, -PX_PER_MM]
        side = round((corners[1, 0] - corners[0, 0]) * PX_PER_MM)
        bits = mark_bits(mark).astype(np.uint8) * 255
        row, column = round(top), round(left)
        picture[row : row + side, column : column + side] = cv2.resize(
            bits, (side, side), interpolation=cv2.INTER_NEAREST
        )
    return picture


def cards_on(bed: Bed, seed: int) -> tuple[Sheet, ...]:
    """The four cards as somebody lays them: up to a millimetre off the wall, a third of a degree off the hour."""
    factor = factor_for(bed)
    assert factor is not None
    rng = np.random.default_rng([seed, 6])
    sheets = []
    for hour in HOURS:
        one = card(factor, hour)
        turn = math.radians(30 * hour + rng.uniform(-0.33, 0.33))
        out = wall_mm(bed, hour, one.width_mm) - one.depth_mm / 2 - float(rng.uniform(0, 1))
        sheets.append(
            Sheet(
                picture=printed(one),
                mm_per_px=1 / PX_PER_MM,
                x_mm=out * math.sin(turn),
                y_mm=out * math.cos(turn),
                above_mm=-bed.surface_below_rim_mm,
                turn_deg=-math.degrees(turn),
            )
        )
    return tuple(sheets)


def jobs(base: int, quick: bool) -> Sequence[tuple[int, float]]:
    bent = np.linspace(-0.05, FARTHEST_K1, 3 if quick else BENT)
    return [(base + 6000 + k, float(k1)) for k, k1 in enumerate([0.0] * (1 if quick else STRAIGHT) + bent.tolist())]


def marked_shop(seed: int, k1: float) -> Shop:
    """A still shop whose bed takes cards, under a camera rolled by up to 40 degrees where the bed is round."""
    made = shop(seed, still=True, bent=k1, plain=True)
    trial = seed
    while factor_for(made.bed) is None:
        trial += 100_000
        made = shop(trial, still=True, bent=k1, plain=True)
    scene = made.scene
    assert scene.around is not None
    if scene.bed.shape == "round":
        roll = float(np.random.default_rng([seed, 7]).uniform(-40, 40))
        scene = replace(scene, camera=replace(scene.camera, roll_deg=roll))
    around = replace(scene.around, sheets=cards_on(scene.bed, seed))
    words = f"{made.words}, roll {scene.camera.roll_deg:+.0f}°"
    return replace(made, scene=replace(scene, around=around), words=words)


def run(job: tuple[int, float]) -> Marked:
    seed, k1 = job
    made = marked_shop(seed, k1)
    source = BedSource(replace(made.scene, duration_s=0.3))
    shots = pictures_of(source)
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 8])
    below = made.scene.bed.surface_below_rim_mm + float(rng.uniform(-1, 1))  # as a rule is read
    found = find_by_marks(shots, made.bed, marks_below_rim_mm=below)
    result = Marked(seed=seed, words=made.words, k1=k1)
    if not isinstance(found, Aim):
        return replace(result, refused=found.reason)
    centre, edge, turn = errors(found, source.truth, made.scene.bed)
    stated = math.nan if found.error_mm is None else found.error_mm
    return replace(result, centre_mm=centre, edge_mm=edge, turn_deg=turn, stated_mm=stated)


def rows(results: Sequence[Marked]) -> list[Row]:
    seen = [one for one in results if not one.refused]
    refused = len(results) - len(seen)
    failures = tuple(f"{one.seed}: refused, {one.refused} ({one.words})" for one in results if one.refused)
    if not seen:
        return [Row(figure="cards with marks", asked="", reached="none found", met=False, failures=failures)]
    turn = np.array([one.turn_deg for one in seen])
    bent = [one for one in seen if one.k1 < 0]
    edge = np.array([one.edge_mm for one in bent])
    straight = [one.edge_mm for one in seen if one.k1 == 0]
    honest = np.mean([max(one.centre_mm, one.edge_mm) <= 2 * one.stated_mm for one in seen])
    wide = Row(
        figure=f"wide lens (k1 −0.05 … −0.30), {sum(one.k1 < 0 for one in results)} shops, with marks",
        asked="worst ≤ 2 mm at the wall",
        reached=f"worst {edge.max():.2f}, median {np.median(edge):.2f} mm" if len(edge) else "none found",
        met=bool(len(edge) and edge.max() <= 2 and not refused),
        note=f"straight lenses worst {max(straight, default=math.nan):.2f} mm; within twice the stated error "
        f"{100 * honest:.0f} %; refused {refused}",
        failures=(
            *failures,
            *(
                f"{one.seed}: {one.edge_mm:.1f} mm, stated {one.stated_mm:.1f} ({one.words})"
                for one in seen
                if one.edge_mm > 2
            ),
        ),
    )
    upright = Row(
        figure=f"12 o'clock from the marks, {len(seen)} shops",
        asked="≤ 0.5°",
        reached=f"worst {turn.max():.2f}°, median {np.median(turn):.2f}°",
        met=bool(turn.max() <= 0.5 and not refused),
        note="cards laid up to 1 mm and 0.33° off, the camera rolled by up to 40°",
        failures=tuple(f"{one.seed}: {one.turn_deg:.2f}° ({one.words})" for one in seen if one.turn_deg > 0.5),
    )
    return [upright, wide]


def groups(base: int) -> tuple[Group, ...]:
    return (
        Group(name="aim-marks", section="aim", jobs=partial(jobs, base), run=run, rows=rows, words="cards with marks"),
    )
