"""The round: which yards to visit, why, and what to take."""

from __future__ import annotations

import json
from typing import Literal

from fastapi import APIRouter, Response
from pydantic import Field
from sqlalchemy import Connection

from hivewatch import rounds
from hivewatch.api.forms import Answer, Time
from hivewatch.api.kept import kept_or_made
from hivewatch.api.rooms import Here
from hivewatch.timeline.show import round_dict

router = APIRouter(tags=["round"])
Urgency = Literal["emergency", "deadline", "today", "next visit", "count"]
Day = Field(pattern=r"^\d{4}-\d\d-\d\d$", description="local day of the yard")


class Taken(Answer):
    """Something to take along."""

    what: str
    count: int = Field(ge=1, description="how many, or how much of `unit`")
    unit: str | None
    fits: str | None = Field(description="frame of the hives that it is for")


class Reason(Answer):
    """One reason for a visit."""

    source: Literal["finding", "outlook", "queen date", "count"]
    about: str = Field(description="kind of finding, or which date")
    id: str | None = Field(description="of the finding or inspection it comes from")
    urgency: Urgency
    by: str | None = Field(description="local day until which it has to be done")
    words: str
    why: str = Field(description="why so urgent")
    do: str
    mind: str = Field(description="the cautions")


class HiveVisit(Answer):
    """One hive to look at."""

    hive: str
    urgency: Urgency
    by: str = Day
    counted_days_ago: int | None
    closed_until: str | None = Field(description="leave it closed until then if you can")
    closed_because: str | None
    reasons: list[Reason]
    take: list[Taken]


class YardVisit(Answer):
    """One yard to go to."""

    yard: str
    name: str
    urgency: Urgency
    by: str = Day
    when: str
    above_the_next: str | None = Field(description="why it stands above the next yard")
    reasons: list[Reason] = Field(description="those of the yard as a whole")
    hives: list[HiveVisit]
    quiet: list[str] = Field(description="hives that want nothing")
    take: list[Taken]
    mind: list[str] = Field(description="the cautions")


class QuietYard(Answer):
    """A yard that needs nothing."""

    yard: str
    name: str
    hives: int
    words: str


class Round(Answer):
    """The yards to visit, the first one first, and those that need nothing."""

    as_of: Time
    visits: list[YardVisit]
    quiet: list[QuietYard]


@router.get("/round", response_model=Round)
def make_round(here: Here) -> Response:
    """Say which yards to visit and when, why, and what to take."""

    def make(connection: Connection, now_s: int) -> bytes:
        told = rounds.told_lately(connection, now_s)
        known = rounds.apiary_for(connection, told)
        plan = rounds.plan(connection, known, told, now_s, outlooks=here.outlooks.all())
        return json.dumps(round_dict(plan), ensure_ascii=False).encode()

    return Response(kept_or_made(here, "round", make), media_type="application/json")
