"""A hive's timeline: what was found, what people saw, what was told, in one order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field
from sqlalchemy import Connection

from hivewatch.alerts import answers
from hivewatch.api.forms import Asked, Limit, Page, moment, page_of, seconds
from hivewatch.api.models import Alert, Event, Finding, Recorded
from hivewatch.api.places import HiveId, must_know
from hivewatch.api.problems import documented
from hivewatch.api.rooms import Here
from hivewatch.store import findings, inspections

ALERTS_MAX = 10_000  # own choice: more than a hive can ring for in its life

router = APIRouter(tags=["history"])


class TimelineAsked(Asked):
    """Which part of a timeline."""

    limit: Limit = 100
    after: Annotated[str, Field(pattern=r"^[0-9]{1,12}~[a-z]{1,16}~[0-9a-zA-Z-]{1,64}$")] | None = (
        None
    )


@router.get("/hives/{hive_id}/timeline", responses=documented(404, 422))
def timeline(here: Here, hive_id: HiveId, asked: Annotated[TimelineAsked, Query()]) -> Page[Event]:
    """Merge findings, inspections and alerts of a hive, the newest first."""
    with here.store.read() as connection:
        must_know(connection, hive_id)
        events = sorted(_events(connection, hive_id), key=_place, reverse=True)
    if asked.after is not None:
        at_s, what, number = asked.after.split("~")
        events = [one for one in events if _place(one) < (int(at_s), what, number)]
    return page_of(events, asked.limit, here.clock.now_s(), _mark)


def _events(connection: Connection, hive_id: str) -> Iterator[Event]:
    """Bring everything about a hive into one form."""
    for found in findings.read(connection, hive=hive_id):
        yield Event(
            at=moment(found.start_s), what="finding", id=found.id, finding=Finding.of(found)
        )
    for seen in inspections.read(connection, hive=hive_id):
        kept = Recorded.of(seen.id, seen.inspection, seen.recorded_s)
        yield Event(at=moment(seen.at_s), what="inspection", id=seen.id, inspection=kept)
    for told in answers.read(connection, hive=hive_id, limit=ALERTS_MAX):
        at_s = told.created_s if told.sent_s is None else told.sent_s
        yield Event(at=moment(at_s), what="alert", id=str(told.id), alert=Alert.of(told))


def _place(event: Event) -> tuple[int, str, str]:
    """Give an event's place in the order; two of one moment keep theirs."""
    return seconds(event.at), event.what, event.id


def _mark(event: Event) -> str:
    return "~".join(str(part) for part in _place(event))
