"""What `bedwatch aim` was told about cards with marks, checked before anything is opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bedwatch.aim.cards.by_marks import find_by_marks
from bedwatch.aim.types import Aim, NotFound
from bedwatch.bed.model import Bed
from bedwatch.bed.units import length_mm
from bedwatch.errors import UserError
from bedwatch.frames.frame import Picture

DEEPEST_MM = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards:
    """printed_mm: length of the printed rule of 100 mm. below_rim_mm: from the top of the wall down to the cards."""

    printed_mm: float
    below_rim_mm: float | None

    def find(self, pictures: Sequence[Picture], bed: Bed) -> Aim | NotFound:
        return find_by_marks(pictures, bed, self.printed_mm, self.below_rim_mm)


def cards_asked(marks: bool, printed_mm: float | None, marks_below_rim: str | None) -> Cards | None:
    """None when the bed is to be found without cards. Raises UserError with a line per mistake."""
    mistakes = []
    below = None
    if not marks:
        told = (("--printed-mm", printed_mm), ("--marks-below-rim", marks_below_rim))
        mistakes = [
            f"{name}: found without --marks, expected both; add --marks" for name, value in told if value is not None
        ]
    if printed_mm is not None and not 80.0 <= printed_mm <= 120.0:
        mistakes.append(
            f"--printed-mm: found {printed_mm:g}, expected what the printed rule of 100 mm measures, 80 to 120; "
            'else print again at "actual size"'
        )
    if marks_below_rim is not None:
        try:
            below = length_mm(marks_below_rim)
        except ValueError as error:
            mistakes.append(f"--marks-below-rim: {error}")
        else:
            if not 0.0 <= below <= DEEPEST_MM:
                mistakes.append(f'--marks-below-rim: found "{marks_below_rim}", expected 0 mm to {DEEPEST_MM:g} mm')
    if mistakes:
        raise UserError(*mistakes)
    return Cards(printed_mm=100.0 if printed_mm is None else printed_mm, below_rim_mm=below) if marks else None
