"""Reading the comb: what the queen laid, what will emerge, what the colony will be."""

from hivewatch.comb.count import CombCount, count_sides
from hivewatch.comb.reading import CombReading, Range, read_comb
from hivewatch.comb.show import draw_bars, to_dict, to_text
from hivewatch.comb.words import describe

__all__ = [
    "CombCount",
    "CombReading",
    "Range",
    "count_sides",
    "describe",
    "draw_bars",
    "read_comb",
    "to_dict",
    "to_text",
]
