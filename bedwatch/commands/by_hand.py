"""Points named by hand, mirrors and turns: what the options of `bedwatch aim` ask for, and the page to click on."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import webbrowser
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bedwatch.aim.hand.by_hand import aim_by_points, twelve_of
from bedwatch.aim.hand.points import HandPoints, Pixel
from bedwatch.aim.turned import mirrored, turned
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed
from bedwatch.errors import UserError
from bedwatch.files import write_bytes
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture
from bedwatch.show.by_hand_page import by_hand_page

JPEG_QUALITY = 92
_PAIR = re.compile(r"\s*([-+]?\d+(?:\.\d*)?|[-+]?\.\d+)\s*,\s*([-+]?\d+(?:\.\d*)?|[-+]?\.\d+)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """What the user knows better than the search. turn_deg: 12 o'clock, clockwise from the top as the picture shows it."""

    points: HandPoints = field(default_factory=HandPoints)
    mirrored: bool = False
    turn_deg: float = 0.0

    def find(self, pictures: Sequence[Picture], bed: Bed) -> Aim:
        """The aim by the named places alone. Raises UserError as `aim_by_points`."""
        return aim_by_points(self.points, bed, _size(pictures[-1]))

    def laid(self, found: Aim, bed: Bed) -> Aim:
        """The finding with 12 o'clock where it was said to be, and mirrored if the picture is."""
        if self.points.twelve is not None and not self.points.outlined:
            found = twelve_of(found, bed, self.points.twelve)
        if self.turn_deg != 0.0:
            found = turned(found, bed, self.turn_deg)
        return mirrored(found, bed) if self.mirrored else found


def hand_asked(
    *,
    wall: Sequence[str] | None,
    rim: Sequence[str] | None,
    corner: Sequence[str] | None,
    rim_corner: Sequence[str] | None,
    twelve: str | None,
    mirrored: bool,
    upside_down: bool,
    turn: float | None,
    page: bool = False,
    marks: bool = False,
    as_json: bool = False,
) -> Hand:
    """From the options to what they mean. Raises UserError, a line per mistake."""
    mistakes: list[str] = []
    if page and as_json:
        mistakes.append("found --by-hand and --json, expected only one of them: a page is for people")
    ways = [("--marks", marks), ("--by-hand", page), ("--wall and its like", bool(wall or rim or corner or rim_corner))]
    if marks and sum(given for _, given in ways) > 1:
        mistakes.append(
            f"found {' and '.join(name for name, given in ways if given)}, expected only one of them: each finds the bed alone"
        )

    def pixels(option: str, texts: Sequence[str] | None) -> tuple[Pixel, ...]:
        found = []
        for text in texts or ():
            pair = _PAIR.fullmatch(text)
            if pair is None:
                mistakes.append(
                    f'{option}: found "{text}", expected two numbers of pixels with a comma between, such as 412.5,310'
                )
            else:
                found.append((float(pair[1]), float(pair[2])))
        return tuple(found)

    points = HandPoints(
        wall=pixels("--wall", wall),
        rim=pixels("--rim", rim),
        corners=pixels("--corner", corner),
        rim_corners=pixels("--rim-corner", rim_corner),
        twelve=next(iter(pixels("--twelve", [twelve] if twelve is not None else [])), None),
    )
    told = [name for name, is_so in (("--twelve", twelve), ("--upside-down", upside_down), ("--turn", turn)) if is_so]
    if len(told) > 1:
        mistakes.append(f"found {' and '.join(told)}, expected only one of them: each says where 12 o'clock is")
    if turn is not None and not -360.0 <= turn <= 360.0:
        mistakes.append(f"--turn: found {turn:g}, expected degrees from -360 to 360")
    if mistakes:
        raise UserError(*mistakes)
    return Hand(points=points, mirrored=mirrored, turn_deg=180.0 if upside_down else turn or 0.0)


def write_page(picture: Picture, bed: Bed, hand: Hand, line: Sequence[str], path: Path) -> None:
    """Write the page to click on, and show it where there is a screen. line: the command line that the places end."""
    _, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    points = hand.points
    named = {
        "wall": points.wall,
        "rim": points.rim,
        "corner": points.corners,
        "rim-corner": points.rim_corners,
        "twelve": (points.twelve,) if points.twelve else (),
    }
    page = by_hand_page(bed, jpeg.tobytes(), _size(picture), _quoted(line), named)
    write_bytes(path, page.encode("utf-8"))
    print(f"Open {path} in a browser, click on the bed, and paste the line that it shows.", flush=True)
    if has_screen():
        webbrowser.open(path.resolve().as_uri())


def has_screen() -> bool:
    """Whether a person sits before this terminal and windows can open."""
    if not (sys.stdin and sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def command_line(
    source: str, bed_file: Path, out: Path, picture: Path | None, pictures_per_s: float | None, hand: Hand
) -> list[str]:
    """The words of the command line that takes the places, without them."""
    words = ["bedwatch", "aim", source, "--bed", str(bed_file), "--out", str(out)]
    if picture is not None:
        words += ["--picture", str(picture)]
    if pictures_per_s is not None:
        words += ["--pictures-per-second", f"{pictures_per_s:g}"]
    if hand.mirrored:
        words.append("--mirrored")
    if hand.turn_deg != 0.0:
        words += ["--turn", f"{hand.turn_deg:g}"]
    return words


def _quoted(words: Sequence[str]) -> str:
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)


def _size(picture: Picture) -> tuple[int, int]:
    return picture.shape[1], picture.shape[0]


__all__ = ["Hand", "command_line", "hand_asked", "has_screen", "write_page"]
