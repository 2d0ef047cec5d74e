"""All that looks at the powder surface, once it is known where it is: frame by frame, until a motion field is asked for."""

from __future__ import annotations

import math

from bedwatch.aim.following.place import Place
from bedwatch.aim.rectify import Rectifier
from bedwatch.aim.types import Aim
from bedwatch.bed import Bed, Cells
from bedwatch.errors import UserError
from bedwatch.frames.frame import Frame, Picture
from bedwatch.motion.bed_meter import bed_meter
from bedwatch.motion.cover import Cover
from bedwatch.motion.field import MotionField
from bedwatch.motion.rota import Turns
from bedwatch.motion.sight import beside_of, hue_of, row_light_of

# A surface that mostly moves, as one rigid thing by this share of its squared speed, is a piece that turns or glides: beds of
# powder show a hundredth, discs nine tenths, and half where they are too fast to be followed.
GLIDES_SHARE, GLIDES_S, _MOST = 0.4, 1.5, 0.5
# A camera that slipped by no more than this shows every place where it was; haze before the surroundings looks the same.
SLIP_MM = 1.0


class Eyes:
    """Rectified view, cover, colour, mains light and motion of one bed seen through one aim.

    size_px: (width, height) of the pictures. Raises UserError when the aim does not fit them.
    covered: whether something hides the surface, in part at least. gliding: whether the surface moves as one piece.
    """

    def __init__(self, aim: Aim, bed: Bed, cells: Cells, size_px: tuple[int, int]) -> None:
        self._rectifier = _rectifier(aim, bed, size_px)
        self._cover = Cover(self._rectifier.visible, self._rectifier.step_mm, beside_of(aim, bed, size_px))
        self._hue = hue_of(aim, size_px, self._rectifier, self._cover.size)
        self._mains = row_light_of(aim, bed, size_px, self._rectifier)
        self._meter = bed_meter(self._rectifier, bed, cells, aim)
        self._mm_per_px = aim.mm_per_px
        self._shift_px = (0.0, 0.0)
        self.covered = self.gliding = False

    def turns(self, frame_number: int) -> Turns | None:
        """Whose turn it is among the frames after the one of this number, once frames may be passed over; None for everyone's."""
        if self.covered or self._mains.active or not self._cover.settled:
            return None
        return self._meter.turns(frame_number)

    def pass_over(self, time_s: float) -> None:
        """A frame whose turn it is not: nothing of it is looked at."""
        self._meter.skip(time_s)

    def look(self, frame: Frame, place: Place, *, in_turn: bool = False) -> None:
        """Take in one frame. place: where the camera stands now. in_turn: others are passed over."""
        if place.jolted and self._slipped_mm(place.shift_px) < SLIP_MM:
            self._meter.cut()
        elif place.jolted:
            self._meter.pause(frame.time_s)
        self._shift_px = place.shift_px
        bands = self._mains.add(frame.picture, frame.time_s, frame.number)
        if self._mains.began:
            self._meter.forget()
        flat: Picture | None = None
        next_s = self._meter.next_s(frame.time_s) if in_turn else None
        if self._cover.due(frame.time_s, next_s) or self._meter.serves(frame.time_s):
            flat = self._rectifier.rectify(frame.picture, shift_px=place.shift_px)
            if bands is not None:
                flat = self._mains.even(flat, bands)
            self.covered = self._cover.add(
                flat,
                frame.time_s,
                lambda: self._hue.of(frame),
                frame.picture,
                unsure=place.hold,
                gliding=self.gliding,
                next_s=next_s,
            )
        if place.hold and not (self.covered or place.adrift or self._cover.light):
            return  # for a moment not known; what was seen before goes with what follows
        if self.covered or place.hold or self._cover.light:
            self._meter.pause(frame.time_s)
        elif flat is None:
            self._meter.skip(frame.time_s)
        else:
            self._meter.add(flat, frame.time_s)

    def _slipped_mm(self, shift_px: tuple[float, float]) -> float:
        """By how much what is made good of the camera's moves is another one than at the frame before."""
        return self._mm_per_px * math.dist(shift_px, self._shift_px)

    def pause(self, time_s: float) -> None:
        """The surface is not seen from this time on; the window starts anew, what the ground did is kept."""
        self._meter.pause(time_s)

    def forget(self, before_s: float | None = None) -> None:
        """Start the window anew; with a time, let it begin there."""
        if before_s is None:
            self._meter.forget()
        else:
            self._meter.forget_before(before_s)

    def field(self) -> MotionField | None:
        """The motion field of the window; None while no two frames were compared."""
        field = self._meter.field()
        if field is not None and field.seconds >= GLIDES_S:
            self.gliding = field.rigid > GLIDES_SHARE and bool(field.bed.live[0] > _MOST)
        return field


def _rectifier(aim: Aim, bed: Bed, size_px: tuple[int, int]) -> Rectifier:
    width, height = size_px
    if aim.size_px is not None and aim.size_px != size_px:
        raise UserError(
            f"the aim is for pictures of {aim.size_px[0]} x {aim.size_px[1]} px, these are {width} x {height} px: "
            "aim again with this camera setting"
        )
    try:
        return Rectifier(aim, bed, size_px)
    except ValueError as error:
        raise UserError(
            f"the aim does not fit these pictures of {width} x {height} px: {error}; "
            "expected one made with this camera setting; aim again"
        ) from error
