"""The calendar that a phone subscribes to, behind a secret link.

Whoever has the link can read it, and it shows yards by name: the key stands in a file beside the
store that only its owner can read. To make the link void, delete that file; the next one who asks
for the link gets a new one.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from pathlib import Path
from typing import Annotated

import icalendar
from fastapi import APIRouter, Header, Query, Response
from pydantic import Field
from sqlalchemy import Connection

from hivewatch import rounds
from hivewatch.api.forms import Answer, Asked
from hivewatch.api.kept import kept_or_made
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here, Rooms
from hivewatch.store import appointments
from hivewatch.timeline.agenda import Appointment, agenda
from hivewatch.timeline.told import tell, unsaid

KEY_FILE = "calendar.secret"
KEY_BYTES = 24
EPOCH_S = 1_577_836_800  # 2020-01-01: SEQUENCE counts minutes from here, and fits in 32 bits
ASK_AGAIN = timedelta(hours=1)

router = APIRouter(tags=["calendar"])


class Link(Answer):
    """Where to subscribe."""

    path: str = Field(description="with its key; keep it to yourself")


class CalendarAsked(Asked):
    """With which key."""

    key: Annotated[str, Field(max_length=200, description="of the secret link")] = ""


@router.get("/calendar")
def link(here: Here) -> Link:
    """Give the secret link of the calendar; the first time, its key is made."""
    return Link(path=f"/api/v1/calendar.ics?key={_key(here.store.path, is_made=True)}")


@router.get(
    "/calendar.ics",
    response_class=Response,
    responses={
        200: {
            "content": {"text/calendar": {"schema": {"type": "string"}}},
            "description": "An iCalendar object (RFC 5545)",
        },
        304: {"description": "It is as it was"},
        **documented(404, 422),
    },
)
def calendar(
    here: Here,
    asked: Annotated[CalendarAsked, Query()],
    if_none_match: Annotated[str | None, Header()] = None,
) -> Response:
    """Give queen dates, supers due and next looks to whoever has the secret link."""
    key = _key(here.store.path)
    if not key or not secrets.compare_digest(key.encode(), asked.key.encode()):
        raise ProblemError(404, "calendar: no such link; /api/v1/calendar gives the right one.")
    body = kept_or_made(here, "calendar", partial(_make, here), kind="swarm")
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"etag": tag, "cache-control": "private, no-cache"}
    if if_none_match is not None and tag in if_none_match:
        return Response(status_code=304, headers=headers)
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)


def _key(store: Path, *, is_made: bool = False) -> str:
    """Read the key beside the store; make it where there is none, if asked to."""
    file = store.with_name(KEY_FILE)
    if is_made and not file.exists():
        try:
            opened = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:  # somebody else asked at the same moment
            pass
        else:
            with os.fdopen(opened, "w") as new:
                new.write(secrets.token_urlsafe(KEY_BYTES))
    try:
        return file.read_text("utf-8").strip()
    except FileNotFoundError:
        return ""


def _make(here: Rooms, connection: Connection, now_s: int) -> bytes:
    """Write the calendar as of a moment, and keep what is told."""
    told = rounds.told_lately(connection, now_s)
    known = rounds.apiary_for(connection, told)
    outlooks = here.outlooks.all()
    facts, _ = rounds.facts_of(connection, known, told, now_s, outlooks=outlooks)
    before = appointments.read(connection)
    untold = unsaid((one for its in facts.values() for one in its), before)
    after = tell(agenda(known.yards, facts, now_s), before, untold, now_s)
    changed = [one for one in after if before.get(one.name) != one]
    gone = before.keys() - {one.name for one in after}
    if changed or gone:
        with here.store.write() as writing:
            appointments.write(writing, changed, gone)
    return write(after)


def write(appointments: Iterable[Appointment]) -> bytes:
    """Write appointments as an iCalendar object to subscribe to.

    Published, not sent as invitations: a subscribed phone takes the whole anew each time. An
    appointment keeps its UID; when what it rests on changes, SEQUENCE and LAST-MODIFIED rise, and
    what was settled before it was due stays with STATUS:CANCELLED.
    """
    found = icalendar.Calendar()
    found.add("prodid", "-//hivewatch//calendar//EN")
    found.add("version", "2.0")
    found.add("calscale", "GREGORIAN")
    found.add("method", "PUBLISH")
    found.add("name", "Hives")
    found.add("x-wr-calname", "Hives")
    found.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    found.add("x-published-ttl", "PT1H")
    head, end, rest = bytes(found.to_ical()).partition(b"END:VCALENDAR")
    return b"".join((head, *map(_event, appointments), end, rest))


@lru_cache(maxsize=8192)
def _event(one: Appointment) -> bytes:
    """Write one appointment: whole days, which block no other appointment.

    Most stand as they stood when the calendar was written last.
    """
    event = icalendar.Event()
    stamp = datetime.fromtimestamp(one.stamp_s, UTC)
    event.add("uid", f"{one.name}@hivewatch")
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", max(0, one.stamp_s - EPOCH_S) // 60)
    event.add("dtstart", one.first)
    event.add("dtend", one.last + timedelta(days=1))  # RFC 5545 3.6.1: the end is not included
    event.add("summary", f"Cancelled: {one.summary}" if one.is_cancelled else one.summary)
    event.add("description", one.text)
    event.add("location", one.yard)
    event.add("status", "CANCELLED" if one.is_cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    return bytes(event.to_ical())
