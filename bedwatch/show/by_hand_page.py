"""A page to name places of the bed on a picture: one file, everything in it, nothing from the network."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Mapping, Sequence
from importlib.resources import files
from string import Template
from typing import Any

from bedwatch.bed import Bed
from bedwatch.show.parts import SHORT_CAUTION

# Okabe & Ito 2008, Color universal design; the same tones as in the check picture.
TONES = {"wall": "#f0e442", "rim": "#e69f00", "corner": "#f0e442", "rim-corner": "#e69f00", "twelve": "#56b4e9"}
Place = tuple[float, float]


def by_hand_page(
    bed: Bed,
    jpeg: bytes,
    size_px: tuple[int, int],
    line: str,
    named: Mapping[str, Sequence[Place]] | None = None,
) -> str:
    """The page as HTML.

    jpeg: the picture, encoded, of this size (width, height). line: the command line without places; the page adds them.
    named: places known already, by the option they are given with ("wall", "rim", "corner", "rim-corner", "twelve").
    """
    steps = _round_steps(bed) if bed.shape == "round" else _corner_steps(bed)
    for step in steps:
        step["tone"] = TONES[step["option"]]
        step["given"] = [list(place) for place in (named or {}).get(step["option"], ())]
    given = {"size_px": list(size_px), "line": line, "steps": steps}
    folder = files("bedwatch.show").joinpath("page")
    size = f"{bed.width_mm:g} mm across" if bed.shape == "round" else f"{bed.width_mm:g} x {bed.length_mm:g} mm"
    return Template(folder.joinpath("by_hand.html").read_text(encoding="utf-8")).substitute(
        title=html.escape(f"{bed.name}: named by hand"),
        subtitle=html.escape(f"{bed.name}, {size}, powder {bed.surface_below_rim_mm:g} mm below the rim"),
        picture="data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii"),
        line=html.escape(line),
        caution=html.escape(SHORT_CAUTION),
        # a name from outside must not end the script element
        given=json.dumps(given).replace("<", "\\u003c"),
        style=folder.joinpath("by_hand.css").read_text(encoding="utf-8"),
        script=folder.joinpath("by_hand.js").read_text(encoding="utf-8"),
    )


def _round_steps(bed: Bed) -> list[dict[str, Any]]:
    wall = _step(
        "wall",
        "Powder at the wall",
        "Click where the powder meets the wall: five places or more, all round. Leave out what is hidden.",
        least=5,
        most=40,
        needed=True,
    )
    if bed.surface_below_rim_mm == 0:
        return [wall, _twelve()]
    rim = _step(
        "rim",
        "Rim",
        "Click the inner top edge of the wall: three places or more, all round. It tells which way the camera leans.",
        least=5,
        most=40,
        wished=3,
        dash=[9, 5],
    )
    return [wall, rim, _twelve()]


def _corner_steps(bed: Bed) -> list[dict[str, Any]]:
    what = "Click the four corners where the powder meets the walls, in any order. Skip this when one is hidden."
    powder = _step("corner", "Corners of the powder", what, least=4, most=4, around=False)
    if bed.surface_below_rim_mm == 0:
        return [powder, _twelve()]
    what = "Click the four corners of the inner top edge of the wall. One of the two fours is enough, both are better."
    rim = _step("rim-corner", "Corners of the rim", what, least=4, most=4, around=False, dash=[9, 5])
    return [powder, rim, _twelve()]


def _twelve() -> dict[str, Any]:
    what = "If 12 o'clock is not where the dotted line ends: click one place on the wall or rim there. Click again to turn it."
    return _step("twelve", "12 o'clock", what, least=0, most=1, around=False, outline=False)


def _step(
    option: str,
    title: str,
    what: str,
    *,
    least: int,
    most: int,
    around: bool = True,
    needed: bool = False,
    wished: int = 0,
    outline: bool = True,
    dash: Sequence[int] = (),
) -> dict[str, Any]:
    return {
        "key": option.replace("-", "_"),
        "option": option,
        "title": title,
        "what": what,
        "least": least,
        "most": most,
        "round": around,
        "needed": needed,
        "wished": wished,
        "outline": outline,
        "dash": list(dash),
    }


__all__ = ["by_hand_page"]
