"""Leaks, channels and changed air on the make-believe surface; hands, dust and light over its pictures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedwatch.sim import (
    POWDERS,
    AirChange,
    Bands,
    BedSource,
    Cloud,
    DisturbedSource,
    Light,
    RimLeak,
    Shadow,
    Spout,
    Thing,
    demo_scene,
    rectangular_bed,
    round_bed,
)
from bedwatch.sim.feed import Grid
from bedwatch.sim.surface import Surface

ROUND = round_bed(300.0, (1,))
LONG = rectangular_bed(300.0, 240.0, (1, 1))


@pytest.mark.parametrize("bed", [ROUND, LONG], ids=["round", "rectangular"])
@pytest.mark.parametrize("clock_deg", [0.0, 45.0, 100.0, 250.0])
def test_a_leak_stays_at_the_wall_within_its_length(bed, clock_deg: float) -> None:  # type: ignore[no-untyped-def]
    leak = RimLeak(clock_deg=clock_deg, length_mm=90.0, bubble_mm=10.0, per_s=40.0)
    surface = Surface(Grid(bed, 1.5), (0.5,), POWDERS["white"], leaks=(leak,), bed=bed, seed=3)
    for _ in range(40):
        surface.advance(0.05)
    events = np.array([event[:2] for event in surface.events])
    assert len(events) == pytest.approx(80, abs=3)
    x, y = leak.middle(bed)
    from_wall = (
        150 - np.hypot(*events.T)
        if bed is ROUND
        else np.minimum(150 - np.abs(events[:, 0]), 120 - np.abs(events[:, 1]))
    )
    assert from_wall.max() < 16
    assert np.hypot(events[:, 0] - x, events[:, 1] - y).max() <= 45 + 16  # half the length, and how far in they come up
    assert np.abs(surface.moved_mm).max() > 0  # also in powder that nothing else moves


def test_a_channel_moves_settled_powder_and_nothing_else() -> None:
    spout = Spout(x_mm=40.0, y_mm=-30.0, bubble_mm=16.0, per_s=6.0, stop_s=2.0)
    surface = Surface(Grid(ROUND, 1.5), (0.6,), POWDERS["white"], spouts=(spout,), seed=2)
    moved = np.zeros(surface.grid.shape)
    for _ in range(30):
        surface.advance(0.05)
        moved += np.hypot(*surface.moved_mm)
    away = np.hypot(surface.grid.x - 40, surface.grid.y + 30)
    assert moved[away < 8].min() > 0
    assert moved[away > 40].max() == 0
    count = len(surface.events)
    while surface.time_s < 4.0:
        surface.advance(0.05)
    assert max(event[3] for event in surface.events) < 2.1  # it has stopped
    assert len(surface.events) > count


def test_a_spout_may_wander_about_its_place() -> None:
    spout = Spout(x_mm=0.0, y_mm=0.0, wander_mm=10.0, wander_s=4.0)
    rng = np.random.default_rng(1)
    places = np.array([spout.place(t, rng) for t in np.arange(0, 4, 0.02)])
    assert np.hypot(*places.mean(axis=0)) < 1.0
    assert np.hypot(*places.T).mean() == pytest.approx(10.0, abs=1.5)


def test_air_that_is_changed_wakes_the_bed() -> None:
    change = AirChange(time_s=1.0, air=(2.0,))
    surface = Surface(Grid(ROUND, 1.5), (0.6,), POWDERS["white"], changes=(change,), seed=2)
    while surface.time_s < 1.0:
        surface.advance(0.05)
    assert not surface.events
    while surface.time_s < 2.0:
        surface.advance(0.05)
    assert len(surface.events) > 100


DISTURBANCES = {
    "rod": Thing(from_px=(0, 0), to_px=(320, 240), width_px=9, start_s=0.2, stop_s=2.0),
    "cloud": Cloud(share=0.6, start_s=0.2, stop_s=2.0),
    "light": Light(factor=0.7, lean=0.3, start_s=0.2),
    "bands": Bands(start_s=0.2),
    "shadow": Shadow(depth=0.4, width_px=200, start_s=0.2, stop_s=1.6),
}


@pytest.mark.parametrize("name", DISTURBANCES)
def test_a_disturbance_shows_from_its_beginning_on(name: str) -> None:
    scene = demo_scene(duration_s=1.0, fps=5.0)
    plain, laid = BedSource(scene), DisturbedSource(BedSource(scene), [DISTURBANCES[name]])
    differ = [
        float(np.mean(np.abs(one.picture.astype(int) - other.picture.astype(int)) > 3))
        for one, other in zip(plain, laid, strict=True)
    ]
    assert differ[0] == 0.0
    assert differ[-1] > 0.005
    assert laid.truth.air == plain.truth.air
    assert laid.duration_s is not None
    assert math.isclose(laid.duration_s, 1.0)
