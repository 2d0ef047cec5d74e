"""What the planner starts from, every assumption in sight."""

from __future__ import annotations

from dataclasses import dataclass

from bedwatch.air.types import Supply


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A figure with its honest spread; all three alike when it is given."""

    low: float
    middle: float
    high: float

    @classmethod
    def of(cls, value: float) -> Span:
        return cls(low=value, middle=value, high=value)

    @property
    def known(self) -> bool:
        return self.low == self.high

    def times(self, factor: float) -> Span:
        """Every figure times a positive factor."""
        return Span(low=self.low * factor, middle=self.middle * factor, high=self.high * factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Something nobody told us. key: where it belongs in the bed file. value: what was taken. why: on what grounds."""

    key: str
    value: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AirInputs:
    """Powder, plate and supply of a bed, as its file tells them or as they were assumed.

    bulk_kg_m3: of the powder at rest; bulk_known: whether somebody weighed it. depth_m: of the powder at rest, air off.
    holes_per_zone: one number per zone, or None; pitch_m: side of the square each hole serves, or None; neither: holes are to be
    planned. supply: None when there is none yet.
    """

    grain_m: Span
    density_kg_m3: Span
    bulk_kg_m3: Span
    bulk_known: bool
    sphericity: float
    fines: float
    depth_m: float
    hole_m: float
    holes_per_zone: tuple[int, ...] | None
    pitch_m: float | None
    membrane_pa_s_m: float
    supply: Supply | None
    assumed: tuple[Assumed, ...]
