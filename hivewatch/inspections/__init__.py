"""What people tell of the hives: what was seen and done, read and bounded."""

from hivewatch.inspections.file import read_comb_sides, read_inspections, read_told
from hivewatch.inspections.model import (
    Action,
    Brood,
    BroodCounts,
    Change,
    Inspection,
    QueenCells,
    Side,
    Told,
    adult_count,
    brood_counts,
    stores_kg,
    to_json,
)

__all__ = [
    "Action",
    "Brood",
    "BroodCounts",
    "Change",
    "Inspection",
    "QueenCells",
    "Side",
    "Told",
    "adult_count",
    "brood_counts",
    "read_comb_sides",
    "read_inspections",
    "read_told",
    "stores_kg",
    "to_json",
]
