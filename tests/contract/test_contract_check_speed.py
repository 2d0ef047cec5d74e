"""`bedwatch disc` and `bedwatch check-speed`."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from bedwatch.sim import Turntable, TurntableSource, round_bed, write_clip
from bedwatch.sim.camera import Camera, fitting_focal_px

if TYPE_CHECKING:
    from conftest import Ran

    Run = Callable[..., Ran]

RPM = 1.5


@pytest.fixture(scope="module")
def disc(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A textured tray that turns in a tub of the size of the bed file's."""
    bed = round_bed(420.0, (1, 6), surface_below_rim_mm=80.0)
    size = (480, 360)
    camera = Camera(size_px=size, height_mm=1000.0, focal_px=fitting_focal_px(size, 1000.0, 436.0, 0.93), tilt_deg=5.0)
    table = Turntable(bed=bed, omega_rad_s=RPM * 2 * math.pi / 60, camera=camera, duration_s=8.0, fps=15.0)
    return write_clip(TurntableSource(table), tmp_path_factory.mktemp("disc") / "disc.avi", codec="mjpeg")


def test_the_speed_of_a_turning_tray_is_right(run: Run, disc: Path, bed: Path) -> None:
    ran = run("check-speed", disc, "--rpm", RPM, "--bed", bed, "--json")
    assert ran.status == 0, ran
    found = ran.objects[0]
    assert found["within"] is True
    assert abs(found["off"]) < 0.04
    assert 0 < found["error"] < 0.05
    assert sum(ring["counted"] for ring in found["rings"]) >= 8
    told = run("check-speed", disc, "--rpm", 2 * RPM, "--bed", bed)
    assert told.status == 0
    assert "% low" in told.out
    assert "more than twice its error" in told.out


def test_nothing_that_turns_is_told(run: Run, clip: Path) -> None:
    ran = run("check-speed", clip, "--rpm", "3", "--diameter", "180 mm")
    assert (ran.status, ran.out) == (1, "")
    assert "the disc was not found" in ran.err


@pytest.mark.parametrize("ending", ["pdf", "svg"])
def test_the_disc_is_written(run: Run, tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"disc.{ending}"
    assert run("disc", "--out", out, "--diameter", "18 cm").status == 0
    assert len(out.read_bytes()) > 20_000


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("disc", "--out", "disc.png"), "--out: found"),
        (("disc", "--out", "disc.pdf", "--diameter", "30 cm"), "--diameter: found"),
        (("disc", "--out", "disc.pdf", "--diameter", "30"), "--diameter: found"),
        (("disc", "--out", "disc.pdf", "--paper", "a9"), "--paper: found"),
        (("check-speed", "no.avi", "--rpm", "3", "--diameter", "18 cm"), "no such file"),
        (("check-speed", "no.avi", "--rpm", "0", "--diameter", "18 cm"), "--rpm: found 0"),
        (("check-speed", "no.avi", "--rpm", "3"), "--diameter and --bed"),
        (("check-speed", "no.avi", "--rpm", "3", "--diameter", "18"), "--diameter: found"),
    ],
)
def test_one_line_for_a_mistake(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    lines = run(*arguments).mistakes
    assert len(lines) == 1
    assert told in lines[0]
    assert list(tmp_path.iterdir()) == []
