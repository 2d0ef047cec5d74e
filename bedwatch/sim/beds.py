"""Beds from plain numbers, for scenes that have no bed file."""

from __future__ import annotations

from bedwatch.bed import Bed, grid_zones, ring_zones


def round_bed(
    diameter_mm: float,
    rings: tuple[int, ...],
    *,
    first_boundary_deg: float = 0.0,
    surface_below_rim_mm: float = 60.0,
    name: str = "round bed",
) -> Bed:
    """A round bed; rings: zones per ring, centre first, all of the same area, numbered clockwise."""
    return Bed(
        name=name,
        shape="round",
        width_mm=diameter_mm,
        length_mm=diameter_mm,
        surface_below_rim_mm=surface_below_rim_mm,
        zones=ring_zones(rings, diameter_mm / 2, first_boundary_deg),
    )


def rectangular_bed(
    width_mm: float,
    length_mm: float,
    grid: tuple[int, int],
    *,
    surface_below_rim_mm: float = 60.0,
    name: str = "rectangular bed",
) -> Bed:
    """A rectangular bed, width along x; grid: (rows, columns), numbered by rows from 12 o'clock."""
    return Bed(
        name=name,
        shape="rectangular",
        width_mm=width_mm,
        length_mm=length_mm,
        surface_below_rim_mm=surface_below_rim_mm,
        zones=grid_zones(*grid, width_mm, length_mm),
    )
