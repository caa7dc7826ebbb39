"""What a visit counted of the brood, as eggs a day, and what else it saw of the queen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from hivewatch.frames import FRAMES
from hivewatch.inspections import BroodCounts, Inspection, adult_count, brood_counts, stores_kg
from hivewatch.signals.season import LEVEL_PART, laying_level_at_least
from hivewatch.signals.window import HiveWindow

# [d] published: a worker is an egg for 3 days, a larva for 6, in a capped cell for 12
EGG_D, LARVA_D, OPEN_D, CAPPED_D = 3, 6, 9, 21
HUNGRY_KG = 1.0  # [kg] own choice: who starves raises no brood, whatever the queen ...
# [kg/d] ... nor who has no more than a day's food: 0.76 kg for 20,000 bees and 1,500 eggs a day,
# computed from the published constants in Becher et al. (2014)
FOOD_A_BEE_KG = 3.8e-5
SHORT_KG = 2.5  # [kg] common practice, no source: with less than a comb of honey she lays less


What = Literal["stopped", "failing", "lays", "lays little", "requeened", "hungry", "all here"]


@dataclass(frozen=True, slots=True)
class Sign:
    """What was seen, and since when laying is as it is.

    Parameters
    ----------
    what : str
        Laying has `stopped`, is `failing`, goes on (`lays`, `lays little`), or a queen was given;
        or the bees were `hungry`, so that their brood says nothing of her, or were no fewer than
        at the visit before (`all here`).
    at_s, told_s : int
        When it was seen, and when it is certain. [s]
    since_s : int
        Since about when. [s]
    words : str
        In words.
    confidence : float
        0 to 1.
    is_sure : bool
        That there is no queen, swarm or not.
    has_cells : bool
        That the bees raise another.
    """

    what: What
    at_s: int
    told_s: int
    since_s: int
    words: str
    confidence: float
    is_sure: bool = False
    has_cells: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """The part of a visit that tells of the queen; None where nobody counted."""

    at_s: int
    eggs: int | None
    open: int | None
    capped: int | None
    queen: str | None
    cells: int
    stage: str | None  # of the cells
    adults: int | None
    stores_kg: float | None
    actions: frozenset[str]
    season: float  # what queens lay at this time of the year, as a part of the most

    @property
    def a_day(self) -> float | None:
        """Eggs a day over the last nine days."""
        return None if self.eggs is None or self.open is None else (self.eggs + self.open) / OPEN_D

    @property
    def most_a_day(self) -> float:
        """Eggs a day over the better of the last three days and the six before."""
        return max((self.eggs or 0) / EGG_D, (self.open or 0) / LARVA_D)

    @property
    def for_weeks(self) -> float | None:
        """Eggs a day over the last three weeks."""
        if self.eggs is None or self.open is None or self.capped is None:
            return None
        return (self.eggs + self.open + self.capped) / CAPPED_D

    @property
    def is_hungry(self) -> bool:
        """Whether there is hardly a day's food."""
        need_kg = max(HUNGRY_KG, FOOD_A_BEE_KG * (self.adults or 0))
        return self.stores_kg is not None and self.stores_kg < need_kg

    @property
    def is_short(self) -> bool:
        """Whether there is so little food that a good queen lays less, too."""
        return self.stores_kg is not None and self.stores_kg < SHORT_KG


def read(window: HiveWindow, inspection: Inspection) -> Visit:
    """Take what tells of the queen."""
    frame = FRAMES.get(window.hive.frame)
    cells = inspection.queen_cells
    counts = BroodCounts(None, None, None) if frame is None else brood_counts(inspection, frame)
    return Visit(
        inspection.at_s,
        *counts,
        inspection.queen,
        cells.count if cells is not None and cells.stage != "cups" else 0,
        None if cells is None else cells.stage,
        None if frame is None else adult_count(inspection, frame),
        None if frame is None else stores_kg(inspection, frame),
        frozenset(one.what for one in inspection.actions),
        laying_level_at_least(
            datetime.fromtimestamp(inspection.at_s, UTC).date(), window.yard.latitude
        )
        ** LEVEL_PART,
    )
