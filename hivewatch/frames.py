"""The frame table: how much comb a frame holds, so that shares of a side become counts.

No standard fixes these numbers for all frames: each row says where its own are from. Those that
rest on the outer measure of a frame take 20 mm of wood from the length and 30 mm from the height
(a rough middle of common frame wood: own choice, checked in tests/published/test_frames.py).

Which super stands on a hive nobody tells: its combs are taken as the lowest that are common for the
brood frame, by their outer measure [6] (Langstroth 137 mm, Dadant 159, British 140 and 152, Swiss
half a comb, the others full), so that room is wanted rather too early.

References
----------
[1] Agroscope, "Volksentwicklung bei der Honigbiene", as quoted by imker.felser.ch: up to 400 worker
    cells and 130 bees to one dm2 of one comb side. A colony of 5,000 bees covers 28 eighths on
    Dadant and 32 eighths on Swiss combs: 11.0 and 9.6 dm2 a side at 130 bees.
[2] Leaflet on colony strength for pollination certificates (htfbw.com): ten Langstroth deep frames
    are 2,700 square inches of comb, so 8.71 dm2 a side.
[3] imkerei.mueggelland.de, estimation of colony strength: a full side of the German standard frame
    is 3,200 worker cells, 1,000 bees, 1 kg of honey.
[4] bbkamodules.wordpress.com, "Hives, frames and ratios" (2015): brood cells a box; National 55,000
    on 11 frames, 14 x 12 80,300 on 11, Commercial 70,625 on 11.
[5] Popular figures for a full frame (kingbee.us, biologyinsights.com): deep 6 lb, medium 4 lb.
[6] Outer measures of the frame from memory, no source at hand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

SOURCES = {
    "1": "Agroscope, Volksentwicklung bei der Honigbiene",
    "2": "leaflet on colony strength for pollination certificates, htfbw.com",
    "3": "estimation of colony strength, imkerei.mueggelland.de",
    "4": "Hives, frames and ratios, bbkamodules.wordpress.com 2015",
    "5": "popular figures for a full frame",
    "6": "from memory, no source at hand",
}

CELLS_PER_DM2 = 400  # [cells/dm2, one side] published [1]; 5.37 mm across flats
DRONE_CELLS_PER_DM2 = 253  # [cells/dm2, one side] 6.75 mm across flats: 6.6 to 6.9 [6]
BEES_PER_DM2 = 130  # [bees/dm2, one side] published [1]
HONEY_KG_PER_DM2 = 0.156  # [kg/dm2, one side] own choice: row langstroth-deep, [5] over [2]


@dataclass(frozen=True)
class Frame:
    """One kind of frame; all numbers are of worker comb that fills it."""

    name: str
    side_dm2: float
    side_cells: int
    side_bees: int
    honey_kg: float  # both sides
    super_dm2: float  # one side of a comb of the lowest common super
    source: str

    @property
    def side_drone_cells(self) -> int:
        """Cells of drone comb that fill one side."""
        return round(self.side_dm2 * DRONE_CELLS_PER_DM2)

    @property
    def super_kg(self) -> float:
        """Honey in a full comb of a super, both sides. [kg]."""
        return 2 * self.super_dm2 * HONEY_KG_PER_DM2

    @property
    def words(self) -> str:
        """Say where its numbers are from."""
        return re.sub(r"\[(\d)\]", lambda number: f"({SOURCES[number[1]]})", self.source)


def _frame(
    name: str,
    side_dm2: float,
    super_dm2: float,
    source: str,
    *,
    side_cells: int | None = None,
    side_bees: int | None = None,
    honey_kg: float | None = None,
) -> Frame:
    """Fill in what has no figure of its own from the side's area."""
    return Frame(
        name,
        side_dm2,
        side_cells or round(side_dm2 * CELLS_PER_DM2),
        side_bees or round(side_dm2 * BEES_PER_DM2),
        honey_kg or round(2 * side_dm2 * HONEY_KG_PER_DM2, 1),
        super_dm2,
        source,
    )


FRAMES: dict[str, Frame] = {
    frame.name: frame
    for frame in (
        _frame("langstroth-deep", 8.71, 4.58, "area [2], honey [5]", honey_kg=2.7),
        _frame("langstroth-medium", 5.52, 5.52, "448 x 159 mm [6], honey [5]", honey_kg=1.8),
        _frame("dadant", 11.0, 5.52, "area [1]"),
        _frame("swiss", 9.6, 4.0, "area [1]"),
        _frame(
            "german-normal",
            8.0,
            8.0,
            "cells, bees, honey [3]; area from the cells",
            side_cells=3200,
            side_bees=1000,
            honey_kg=2.0,
        ),
        _frame("zander", 7.6, 7.6, "420 x 220 mm [6]"),
        _frame("british-national", 6.25, 3.7, "area from the cells [4]", side_cells=2500),
        _frame("british-14x12", 9.12, 3.7, "area from the cells [4]", side_cells=3650),
        _frame("british-commercial", 8.03, 4.71, "area from the cells [4]", side_cells=3210),
    )
}
