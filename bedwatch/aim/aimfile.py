"""Aim files: read strictly, written atomically, and the same finding as one JSON object."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from bedwatch.aim.lens import Lens
from bedwatch.aim.outline import (
    corners_of_rectangle,
    ellipse_of_circle,
    fit_ellipse,
    mm_per_px,
    outline_points,
    to_picture,
)
from bedwatch.aim.turned import is_mirrored
from bedwatch.aim.types import Aim, Corners, Ellipse, Homography, NotFound, Outline, Problem, ProblemKind
from bedwatch.bed.model import Bed, Points
from bedwatch.bed.strict import Document, Table
from bedwatch.errors import UserError
from bedwatch.files import write_bytes

LENS_WORDS = (
    "The lens bends: a straightened pixel s lies in the real picture at centre_px + focal_px * x * (1 + k1 r^2 + k2 r^4),",
    "where x = (s - centre_px) / straight_focal_px and r = |x|. bed_to_picture draws on the straightened picture.",
)
FAR_PX = 1e6  # no picture is larger; a number beyond it is a slip
KINDS = tuple(kind.value for kind in ProblemKind)


def read_aim(path: Path | str, bed: Bed | None = None) -> Aim:
    """Read an aim file made by this program, by hand or by another one.

    Where its fields disagree, bed_to_picture has the say: with `bed` given, outlines and scale are drawn anew from it.
    Raises UserError with one line for each mistake: unknown or missing keys, wrong kinds of value, outlines that are
    none, a homography that no camera above the bed could have.
    """
    document = Document.read(path)
    top = document.top
    mirrored = bool(top.flag("mirrored", required=False))
    surface = _outline(top, "surface", required=True, mirrored=mirrored)
    rim = _outline(top, "rim", required=False, mirrored=mirrored)
    homography = top.numbers("bed_to_picture", 3, 3)
    scale = top.number("mm_per_px", 1e-3, 1e3)
    problems = _problems(top)
    size = top.whole_numbers("size_px", 1, 100_000, count=2, required=False)
    error = top.number("error_mm", 0.0, 1e4, required=False)
    level = top.numbers("level_mm", 2, required=False)
    lens = _lens(top)
    if surface is not None and rim is not None and type(surface) is not type(rim):
        top.mistake("rim", "found an outline of another kind than the surface's, expected both alike")
    if homography is not None:
        reason = _impossible(homography, surface if lens is None else None, mirrored=mirrored)
        if reason:
            top.mistake("bed_to_picture", reason)
    document.finish()
    assert surface is not None
    assert homography is not None
    assert scale is not None
    homography = homography / homography[2, 2]
    found = Aim(
        surface=surface,
        rim=rim,
        bed_to_picture=homography,
        mm_per_px=mm_per_px(homography),
        problems=problems,
        size_px=(size[0], size[1]) if size else None,
        error_mm=error,
        lens=lens,
        level_mm=None if level is None else (float(level[0]), float(level[1])),
    )
    return agreed(found, bed, str(path)) if bed is not None else found


def agreed(aim: Aim, bed: Bed, name: str = "the aim file") -> Aim:
    """The aim with its surface outline drawn from its homography for this bed.

    Raises UserError when the outlines are of the other shape than the bed, or the whole surface cannot be in view.
    """
    kind = Ellipse if bed.shape == "round" else Corners
    if not isinstance(aim.surface, kind):
        wanted = "an ellipse (centre_px, axes_px, angle_deg)" if bed.shape == "round" else "corners_px"
        raise UserError(
            f"{name}: surface: found the outline of another shape, expected {wanted} for this {bed.shape} bed"
        )
    try:
        surface = surface_drawn(aim, bed)
    except ValueError:
        surface = aim.surface
    if not np.isfinite(outline_points(surface, 16)).all() or (to_picture_depth(aim.bed_to_picture, bed) <= 0).any():
        raise UserError(f"{name}: bed_to_picture: found part of the bed behind the camera, expected all of it in front")
    return replace(aim, surface=surface)


def surface_drawn(aim: Aim, bed: Bed) -> Outline:
    """The surface's outline as homography and lens draw it. Raises ValueError when part of it is behind the camera."""
    if bed.shape == "round":
        if aim.lens is None:
            return ellipse_of_circle(aim.bed_to_picture, bed.width_mm / 2)
        turn = 2 * np.pi * np.arange(180) / 180
        return fit_ellipse(aim.pixels(bed.width_mm / 2 * np.column_stack([np.sin(turn), np.cos(turn)])))
    if aim.lens is None:
        return corners_of_rectangle(aim.bed_to_picture, bed.width_mm, bed.length_mm)
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    pixels = aim.pixels(signs * np.array([bed.width_mm, bed.length_mm]) / 2)
    return Corners(corners_px=tuple((float(u), float(v)) for u, v in pixels))


