"""Three weeks back, three weeks ahead, for one hive."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from hivewatch.api.forms import Answer, Asked, Time, moment, seconds
from hivewatch.api.places import HiveId, must_know
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.outlooks import told_of
from hivewatch.store import apiary, standing

router = APIRouter(tags=["outlook"])


class Spread(Answer):
    """A figure and its 80 % interval."""

    low: int
    median: int
    high: int


class OfDay(Spread):
    """The same for a day, counted from today."""

    day: int


class Day(Answer):
    """Brood and bees of one day, counted from today."""

    day: int
    eggs: Spread = Field(description="cells, as are open and capped")
    open: Spread
    capped: Spread
    emerging: Spread = Field(description="young bees on that day")
    adults: Spread
    house_bees: Spread
    foragers: Spread


class Brood(Answer):
    """Cells of each stage today."""

    eggs: Spread
    open: Spread
    capped: Spread


class Room(Answer):
    """How much room bees and honey have, and by when to give more; local days of the yard."""

    seams_of_bees: float | None
    crowded_on: str | None = Field(description="bees cover all there is by then")
    super_by: str | None
    pressed_by: Literal["bees", "nectar"] | None = Field(description="what a super is wanted for")
    full_on: str | None = Field(description="honey fills what it may by then, at the present gain")
    seams: float | None = Field(description="there are, with supers, in seams of the brood box")
    supers: int = Field(description="standing, as visits say")
    space_kg: float | None = Field(description="honey that still fits")
    gain_kg_a_day: float | None = Field(description="from dawn to dawn, of the last days")


class Winter(Answer):
    """The time without income that is, or comes next."""

    since: str
    until: str
    need_kg: float


class Stores(Answer):
    """Honey there is against what it needs."""

    kg: float | None
    known_on: str | None
    known_by: Literal["scale", "visit"] | None
    need_kg: float = Field(description="eaten in the three weeks ahead")
    lasts_until: str | None = Field(description="if nothing comes in; null when longer or unknown")
    winter: Winter | None


class Outlook(Answer):
    """The colony from three weeks back to three weeks ahead."""

    hive: str
    as_of: Time
    laying: list[OfDay] = Field(description="eggs a day, from day -21 on")
    brood: Brood
    adults: list[OfDay]
    foragers: list[OfDay]
    emerging: list[OfDay] = Field(description="young bees a day")
    days: list[Day] = Field(
        description="day -21 to 21; none before the first inspection that the outlook rests on"
    )
    room: Room
    stores: Stores
    reading: list[str] = Field(description="what a keeper would say")


class OutlookAsked(Asked):
    """Which moment."""

    as_of: Annotated[Time | None, Field(description="as it would have been told then")] = None


@router.get("/hives/{hive_id}/outlook", responses=documented(404, 422))
def outlook(here: Here, hive_id: HiveId, asked: Annotated[OutlookAsked, Query()]) -> Outlook:
    """Look three weeks back and ahead, from what people counted."""
    now_s = here.clock.now_s()
    as_of_s = now_s if asked.as_of is None else min(seconds(asked.as_of), now_s)
    with here.store.read() as connection:
        must_know(connection, hive_id)
        if asked.as_of is None:
            told = here.outlooks.of(connection, hive_id, now_s).told
        else:
            known = apiary.read_around(connection, hive_id)
            told = told_of(connection, known, hive_id, as_of_s, recorded_by_s=as_of_s)
        given = told is None and standing.given_away(connection, as_of_s, [hive_id])
    if given:
        raise ProblemError(404, "The colony was given away or sold; nothing is said of the hive.")
    if told is None:
        raise ProblemError(
            404,
            "Nothing was counted here in the last sixty days that an outlook could start from;"
            " write down an inspection with brood or bees counted.",
        )
    return Outlook.model_validate({**told, "as_of": moment(as_of_s)})
