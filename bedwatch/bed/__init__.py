"""What the bed is: units, shape, zones, equal-area cells, the bed file. Millimetres, no pixels."""

from bedwatch.bed.cells import cell_index, make_cells
from bedwatch.bed.clock import clock_position
from bedwatch.bed.model import Bed, CellLayout, Cells, Points, Sector, Zone
from bedwatch.bed.read import read_bed
from bedwatch.bed.toml_text import FileError
from bedwatch.bed.units import angle_deg, length_mm
from bedwatch.bed.valves import Valves
from bedwatch.bed.zones import distance_to_border, grid_zones, inside_bed, ring_zones, zone_index

__all__ = [
    "Bed",
    "CellLayout",
    "Cells",
    "FileError",
    "Points",
    "Sector",
    "Valves",
    "Zone",
    "angle_deg",
    "cell_index",
    "clock_position",
    "distance_to_border",
    "grid_zones",
    "inside_bed",
    "length_mm",
    "make_cells",
    "read_bed",
    "ring_zones",
    "zone_index",
]
