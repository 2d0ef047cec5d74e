"""The camera's place over time: still, shaking, creeping, knocked to another place, or lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bedwatch.aim.following.anchor import Anchor, Stand
from bedwatch.aim.outline import mm_per_px
from bedwatch.aim.types import Aim, Corners, Ellipse, Outline
from bedwatch.frames.frame import Picture

_LOOK_EVERY_S = 0.19
_NOTICEABLE_PX = 0.4  # a shift that is made good; flicker makes up to 0.3
_NOTICEABLE_SMALL = 0.14  # and pixels of the anchor's small picture: dark surroundings tell no finer
_GLIDE_PX = 0.015
_CALM_S = 2.0  # after this long without a move the camera is taken to stand still again
_ADRIFT_S = 0.12  # haze or a bad picture hides the surroundings for a moment only
_STRAY_S = 0.6  # astray for so long: the bed is lost
_OTHER_S = 3.0  # as strange for so long, though it has not moved: other light, other things about
_SEEK_EVERY_S = 0.3
_SEEK_SELDOM_S = 1.0
_AGREE_PX = 1.5
_TURNED_PX = 0.8  # a turn or zoom that moves the bed's edge by so much asks for a new aim
_ALONE_PX = (
    2.5  # one without a shift: knocks shift the picture too, haze that drifts past the surroundings seems to turn it
)
_SURELY_PX, _AGAIN_S = 2.0, 0.15  # at once, or when it shows again so much later: one noisy picture turns nothing
_SETTLED_S = 0.45
_TOLD_S = 10.0


class Place:
    """Where the camera stands now.

    shift_px: what the rectifier must make good; (0, 0) while the camera stands where it was aimed. jolted: true for the one
    frame at which that correction begins, ends or jumps, when what was seen before does not go with what follows.
    hold: what this frame shows of the bed cannot be trusted; adrift: nor what was seen before it. lost: the bed is not where
    it was aimed at, and it is not known where. stand: set when the camera has come to rest turned or zoomed: `moved_aim`
    makes the aim for it.
    moving: it moved within the last seconds, or may be elsewhere. moved_px: how far it has moved within the last ten seconds.
    """

    def __init__(self) -> None:
        self.shift_px: tuple[float, float] = (0.0, 0.0)
        self.jolted = False
        self.hold = False
        self.adrift = False
        self.lost = False
        self.stand: Stand | None = None
        self._noticeable_px = _NOTICEABLE_PX
        self._looked_s = -np.inf
        self._moving_s = -np.inf
        self._sought_s = -np.inf
        self._astray_s: float | None = None
        self._turned_s: float | None = None
        self._last: Stand | None = None
        self._base: Stand | None = None  # where it stood when it last came to rest
        self._moves: list[tuple[float, float, float]] = []

    def follow(self, anchor: Anchor, picture: Picture, time_s: float) -> tuple[float, float] | None:
        """The camera's shift in this picture, None when not looked for or not known. Often while it moves, else at times."""
        self.jolted = False
        self._noticeable_px = max(_NOTICEABLE_PX, _NOTICEABLE_SMALL * anchor.shrink)
        self._glide()
        moving = time_s - self._moving_s < _CALM_S
        if not moving and not self.hold and time_s - self._looked_s < _LOOK_EVERY_S:
            return None
        self._looked_s = time_s
        stand = anchor.look(picture)
        if stand is None and anchor.astray:
            stand = self._stray(anchor, time_s)
        if stand is None:
            return None
        self._astray_s = None
        self.jolted = self.lost or (self.hold and self.adrift)
        self.lost = self.hold = self.adrift = False
        self._take(stand, moving, time_s)
        return stand.shift_px

    def jumped(self, jump_px: tuple[float, float] | None, time_s: float) -> None:
        """Where nothing still is in sight: the whole picture has jumped (right, down) in this frame, or not (None)."""
        self.jolted = jump_px is not None
        self._moves = [move for move in self._moves if time_s - move[0] < _TOLD_S]
        if jump_px is not None:
            self._moves.append((time_s, *self.shift_px))
            self.shift_px = (self.shift_px[0] + jump_px[0], self.shift_px[1] + jump_px[1])
            self._moves.append((time_s, *self.shift_px))

    def _take(self, stand: Stand, moving: bool, time_s: float) -> None:
        """A place that is known."""
        base = self._base
        away = np.hypot(*stand.shift_px) if base is None else np.hypot(*np.subtract(stand.shift_px, base.shift_px))
        edge = stand.edge_px if base is None else abs(stand.edge_px - base.edge_px)
        if away > self._noticeable_px:
            self.jolted = self.jolted or not moving
            self._moving_s = time_s
        self._moves.append((time_s, *stand.shift_px))
        self._moves = [move for move in self._moves if time_s - move[0] < _TOLD_S]
        if time_s - self._moving_s < _CALM_S:
            self.shift_px = stand.shift_px
            self._rest(stand, time_s)
        self._turn(stand, edge, float(away), time_s)

    def _glide(self) -> None:
        """Once it stands still the correction goes to that of rest, too slowly to pass for motion."""
        if self._looked_s - self._moving_s < _CALM_S or self.hold:
            return
        there = (0.0, 0.0) if self._base is None else self._base.shift_px
        right, down = np.clip(np.subtract(there, self.shift_px), -_GLIDE_PX, _GLIDE_PX)
        self.shift_px = (self.shift_px[0] + float(right), self.shift_px[1] + float(down))

    def _rest(self, stand: Stand, time_s: float) -> None:
        """Two seconds at one new place: it stands still there."""
        recent = [move for move in self._moves if time_s - move[0] < _CALM_S]
        if len(recent) < 10 or time_s - recent[0][0] < 0.8 * _CALM_S:
            return
        spread = np.ptp(np.array(recent)[:, 1:], axis=0)
        if spread.max() < self._noticeable_px:
            middle = np.median(np.array(recent)[:, 1:], axis=0)
            self._base = replace(stand, shift_px=(float(middle[0]), float(middle[1])))
            self._moving_s = -np.inf

    def _turn(self, stand: Stand, edge_px: float, away_px: float, time_s: float) -> None:
        if edge_px < (_TURNED_PX if away_px > self._noticeable_px else _ALONE_PX):
            self._turned_s = None
            return
        if self._turned_s is None or self._last is None or _apart(stand, self._last) > _AGREE_PX:
            self._turned_s = time_s
        self._last = stand
        self.adrift = time_s - self._turned_s >= _AGAIN_S
        self.hold = edge_px > _SURELY_PX or self.adrift
        if time_s - self._turned_s >= _SETTLED_S:
            self.stand = stand

    def _stray(self, anchor: Anchor, time_s: float) -> Stand | None:
        """The surroundings do not show where they were: look for them, and say the bed is lost when they are not found."""
        if self._astray_s is None:
            self._astray_s = time_s
        self.hold = True
        away_s = time_s - self._astray_s
        self.adrift = away_s >= _ADRIFT_S
        self.lost = self.lost or away_s >= _STRAY_S
        if time_s - self._sought_s < (_SEEK_EVERY_S if away_s < 3.0 else _SEEK_SELDOM_S):
            return None
        self._sought_s = time_s
        found = anchor.seek()
        if found is not None:
            return found
        if anchor.unmoved:
            self.lost = False
            if away_s >= _OTHER_S:
                anchor.learn_anew()
                self.jolted, self.hold, self._astray_s = True, False, None
        return None

    @property
    def moving(self) -> bool:
        """Whether it moved within the last seconds, or is not known to stand where it stood."""
        away = self.hold or self.adrift or self.lost or self.jolted
        return away or self._looked_s - self._moving_s < _CALM_S or self._turned_s is not None

    @property
    def moved_px(self) -> float:
        """Greatest distance between two places of the last ten seconds."""
        if not self._moves:
            return 0.0
        return float(np.hypot(*np.ptp(np.array(self._moves)[:, 1:], axis=0)))


