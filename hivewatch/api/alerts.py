"""Alerts: what was decided and why, and the keeper's answer to them."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import Field
from sqlalchemy import Connection

from hivewatch.alerts import answers
from hivewatch.api.forms import Asked, Identity, Limit, Number, Page, Time, page_of, seconds
from hivewatch.api.models import Alert, AlertStory
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here

router = APIRouter(tags=["alerts"])


State = Literal["held", "waiting", "folded", "sent", "failed", "dropped"]


class AlertsAsked(Asked):
    """Which alerts."""

    hive: Identity | None = None
    yard: Identity | None = None
    state: State | None = None
    every: Annotated[bool, Field(description="also those of kinds that never ring")] = False
    limit: Limit = 100
    after: Number | None = None


class Acknowledge(Asked):
    """Somebody knows."""

    by: Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f]{1,100}$")] = "keeper"


class Snooze(Acknowledge):
    """Silence about this kind at this hive or device for a while."""

    until: Time


@router.get("/alerts", responses=documented(422))
def list_alerts(here: Here, asked: Annotated[AlertsAsked, Query()]) -> Page[Alert]:
    """List the alerts, the newest first."""
    with here.store.read() as connection:
        found = answers.read(
            connection,
            hive=asked.hive,
            yard=asked.yard,
            state=asked.state,
            for_the_phone=not asked.every,
            after=asked.after,
            limit=asked.limit + 1,
        )
    shown = [Alert.of(one) for one in found]
    return page_of(shown, asked.limit, here.clock.now_s(), lambda one: str(one.id))


@router.get("/alerts/{number}", responses=documented(404, 422))
def one_alert(here: Here, number: Number) -> AlertStory:
    """Give one alert with every decision about it."""
    with here.store.read() as connection:
        return _story(connection, number)


@router.post("/alerts/{number}/acknowledge", responses=documented(400, 403, 404, 413, 422))
def acknowledge(here: Here, number: Number, said: Acknowledge | None = None) -> AlertStory:
    """Note that somebody knows; a second time changes nothing."""
    by = (said or Acknowledge()).by
    with here.store.write() as connection:
        answers.acknowledge(connection, number, by, here.clock.now_s())
        return _story(connection, number)


@router.post("/alerts/{number}/snooze", responses=documented(400, 403, 404, 409, 413, 422))
def snooze(here: Here, number: Number, said: Snooze) -> AlertStory:
    """Keep still about this kind at this hive or device until a time to come."""
    now_s, until_s = here.clock.now_s(), seconds(said.until)
    if until_s <= now_s:
        raise ProblemError(409, "until: that time is past; give one in the future.")
    with here.store.write() as connection:
        answers.snooze(connection, number, until_s, said.by, now_s)
        return _story(connection, number)


def _story(connection: Connection, number: int) -> AlertStory:
    story = answers.story(connection, number)
    if story is None:
        raise ProblemError(404, f"alert {number}: no such alert.")
    return AlertStory.told(story)
