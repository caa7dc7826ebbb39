"""What people tell of the places: yards, hives, and which device stands where since when."""

from hivewatch.apiary.file import read_apiary, write_apiary
from hivewatch.apiary.places import (
    Apiary,
    DeviceId,
    Hive,
    Id,
    Placement,
    Span,
    Yard,
    placed_spans,
    stands,
)

__all__ = [
    "Apiary",
    "DeviceId",
    "Hive",
    "Id",
    "Placement",
    "Span",
    "Yard",
    "placed_spans",
    "read_apiary",
    "stands",
    "write_apiary",
]