def to_picture_depth(homography: Homography, bed: Bed) -> Points:
    """The homogeneous depth of the corners of the bed's bounding box, 1 at the centre; 0 or less is behind the eye."""
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    places = signs * np.array([bed.width_mm, bed.length_mm]) / 2
    return np.asarray((places @ homography[2, :2] + homography[2, 2]) / homography[2, 2])


def write_aim(aim: Aim, path: Path | str) -> None:
    """Write an aim file whole or not at all. Raises UserError when the place cannot be written."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Where the bed is in the picture. Pixels: x right, y down, centres at whole numbers."))
    if aim.lens is not None:
        for line in LENS_WORDS:
            document.add(tomlkit.comment(line))
    for key, value in aim_json(aim).items():
        if value is not None and key != "problems":
            document.add(key, _toml(value))
    listed = tomlkit.array()
    for problem in aim.problems:
        listed.append(_toml({"problem": problem.kind.value, "advice": problem.advice}))
    document.add("problems", listed)
    write_bytes(path, tomlkit.dumps(document).encode())


def aim_json(aim: Aim | NotFound) -> dict[str, Any]:
    """The finding as a JSON object; what is not known is None."""
    problems = [{"problem": problem.kind.value, "advice": problem.advice} for problem in aim.problems]
    if isinstance(aim, NotFound):
        if not any(problem.kind is ProblemKind.BED_NOT_FOUND for problem in aim.problems):
            problems.append({"problem": "bed_not_found", "advice": f"{aim.reason}. {aim.advice}"})
        names = ("surface", "rim", "bed_to_picture", "mm_per_px", "size_px", "error_mm", "distortion", "level_mm")
        return {**dict.fromkeys(names), "problems": problems}
    optional = {"mirrored": True} if is_mirrored(aim.bed_to_picture) else {}
    return {
        "surface": _outline_json(aim.surface),
        "rim": _outline_json(aim.rim) if aim.rim is not None else None,
        "bed_to_picture": [[float(f"{value:.12g}") for value in row] for row in aim.bed_to_picture],
        "mm_per_px": round(aim.mm_per_px, 6),
        "size_px": list(aim.size_px) if aim.size_px else None,
        "error_mm": round(aim.error_mm, 3) if aim.error_mm is not None else None,
        "distortion": _lens_json(aim.lens) if aim.lens is not None else None,
        "level_mm": [round(value, 2) for value in aim.level_mm] if aim.level_mm is not None else None,
        **optional,
        "problems": problems,
    }


def _lens_json(lens: Lens) -> dict[str, Any]:
    return {
        "model": "radial",
        "k1": round(lens.k1, 6),
        "k2": round(lens.k2, 6),
        "focal_px": round(lens.focal_px, 4),
        "centre_px": [round(value, 3) for value in lens.centre_px],
        "straight_focal_px": round(lens.straight_focal_px, 4),
    }


def _lens(top: Table) -> Lens | None:
    table = top.table("distortion", required=False)
    if table is None:
        return None
    table.choice("model", ("radial",))
    k1, k2 = table.number("k1", -1.0, 1.0), table.number("k2", -1.0, 1.0, required=False)
    focal, straight = table.number("focal_px", 1.0, FAR_PX), table.number("straight_focal_px", 1.0, FAR_PX)
    centre = table.numbers("centre_px", 2)
    if k1 is None or focal is None or straight is None or centre is None:
        return None
    middle = (float(centre[0]), float(centre[1]))
    return Lens(k1=k1, k2=k2 or 0.0, focal_px=focal, centre_px=middle, straight_focal_px=straight)


def _outline_json(outline: Outline) -> dict[str, Any]:
    if isinstance(outline, Corners):
        return {"corners_px": [[round(u, 3), round(v, 3)] for u, v in outline.corners_px]}
    return {
        "centre_px": [round(value, 3) for value in outline.centre_px],
        "axes_px": [round(value, 3) for value in outline.axes_px],
        "angle_deg": round(outline.angle_deg, 3),
    }


def _toml(value: Any) -> Any:
    """Inline tables for mappings, one row a line for matrices."""
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.append(key, _toml(inner))
        return table
    if isinstance(value, list) and value and isinstance(value[0], list) and len(value[0]) == 3:
        rows = tomlkit.array()
        for row in value:
            rows.append(row)
        return rows.multiline(True)
    return tomlkit.item(value)


def _outline(top: Table, key: str, *, required: bool, mirrored: bool) -> Outline | None:
    table = top.table(key, required=required)
    if table is None:
        return None
    if "corners_px" in table:
        corners = table.numbers("corners_px", 4, 2)
        if corners is None:
            return None
        if np.abs(corners).max() > FAR_PX or not _clockwise_convex(corners[::-1] if mirrored else corners):
            table.mistake(
                "corners_px", "found corners that do not go round, expected four, clockwise from the one at -x, +y"
            )
            return None
        return Corners(corners_px=tuple((float(u), float(v)) for u, v in corners))
    centre = table.numbers("centre_px", 2)
    axes = table.numbers("axes_px", 2)
    angle = table.number("angle_deg", -360.0, 360.0)
    if centre is None or axes is None or angle is None:
        return None
    if np.abs(centre).max() > FAR_PX or axes.min() <= 0 or axes.max() > FAR_PX:
        table.mistake("axes_px", f"found {axes.tolist()}, expected two semi-axes larger than 0")
        return None
    return Ellipse(
        centre_px=(float(centre[0]), float(centre[1])), axes_px=(float(axes[0]), float(axes[1])), angle_deg=angle
    )


def _clockwise_convex(corners: Points) -> bool:
    """Whether four corners go round clockwise as seen (y down), turning the same way at each."""
    side = np.roll(corners, -1, axis=0) - corners
    ahead = np.roll(side, -1, axis=0)
    return bool((side[:, 0] * ahead[:, 1] - side[:, 1] * ahead[:, 0] > 0).all())


def _problems(top: Table) -> tuple[Problem, ...]:
    value = top.value("problems", "an array, empty if there are none", required=False)
    if value is None or value == []:
        return ()
    found = []
    for table in top.tables("problems") or ():
        kind = table.choice("problem", KINDS)
        advice = table.text("advice", longest=2000)
        if kind and advice:
            found.append(Problem(kind=ProblemKind(kind), advice=advice))
    return tuple(found)


def _impossible(homography: Homography, surface: Outline | None, *, mirrored: bool) -> str | None:
    """Why no camera above a bed could have this homography; None when one could."""
    h = homography
    if h[2, 2] == 0 or not math.isfinite(1.0 / h[2, 2]):
        return "found a last number of 0, expected the centre of the bed in front of the camera"
    h = h / h[2, 2]
    jacobian = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])
    turn = float(np.linalg.det(jacobian))
    size = float(np.abs(jacobian).max())
    if size == 0 or abs(turn) < 1e-6 * size * size or abs(np.linalg.det(h)) < 1e-12:
        return "found a matrix that squeezes the bed to a line, expected one that can be turned round"
    if turn > 0 and not mirrored:
        return (
            "found a mirrored view (y down in the bed), expected y to 12 o'clock, seen from above; "
            "or mirrored = true if the camera shows it so"
        )
    if turn < 0 and mirrored:
        return "found a view that is not mirrored, expected one as mirrored = true says"
    if surface is None:
        return None
    back = np.linalg.inv(h)
    pixels = outline_points(surface, 32)
    depth = np.column_stack([pixels, np.ones(len(pixels))]) @ back[2]
    centre = to_picture(h, np.zeros((1, 2)))[0] @ back[2, :2] + back[2, 2]
    if (depth * centre <= 0).any():
        return "found part of the surface behind the camera, expected all of it in front"
    return None


__all__ = ["agreed", "aim_json", "read_aim", "write_aim"]
