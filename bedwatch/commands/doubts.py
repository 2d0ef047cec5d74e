"""Whether an aim file agrees with itself for a bed: it may have been made for another one."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from bedwatch.aim.aimfile import read_aim
from bedwatch.aim.outline import outline_of
from bedwatch.aim.types import Corners, Ellipse, Outline
from bedwatch.bed import Bed

# Beyond these the file is another bed's or another camera's; an outline drawn by hand may well be 5 % off. Our own choice.
OUTLINE_OFF = 0.10
SCALE_OFF = 0.20


def aim_doubts(aim_file: Path, bed_file: Path, bed: Bed) -> list[str]:
    """A line for each figure in an aim file that its own bed_to_picture, which has the say, puts elsewhere.

    The file must be one that `read_aim` takes for this bed.
    """
    aim = read_aim(aim_file)
    with aim_file.open("rb") as file:
        scale = float(tomllib.load(file)["mm_per_px"])
    found = {
        "surface": (_apart(aim.surface, outline_of(aim.bed_to_picture, bed)), OUTLINE_OFF, "an outline"),
        "mm_per_px": (abs(scale / aim.mm_per_px - 1), SCALE_OFF, "a scale"),
    }
    return [
        f"{aim_file}: {key}: found {what} that differs by {share:.0%} from what bed_to_picture makes of the bed in {bed_file}, "
        "expected the aim made for this bed; aim again"
        for key, (share, most, what) in found.items()
        if share > most
    ]


def _apart(stated: Outline, drawn: Outline) -> float:
    """How far apart two outlines lie, as a share of the larger semi-axis, or of half the mean side."""
    if isinstance(stated, Ellipse) and isinstance(drawn, Ellipse):
        centre = np.hypot(*np.subtract(stated.centre_px, drawn.centre_px))
        axes = np.abs(np.subtract(sorted(stated.axes_px), sorted(drawn.axes_px))).max()
        return float(max(centre, axes) / max(drawn.axes_px))
    if isinstance(stated, Corners) and isinstance(drawn, Corners):
        one, other = np.array(stated.corners_px), np.array(drawn.corners_px)
        side = np.hypot(*(other - np.roll(other, 1, axis=0)).T).mean()
        return float(np.hypot(*(one - other).T).max() / (side / 2))
    raise AssertionError("read_aim takes no outline of another kind than the bed's")
