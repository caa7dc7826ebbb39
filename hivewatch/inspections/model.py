"""What somebody saw and did at a hive."""

from __future__ import annotations

import hashlib
import json
from functools import cached_property
from typing import Annotated, NamedTuple, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from hivewatch.frames import Frame
from hivewatch.inspections import fields
from hivewatch.mistakes import WrongValueError

SEEN_OR_DONE = (
    *("brood", "adults", "stores_kg", "frames"),
    *("queen", "queen_cells", "actions", "sure"),
)
CELL_SHARES_MAX = 1.05  # [share of a side] own choice: each share is rounded by whoever looks


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, hide_input_in_errors=True)


class Brood(_Part):
    """Counts of cells; one that was not counted is null."""

    eggs: fields.Eggs | None = Field(default=None, description="[cells]")
    open: fields.Open | None = Field(default=None, description="larvae [cells]")
    capped: fields.Capped | None = Field(default=None, description="[cells]")


class Side(_Part):
    """One side of one frame: the share of it that each thing covers; what was not judged is null.

    Frames are numbered through all boxes; `bees` lie over the cells and count for themselves.
    """

    frame: fields.FrameNumber = Field(description="counted through all brood boxes, from 1")
    side: fields.FaceOfFrame
    eggs: fields.Share | None = None
    open: fields.Share | None = None
    capped: fields.Share | None = None
    honey: fields.Share | None = None
    pollen: fields.Share | None = None
    bees: fields.Share | None = None

    @model_validator(mode="after")
    def _fit_on_the_side(self) -> Self:
        shares = (self.eggs, self.open, self.capped, self.honey, self.pollen)
        total = sum(share or 0 for share in shares)
        if total > CELL_SHARES_MAX:
            raise WrongValueError(
                f"eggs, open, capped, honey and pollen add up to {total:.2f} of the side",
                "make them at most 1 together",
            )
        return self


class QueenCells(_Part):
    """Queen cells: how many, and how far the furthest is."""

    count: fields.QueenCellCount
    stage: fields.CellStage | None = None

    @model_validator(mode="after")
    def _have_a_stage_only_when_there(self) -> Self:
        if self.count == 0 and self.stage is not None:
            raise WrongValueError("a stage of no queen cells", "give their count, or no stage")
        return self


class Action(_Part):
    """Something done at the hive; `kg` is what it added or took, always positive."""

    what: fields.What
    kg: fields.Kg | None = None


def _each_side_once(sides: tuple[Side, ...]) -> tuple[Side, ...]:
    seen: set[tuple[int, str]] = set()
    for one in sides:
        if (one.frame, one.side) in seen:
            raise WrongValueError(
                f"frame {one.frame} side {one.side} is told twice", "tell each side once"
            )
        seen.add((one.frame, one.side))
    return sides


class Inspection(_Part):
    """One visit to one hive, or the word that there was none. Only hive and time are required."""

    hive: fields.HiveId
    at: fields.At = Field(description="with its offset; kept in UTC")
    by: fields.Person | None = None
    brood: Brood | None = None
    adults: fields.Adults | None = Field(default=None, description="[bees]")
    stores_kg: fields.Kg | None = None
    frames: Annotated[
        tuple[Side, ...],
        fields.Many,
        Field(max_length=fields.SIDES_MAX),
        AfterValidator(_each_side_once),
    ] = ()
    queen: fields.Queen | None = None
    queen_cells: QueenCells | None = None
    actions: Annotated[tuple[Action, ...], fields.Many, Field(max_length=100)] = ()
    note: fields.Note = ""
    opened: bool = Field(
        default=True,
        description="false: whoever wrote it knows that nobody opened the hive then, whatever its "
        "scale says; nothing can have been seen or done",
    )
    sure: bool = Field(
        default=False,
        description="whoever wrote it was asked about the scale, and stands by what is written",
    )
    key: fields.Key | None = Field(
        default=None, description="names this visit, so that telling it twice stores it once"
    )

    @model_validator(mode="after")
    def _tell_nothing_of_a_closed_hive(self) -> Self:
        told = [name for name in SEEN_OR_DONE if getattr(self, name)]
        if not self.opened and told:
            raise WrongValueError(
                f"{told[0].replace('_', ' ')} of a hive that nobody opened",
                "leave opened out, or tell nothing else",
            )
        return self

    @cached_property
    def at_s(self) -> int:
        """Give the time in Unix seconds; asked of all visits each time a round is made."""
        return int(self.at.timestamp() // 1)

    @property
    def known_by(self) -> str:
        """Its key; without one, a digest of all it says, so that the same visit is the same."""
        if self.key is not None:
            return self.key
        digest = hashlib.sha256(to_json(self).encode()).hexdigest()
        return f"{self.hive[:20]}-{digest[:40]}"


class Change(_Part):
    """What an entry of a file says about itself: which inspection it is, and what became of it."""

    id: fields.Identity | None = None
    withdrawn: bool = False
    changed_by: fields.Person | None = None
    why: fields.Why | None = None


class Told(NamedTuple):
    """An entry of a file of inspections."""

    inspection: Inspection
    change: Change


def to_json(inspection: Inspection) -> str:
    """Give the stored form: what was told and no more, times in UTC, keys in one order."""
    told = inspection.model_dump(exclude_none=True, exclude_defaults=True)
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


class BroodCounts(NamedTuple):
    """Cells of each stage over the whole hive; None where nobody counted or judged."""

    eggs: int | None
    open: int | None
    capped: int | None


def brood_counts(inspection: Inspection, frame: Frame) -> BroodCounts:
    """Give the brood in cells: as counted, else from the shares of the frames' sides."""
    counted = inspection.brood or Brood()
    sides = BroodCounts(
        *(_cells(_sides_covered(inspection, stage), frame) for stage in BroodCounts._fields)
    )
    return BroodCounts(
        sides.eggs if counted.eggs is None else counted.eggs,
        sides.open if counted.open is None else counted.open,
        sides.capped if counted.capped is None else counted.capped,
    )


def _cells(sides: float | None, frame: Frame) -> int | None:
    return None if sides is None else round(sides * frame.side_cells)


def adult_count(inspection: Inspection, frame: Frame) -> int | None:
    """Give the bees on the combs: as counted, else from the shares of the frames' sides."""
    sides = _sides_covered(inspection, "bees")
    if inspection.adults is not None or sides is None:
        return inspection.adults
    return round(sides * frame.side_bees)


def stores_kg(inspection: Inspection, frame: Frame) -> float | None:
    """Give the honey in kg: as weighed or judged, else from the shares of the frames' sides."""
    sides = _sides_covered(inspection, "honey")
    if inspection.stores_kg is not None or sides is None:
        return inspection.stores_kg
    return round(sides * frame.honey_kg / 2, 2)


def _sides_covered(inspection: Inspection, what: str) -> float | None:
    """Add up the shares of all sides on which it was judged; None if on none of them."""
    shares = [getattr(side, what) for side in inspection.frames]
    judged = [share for share in shares if share is not None]
    return sum(judged) if judged else None