def _apart(a: Stand, b: Stand) -> float:
    return float(np.hypot(*np.subtract(a.shift_px, b.shift_px)) + abs(a.edge_px - b.edge_px))


def moved_aim(aim: Aim, stand: Stand) -> Aim:
    """The aim for a camera that has come to stand there: all of the picture turned, zoomed and shifted about the bed's centre."""
    scale = float(np.exp(stand.zoom))
    c, s = scale * np.cos(stand.turn_rad), scale * np.sin(stand.turn_rad)
    u, v = aim.pixels(np.zeros((1, 2)))[0]
    right, down = stand.shift_px
    there = np.array([[c, -s, u - c * u + s * v + right], [s, c, v - s * u - c * v + down], [0.0, 0.0, 1.0]])
    homography = there @ aim.bed_to_picture
    scale_mm = mm_per_px(homography)
    error = np.hypot(1.5 if aim.error_mm is None else aim.error_mm, 0.5 * scale_mm)

    def point(pixel: tuple[float, float]) -> tuple[float, float]:
        x, y, _ = there @ (*pixel, 1.0)
        return float(x), float(y)

    def outline(line: Outline) -> Outline:
        if isinstance(line, Corners):
            return Corners(corners_px=tuple(point(corner) for corner in line.corners_px))
        turned = line.angle_deg + float(np.degrees(stand.turn_rad))
        axes = (line.axes_px[0] * scale, line.axes_px[1] * scale)
        return Ellipse(centre_px=point(line.centre_px), axes_px=axes, angle_deg=turned)

    return replace(
        aim,
        surface=outline(aim.surface),
        rim=None if aim.rim is None else outline(aim.rim),
        bed_to_picture=homography,
        mm_per_px=scale_mm,
        error_mm=float(error),
    )


__all__ = ["Place", "moved_aim"]
