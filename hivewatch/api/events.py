"""Server-sent events: what is written, told as it is written."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header
from pydantic import Field
from sse_starlette import EventSourceResponse
from starlette.types import Receive, Scope, Send

from hivewatch.api.feed import Client, Feed, FullError, Place
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here

HEARTBEAT_S = 15  # own choice: under the minute after which proxies and routers forget a connection
STUCK_S = 30.0  # own choice: who takes nothing for so long is let go


class _Stream(EventSourceResponse):
    """Events to one client, who is let go whatever ends them."""

    def __init__(self, feed: Feed, client: Client, after: Place | None) -> None:
        told = feed.tell(client, after)
        super().__init__(told, ping=HEARTBEAT_S, send_timeout=STUCK_S, sep="\n")
        self._feed, self._client = feed, client

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._feed.leave(self._client)


router = APIRouter(tags=["events"])
LastEventId = Annotated[
    str | None,
    Field(pattern=r"^[0-9]{1,15}(-[0-9]{1,12})?$"),
    Header(description="the id of the last event that you got: go on behind it"),
]
TOLD = {
    "description": (
        "A stream (HTML Living Standard section 9.2) of the events `finding`, `alert` and "
        "`inspection`, each with the thing as it stands now, its hive and its yard; `readings`, "
        "with the hive that was heard, or of which older readings were taken in, and when a device "
        "that stands there was heard last (`heard_at`); `begin`, first of all; "
        "`missed`, when what you ask to go on behind is no longer known: read everything anew. "
        "Who comes back with the id of the last event is told what was written since, and once of "
        "each hive that was heard since. A comment every fifteen seconds says that the stream "
        "lives."
    ),
    "content": {"text/event-stream": {"schema": {"type": "string"}}},
}


@router.get(
    "/events",
    response_class=EventSourceResponse,
    responses={200: TOLD, **documented(422, 503)},
)
async def events(here: Here, last_event_id: LastEventId = None) -> EventSourceResponse:
    """Follow what is written: findings, alerts, inspections, and whose readings have come."""
    try:
        client = await here.feed.join()
    except FullError as error:
        raise ProblemError(503, "Too many follow already; ask again later.") from error
    after = None if last_event_id is None else Place.read(last_event_id)
    return _Stream(here.feed, client, after)
