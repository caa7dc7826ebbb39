"""What is written, told to everybody who follows: one reader of the store, a queue a client.

The store is read once, however many follow, and not at all when nobody does. A client that takes
nothing for long is let go when its queue is full; it comes back with the place of the last thing
it got, and misses nothing: what was written since comes one by one, and of all the readings that
came meanwhile one event a hive, with the time of the last.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from threading import Event
from typing import Any, NamedTuple, Self

import structlog
from anyio import to_thread
from sqlalchemy import Connection
from sse_starlette import ServerSentEvent

from hivewatch.alerts import answers
from hivewatch.api.models import Alert, Finding, Recorded
from hivewatch.moments import written_s
from hivewatch.store import apiary, findings, inspections, news
from hivewatch.store.news import News
from hivewatch.store.open import Store

LOG = structlog.get_logger(__name__)
PAUSE_S = 0.4  # own choice: sooner than anybody sees; one look costs under a millisecond
BATCH = 500  # [rows] own choice: read at once
QUEUE = 1000  # [events] own choice: two batches, a few hundred kB at most
CLIENTS_MOST = 200  # own choice: of loopback's browsers each has a few
RETRY_MS = 2000  # own choice: how soon a client comes back


class FullError(Exception):
    """Raised when as many follow as can."""


class Place(NamedTuple):
    """How far somebody has come: the last of the news, and when a message was last stored."""

    news: int
    heard_s: int

    @classmethod
    def read(cls, text: str) -> Self:
        """Read a place as `str` gives it; of a bare number, nothing is known of readings."""
        number, _, heard_s = text.partition("-")
        return cls(int(number), int(heard_s or 0))

    def __str__(self) -> str:
        """Give it as the id of an event."""
        return f"{self.news}-{self.heard_s}"


class Client:
    """Somebody who follows, and what waits for him."""

    def __init__(self) -> None:
        """Start with an empty queue."""
        self.began = Place(0, 0)
        self.queue: asyncio.Queue[ServerSentEvent | None] = asyncio.Queue(QUEUE)
        self.is_late = False

    def give(self, one: ServerSentEvent | None) -> None:
        """Put something into the queue; when it is full, the client is let go."""
        if not self.is_late:
            try:
                self.queue.put_nowait(one)
            except asyncio.QueueFull:
                self.is_late = True


class Feed:
    """Everybody who follows, and the one task that reads for them."""

    def __init__(self, store: Store) -> None:
        """Read nothing before somebody follows."""
        self._store = store
        self._clients: set[Client] = set()
        self._task: asyncio.Task[None] | None = None
        self._starting = asyncio.Lock()
        self._closed = Event()
        self._place = Place(0, 0)
        self._heard: dict[str, int] = {}

    @property
    def clients(self) -> int:
        """Say how many follow."""
        return len(self._clients)

    def close(self) -> None:
        """Let everybody go, within a pause; from any thread."""
        self._closed.set()

    async def join(self) -> Client:
        """Let somebody follow; `leave` must be called in the end.

        Raises
        ------
        FullError
            If too many follow already.
        """
        if len(self._clients) >= CLIENTS_MOST:
            raise FullError
        client = Client()
        self._clients.add(client)
        try:
            async with self._starting:
                if self._task is None or self._task.done():
                    self._place, self._heard = await to_thread.run_sync(self._begin)
                    self._task = asyncio.create_task(self._read())
        except BaseException:
            self.leave(client)
            raise
        client.began = self._place
        return client

    def leave(self, client: Client) -> None:
        """Tell somebody nothing any more."""
        self._clients.discard(client)

    async def tell(self, client: Client, after: Place | None) -> AsyncIterator[ServerSentEvent]:
        """Give what was written after a place, then what is written from now on."""
        last = client.began
        began = last if after is None else after
        first, high = await to_thread.run_sync(self._span)
        if not first - 1 <= began.news <= high:  # too long ago, or of another store
            began = last
            yield _event("missed", {"after": str(after)}, last)
        yield ServerSentEvent(event="begin", data="{}", id=str(began), retry=RETRY_MS)
        while began.news < last.news:
            rows, events = await to_thread.run_sync(self._since, began, last.news)
            for one in events:
                yield one
            began = began._replace(news=rows[-1].id if rows else last.news)
        if after is not None and began.heard_s <= last.heard_s:
            for one in await to_thread.run_sync(self._heard_since, began, last):
                yield one
        while not self._closed.is_set():
            waiting = client.queue.empty()
            if client.is_late and waiting:
                return
            one_or_end = await client.queue.get()
            if one_or_end is None:
                return
            yield one_or_end

    async def _read(self) -> None:
        """Read the store while anybody follows, and hand on what is new."""
        while self._clients and not self._closed.is_set():
            await asyncio.sleep(PAUSE_S)
            try:
                for one in await to_thread.run_sync(self._new):
                    for client in self._clients:
                        client.give(one)
            except Exception:  # the store may be busy; the next look reads the same
                LOG.exception("feed_not_read")
        for client in list(self._clients):
            if client.queue.full():
                client.queue.get_nowait()
            client.queue.put_nowait(None)

    def _begin(self) -> tuple[Place, dict[str, int]]:
        with self._store.read() as connection:
            heard = apiary.heard_hives(connection)
            return Place(news.span(connection)[1], max(heard.values(), default=0)), heard

    def _span(self) -> tuple[int, int]:
        with self._store.read() as connection:
            return news.span(connection)

    def _since(self, after: Place, until: int) -> tuple[list[News], list[ServerSentEvent]]:
        with self._store.read() as connection:
            rows = [one for one in news.since(connection, after.news, BATCH) if one.id <= until]
            return rows, _events(connection, rows, after.heard_s)

    def _heard_since(self, began: Place, last: Place) -> list[ServerSentEvent]:
        """Tell once of each hive that was heard; of the same second, rather twice than never."""
        with self._store.read() as connection:
            heard = apiary.heard_hives(connection)
        fresh = {hive: at_s for hive, at_s in heard.items() if at_s >= began.heard_s}
        return _readings(fresh, began, Place(last.news, max(heard.values(), default=0)))

    def _new(self) -> list[ServerSentEvent]:
        """Read what was written since the last look."""
        with self._store.read() as connection:
            rows = news.since(connection, self._place.news, BATCH)
            events = _events(connection, rows, self._place.heard_s)
            heard = apiary.heard_hives(connection)
        before, self._heard = self._heard, heard
        began = self._place._replace(news=rows[-1].id if rows else self._place.news)
        self._place = Place(began.news, max(heard.values(), default=0))
        fresh = {hive: at_s for hive, at_s in heard.items() if at_s > before.get(hive, 0)}
        return events + _readings(fresh, began, self._place)


def _readings(heard: Mapping[str, int], began: Place, done: Place) -> list[ServerSentEvent]:
    """Tell whose readings came; who has heard the last of it has heard of all."""
    last = len(heard) - 1
    return [
        _event(
            "readings", {"hive": hive, "heard_at": written_s(at_s)}, done if n == last else began
        )
        for n, (hive, at_s) in enumerate(sorted(heard.items()))
    ]


def _events(connection: Connection, rows: list[News], heard_s: int) -> list[ServerSentEvent]:
    """Write down each thing as it stands now; one that was written twice is told once, last."""
    last = {(one.what, one.about): one.id for one in rows}
    told = []
    heard = apiary.heard_hives(connection) if any(one.what == "readings" for one in rows) else {}
    for one in rows:
        if one.what == "readings":
            at_s = heard.get(one.about)
            of = {"hive": one.hive, "heard_at": None if at_s is None else written_s(at_s)}
            told.append(_event("readings", of, Place(one.id, heard_s)))
        elif last[one.what, one.about] == one.id and (body := _body(connection, one)) is not None:
            place = {"hive": one.hive, "yard": one.yard}
            told.append(_event(one.what, {**place, one.what: body}, Place(one.id, heard_s)))
    return told


def _body(connection: Connection, one: News) -> dict[str, Any] | None:
    if one.what == "finding":
        found = findings.by_id(connection, one.about)
        return None if found is None else Finding.of(found).model_dump(mode="json")
    if one.what == "inspection":
        kept = inspections.by_id(connection, one.about)
        return None if kept is None else Recorded.of(kept).model_dump(mode="json")
    rang = answers.by_ids(connection, [int(one.about)]).get(int(one.about))
    return None if rang is None else Alert.of(rang).model_dump(mode="json")


def _event(name: str, data: dict[str, Any], place: Place) -> ServerSentEvent:
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return ServerSentEvent(event=name, data=text, id=str(place))
